"""The microphone's full scale from a sound calibrator held over it: a 1 kHz tone of known level."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from frusta.errors import ParameterError
from frusta.signal.level import REFERENCE_PA

Floats = NDArray[np.float64]

TONE_HZ = 1000.0
WITHIN_HZ = 20.0
STEADY_DB = 0.1
LISTEN_S = 3.0
CALIBRATOR_U_DB = 0.2
"""Standard uncertainty of a class 1 calibrator's level in use (IEC 60942 allows ± 0.4 dB; from memory)."""


@dataclass(frozen=True)
class FullScale:
    """What digital full scale stands for.

    Parameters
    ----------
    full_scale_pa : float
        Peak pressure.
    u_db : float
        Standard uncertainty, dB: the calibrator's and the tone's own scatter.
    frequency_hz : float
        Of the tone that was heard.
    """

    full_scale_pa: float
    u_db: float
    frequency_hz: float


def full_scale_of_tone(samples: Floats, sample_rate_hz: float, level_db: float) -> FullScale:
    """Return the peak pressure at digital full scale from a recording of a calibrator.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        At least a second.
    sample_rate_hz : float
    level_db : float
        Of the calibrator, dB rms re 20 µPa.

    Raises
    ------
    ParameterError
        If there is no steady 1 kHz tone, or it clips.
    """
    size = round(0.25 * sample_rate_hz)
    count = samples.size // size
    if count < 4:
        raise ParameterError("the calibrator must be heard for at least a second; try again")
    if np.max(np.abs(samples)) >= 0.999:
        raise ParameterError("the calibrator must not clip (it does); turn the microphone's gain down")
    found = np.array([_tone(samples[i * size : (i + 1) * size], sample_rate_hz) for i in range(count)])
    amplitude, frequency, share = found.T
    middle = float(np.median(frequency))
    if float(np.median(share)) < 0.9 or abs(middle - TONE_HZ) > WITHIN_HZ:
        raise ParameterError(
            f"a tone of {TONE_HZ:g} Hz must be heard (strongest: {middle:.0f} Hz, {100 * np.median(share):.0f} % of "
            "the power); push the calibrator home on the microphone and switch it on"
        )
    levels = 20.0 * np.log10(amplitude)
    scatter = float(np.std(levels, ddof=1))
    if np.ptp(levels) > 5.0 * STEADY_DB or scatter > STEADY_DB:
        raise ParameterError(
            f"the calibrator's level must stand still within {STEADY_DB:g} dB (scatters by {scatter:.2f} dB); seat it "
            "again and hold still"
        )
    pascal = math.sqrt(2.0) * REFERENCE_PA * 10.0 ** (level_db / 20.0)
    mean = float(10.0 ** (np.mean(levels) / 20.0))
    return FullScale(pascal / mean, math.hypot(CALIBRATOR_U_DB, scatter / math.sqrt(count)), middle)


def _tone(piece: Floats, rate: float) -> tuple[float, float, float]:
    """Amplitude, frequency and share of the power of the strongest tone."""
    size = piece.size
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(size) / size)
    spectrum = fft.rfft(piece * window, 8 * size)
    at = int(np.argmax(np.abs(spectrum)[8:])) + 8
    a, b, c = np.log(np.abs(spectrum[at - 1 : at + 2]) + 1e-300)
    shift = 0.5 * (a - c) / (a - 2.0 * b + c) if a - 2.0 * b + c < 0.0 else 0.0
    frequency = (at + shift) * rate / (8 * size)
    turns = 2.0 * np.pi * frequency / rate * np.arange(size)
    design = np.column_stack([np.cos(turns), np.sin(turns), np.ones(size)])
    coefficient = np.linalg.lstsq(design, piece, rcond=None)[0]
    amplitude = float(np.hypot(coefficient[0], coefficient[1]))
    power = float(np.mean((piece - coefficient[2]) ** 2))
    return max(amplitude, 1e-12), float(frequency), 0.5 * amplitude**2 / max(power, 1e-24)
