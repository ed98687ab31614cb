"""What a room, a microphone and an interface add to a take: reflections, deviation, hum, pink and white noise."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import fft

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]


@dataclass(frozen=True)
class Reflection:
    """One late arrival.

    Parameters
    ----------
    delay_s : float
        After the direct sound.
    gain : float
        Re the direct sound, signed.
    corner_hz : float
        The surface swallows above this (first order).
    """

    delay_s: float
    gain: float
    corner_hz: float = 6000.0


@dataclass(frozen=True)
class Noise:
    """Additive noise.

    Parameters
    ----------
    pink_db, white_db : float
        rms of each re the recording's peak, dB (−inf for none); pink from 20 Hz up.
    hum_db : float
        rms of mains hum (with its second and third harmonic) re the recording's peak, dB.
    mains_hz : float
    """

    pink_db: float = -62.0
    white_db: float = -80.0
    hum_db: float = -75.0
    mains_hz: float = 50.0


@dataclass(frozen=True)
class MicrophoneDeviation:
    """What the microphone reads too high: smooth bumps over the logarithm of frequency, and a low roll-off.

    Parameters
    ----------
    corner_hz : float
        First-order high-pass of the capsule.
    bumps : tuple of (hz, dB, octaves)
        Gaussian bumps: centre, height, half width.
    """

    corner_hz: float = 15.0
    bumps: tuple[tuple[float, float, float], ...] = field(default_factory=lambda: ((8500.0, 1.8, 0.7),))

    def magnitude_db(self, frequency_hz: Floats) -> Floats:
        """Return the deviation, dB, at frequencies above 0."""
        f = np.maximum(np.asarray(frequency_hz, dtype=np.float64), 1e-3)
        out = -10.0 * np.log10(1.0 + (self.corner_hz / f) ** 2)
        for centre, height, width in self.bumps:
            out = out + height * np.exp(-0.5 * (np.log2(f / centre) / width) ** 2)
        return np.asarray(out)

    def response(self, size: int, sample_rate_hz: float) -> Complexes:
        """Return the complex, minimum-phase response on the bins of an rfft of ``size`` points."""
        full = fft.rfftfreq(size, 1.0 / sample_rate_hz)
        log_magnitude = np.maximum(self.magnitude_db(full), -80.0) * (np.log(10.0) / 20.0)
        cepstrum = fft.irfft(log_magnitude, size)
        fold = np.zeros(size)
        fold[0] = 1.0
        fold[1 : (size + 1) // 2] = 2.0
        if size % 2 == 0:
            fold[size // 2] = 1.0
        return np.asarray(np.exp(fft.rfft(cepstrum * fold)))

    def calibration_text(self, name: str = "capsule") -> str:
        """Return a calibration file: a comment, then Hz and dB that the microphone reads too high."""
        frequency = 1000.0 * 2.0 ** (np.arange(-72, 60) / 12.0)
        frequency = frequency[(frequency >= 18.0) & (frequency <= 22000.0)]
        rows = [f"{f:.2f}\t{d:.3f}" for f, d in zip(frequency, self.magnitude_db(frequency), strict=True)]
        return "\n".join([f"* {name}: Hz, dB the microphone reads too high", *rows]) + "\n"


def reflections_response(reflections: tuple[Reflection, ...], frequency_hz: Floats) -> Complexes:
    """Return ``1 + Σ gain·lowpass·e^{-jωτ}``."""
    out = np.ones(frequency_hz.size, dtype=np.complex128)
    for echo in reflections:
        out += (
            echo.gain / (1.0 + 1j * frequency_hz / echo.corner_hz) * np.exp(-2j * np.pi * frequency_hz * echo.delay_s)
        )
    return out


def make_noise(samples: int, sample_rate_hz: float, noise: Noise, peak: float, rng: np.random.Generator) -> Floats:
    """Return noise for a recording that peaks at ``peak``, shape (samples,)."""
    out = peak * 10.0 ** (noise.white_db / 20.0) * rng.standard_normal(samples)
    out += peak * 10.0 ** (noise.pink_db / 20.0) * pink(samples, sample_rate_hz, rng)
    time_s = np.arange(samples) / sample_rate_hz
    level = peak * 10.0 ** (noise.hum_db / 20.0) * np.sqrt(2.0 / (1.0 + 0.25 + 0.09))
    for order, share in ((1, 1.0), (2, 0.5), (3, 0.3)):
        phase = rng.uniform(0.0, 2.0 * np.pi)
        out += level * share * np.sin(2.0 * np.pi * order * noise.mains_hz * time_s + phase)
    return np.asarray(out)


def pink(samples: int, sample_rate_hz: float, rng: np.random.Generator, from_hz: float = 20.0) -> Floats:
    """Return pink noise of unit rms: equal power in every octave above ``from_hz``, less below."""
    size = fft.next_fast_len(samples, real=True)
    frequency = fft.rfftfreq(size, 1.0 / sample_rate_hz)
    shape = np.sqrt(frequency / from_hz) / np.maximum(frequency / from_hz, 1.0)
    spectrum = fft.rfft(rng.standard_normal(size)) * shape
    signal = fft.irfft(spectrum, size)[:samples]
    return np.asarray(signal / np.sqrt(np.mean(signal**2)))
