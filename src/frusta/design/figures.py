"""The figures of a computed response, as a reading would draw them from a recording of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft
from scipy.interpolate import CubicSpline

from frusta.signal.decay import Envelope, analytic_band, decay_time
from frusta.signal.level import Figure, frequency_limits, level_db, tallest_peak, unevenness_db

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

UNEVENNESS_FROM_HZ = 200.0
RESPONSE_FIGURES = (
    "level_db",
    "lower_limit_hz",
    "upper_limit_hz",
    "unevenness_db",
    "tallest_peak_hz",
    "tallest_peak_db",
    "decay_5_percent_ms",
    "decay_2_percent_ms",
)
_RATE_HZ = 48000
_SAMPLES = 3072  # 64 ms: a suspension of 80 Hz has rung down
_BEFORE = 480


def response_figures(frequency_hz: Floats, pressure: Complexes, delay_s: float, stop_hz: float) -> dict[str, Figure]:
    """Return the figures that a linear response has.

    Parameters
    ----------
    frequency_hz : ndarray (n,)
        96 points an octave, to 1.1 × stop or as far as the model goes.
    pressure : ndarray (n,) of complex
        In units of 20 µPa for a `level_db` in dB re 20 µPa.
    delay_s : float
        About the sound's travel.
    stop_hz : float
        Last frequency of the sweep.

    Returns
    -------
    dict of str to Figure
        By `RESPONSE_FIGURES`; those that cannot be had have their reason.
    """
    played = frequency_hz <= stop_hz
    f, power = frequency_hz[played], np.abs(pressure[played]) ** 2
    found: dict[str, Figure] = {}
    if f[0] > 300.0 or f[-1] < 1000.0:
        reason = "the sweep does not cover 300 Hz to 1 kHz"
        return {key: Figure(None, None, reason) for key in RESPONSE_FIGURES}
    reference = level_db(f, power)
    found["level_db"] = Figure(reference)
    found["lower_limit_hz"], found["upper_limit_hz"] = frequency_limits(f, power, reference)
    top = found["upper_limit_hz"].value or float(f[-1])
    found["unevenness_db"] = Figure(unevenness_db(f, power, UNEVENNESS_FROM_HZ, top))
    found["tallest_peak_hz"], found["tallest_peak_db"] = tallest_peak(f, power, float(f[-1]))
    envelope = synthetic_envelope(frequency_hz, pressure, delay_s, stop_hz)
    for percent in (5, 2):
        decay = decay_time(envelope, 0.01 * percent, float(envelope.time_s[-1]))
        value = None if decay.time_s is None else 1e3 * decay.time_s
        found[f"decay_{percent}_percent_ms"] = Figure(value, None, decay.reason)
    return found


def synthetic_envelope(frequency_hz: Floats, pressure: Complexes, delay_s: float, stop_hz: float) -> Envelope:
    """Return the envelope of the impulse response that belongs to a response, in the band of the decay figures.

    The travel is taken out, the rest interpolated to even frequencies; above the last frequency there is nothing.
    """
    bins = fft.rfftfreq(_SAMPLES, 1.0 / _RATE_HZ)
    near = pressure * np.exp(2j * np.pi * frequency_hz * delay_s)
    inside = (bins >= frequency_hz[0]) & (bins <= frequency_hz[-1])
    spectrum = np.zeros(bins.size, dtype=np.complex128)
    spectrum[inside] = CubicSpline(np.log(frequency_hz), near)(np.log(bins[inside]))
    impulse = np.roll(fft.irfft(spectrum, _SAMPLES), _BEFORE)
    envelope = np.abs(analytic_band(impulse, _RATE_HZ, stop_hz))
    envelope = envelope[: -_BEFORE // 2]
    time_s = (np.arange(envelope.size) - _BEFORE) / _RATE_HZ
    return Envelope(time_s, envelope, int(np.argmax(envelope)), 0.0)


@dataclass(frozen=True)
class Interval:
    """A forecast figure: the expected value and where 95 % of prints lie; None with the reason.

    Attributes
    ----------
    value, low_95, high_95 : float or None
        A bound that lies out of reach is None, and `reason` says so.
    reason : str or None
    """

    value: float | None
    low_95: float | None = None
    high_95: float | None = None
    reason: str | None = None


def interval_of(expected: Figure, drawn: list[Figure]) -> Interval:
    """Return the span of the draws round an expected figure.

    A further print lies between lowest and highest of n draws with probability (n − 1)/(n + 1).
    """
    if expected.value is None:
        return Interval(None, reason=expected.reason)
    values = [figure.value for figure in drawn if figure.value is not None]
    missing = len(drawn) - len(values)
    if not values:
        return Interval(expected.value, reason="no draw has this figure, so there is no interval")
    low, high = min([*values, expected.value]), max([*values, expected.value])
    if missing > 0.025 * len(drawn):
        why = next(figure.reason for figure in drawn if figure.value is None)
        return Interval(expected.value, low, None, f"open above: {missing} of {len(drawn)} possible prints: {why}")
    return Interval(expected.value, low, high)
