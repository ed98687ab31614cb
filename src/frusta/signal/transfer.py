"""The transfer function: a recording divided by what was played, tapered at the ends of the band."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from frusta.errors import ParameterError
from frusta.signal.long_transform import long_irfft, long_rfft
from frusta.signal.sweep import Sweep

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

LOW_TAPER = 3.0  # full from three times the lowest frequency: 20 to 60 Hz
HIGH_TAPER = 0.775  # full up to this share of the highest: 15.5 to 20 kHz


@dataclass(frozen=True)
class Band:
    """Where the division is tapered: nothing below start, all between full_low and full_high, nothing above stop."""

    start_hz: float
    full_low_hz: float
    full_high_hz: float
    stop_hz: float


@dataclass(frozen=True)
class Deconvolved:
    """A recording divided by what was played.

    Attributes
    ----------
    impulse : ndarray, shape (n,)
        Periodic impulse response; lag zero at index 0, negative lags wrapped to the end. The response of
        harmonic n of an exponential sweep lies L ln n before the linear one.
    spectrum : ndarray, shape (n // 2 + 1,)
        Its spectrum, taper included.
    taper : ndarray, shape (n // 2 + 1,)
        The taper alone, 0 to 1.
    sample_rate_hz : float
        Samples a second, by the player's clock.
    band : Band
        Where the taper stands.
    """

    impulse: Floats
    spectrum: Complexes
    taper: Floats
    sample_rate_hz: float
    band: Band

    @property
    def frequency_hz(self) -> Floats:
        """Frequencies of the spectrum, Hz."""
        return bins_hz(self.impulse.size, self.sample_rate_hz)


def taper_band(start_hz: float, stop_hz: float, sample_rate_hz: float) -> Band:
    """Return the tapers for a band: 20 to 60 Hz and 15.5 to 20 kHz for a sweep from 20 Hz to 20 kHz.

    Raises
    ------
    ParameterError
        If the band does not lie between 0 and half the sample rate, or is narrower than two octaves.
    """
    stop_hz = min(stop_hz, sample_rate_hz / 2)
    if not 0.0 < start_hz < stop_hz / 4.0:
        raise ParameterError(f"the band must span at least two octaves above 0 Hz (got {start_hz:g} to {stop_hz:g} Hz)")
    low = min(LOW_TAPER, math.sqrt(HIGH_TAPER * stop_hz / start_hz)) * start_hz
    return Band(start_hz, low, HIGH_TAPER * stop_hz, stop_hz)


def band_taper(frequency_hz: Floats, band: Band) -> Floats:
    """Return raised-cosine tapers, on a logarithmic axis below and a linear one above; frequencies must rise."""
    f = np.asarray(frequency_hz, dtype=np.float64)
    bounds = (band.start_hz, band.full_low_hz, band.full_high_hz, band.stop_hz)
    start, low, high, stop = (int(np.searchsorted(f, bound)) for bound in bounds)
    taper = np.zeros(f.size)
    taper[start:stop] = 1.0
    octaves = np.log(f[start:low] / band.start_hz) / math.log(band.full_low_hz / band.start_hz)
    taper[start:low] = 0.5 - 0.5 * np.cos(np.pi * octaves)
    share = (band.stop_hz - f[high:stop]) / (band.stop_hz - band.full_high_hz)
    taper[high:stop] *= 0.5 - 0.5 * np.cos(np.pi * share)
    return taper


def bins_hz(size: int, sample_rate_hz: float) -> Floats:
    """Return the frequencies of a real transform of ``size`` samples, Hz."""
    return np.asarray(np.arange(size // 2 + 1) * (sample_rate_hz / size), dtype=np.float64)


def transform_length(*lengths: int) -> int:
    """Return a fast transform length that holds every signal."""
    return int(fft.next_fast_len(max(lengths), real=True))


def inverse_spectrum(
    played: Complexes, frequency_hz: Floats, band: Band, regularisation: float = 0.0
) -> tuple[Complexes, Floats]:
    """Return the tapered inverse of a played spectrum, and the taper.

    Parameters
    ----------
    played : ndarray, shape (m,)
        Spectrum of what was played.
    frequency_hz : ndarray, shape (m,)
        Hz.
    band : Band
        Where to divide.
    regularisation : float
        Power added to the denominator, as a share of the local (sixth-octave-wide, boxcar) mean power: 0
        for a sweep, 1e-4 or so for a random signal, whose spectrum comes near zero in single bins.

    Raises
    ------
    ParameterError
        If the signal has no energy somewhere inside the band.
    """
    taper = band_taper(frequency_hz, band)
    first = int(np.searchsorted(frequency_hz, band.start_hz, side="right"))
    last = int(np.searchsorted(frequency_hz, band.stop_hz, side="left"))
    power = played.real**2 + played.imag**2
    if regularisation > 0.0:
        edge = np.concatenate([[0.0], np.cumsum(power)])
        index = np.arange(power.size)
        low = np.floor(index * 2 ** (-1 / 12)).astype(np.int64)
        high = np.minimum(np.ceil(index * 2 ** (1 / 12)).astype(np.int64) + 1, power.size)
        power = power + regularisation * (edge[high] - edge[low]) / (high - low)
    if not np.all(power[first:last] > 0.0):
        raise ParameterError(
            f"what was played must have energy from {band.start_hz:g} to {band.stop_hz:g} Hz to be divided out"
        )
    inverse = np.zeros(played.size, dtype=np.complex128)
    inverse[first:last] = played[first:last].conj() * (taper[first:last] / power[first:last])
    return inverse, taper


def deconvolve(
    recording: Floats,
    played: Floats,
    sample_rate_hz: float,
    band_hz: tuple[float, float] | Band,
    *,
    regularisation: float = 0.0,
    samples: int | None = None,
) -> Deconvolved:
    """Divide a recording by what was played (or by a loopback of it) in the frequency domain.

    Parameters
    ----------
    recording, played : ndarray, shape (n,), (m,)
        Same clock, same start; the shorter one is filled up with silence.
    sample_rate_hz : float
        Samples a second, of both.
    band_hz : (float, float) or Band
        Lowest and highest frequency to divide, Hz; see `taper_band`.
    regularisation : float
        See `inverse_spectrum`.
    samples : int, optional
        Transform length; default: the next fast one that holds both.

    Returns
    -------
    Deconvolved

    Raises
    ------
    ParameterError
        If a signal is empty, not finite or has no energy inside the band.
    """
    for name, signal in (("recording", recording), ("played", played)):
        if signal.ndim != 1 or signal.size == 0 or not np.isfinite(signal).all():
            raise ParameterError(f"{name} must be one channel of finite numbers (got shape {signal.shape})")
    count = samples or transform_length(recording.size, played.size)
    band = band_hz if isinstance(band_hz, Band) else taper_band(band_hz[0], band_hz[1], sample_rate_hz)
    frequency = bins_hz(count, sample_rate_hz)
    inverse, taper = inverse_spectrum(long_rfft(played, count), frequency, band, regularisation)
    spectrum = long_rfft(recording, count) * inverse
    return Deconvolved(long_irfft(spectrum, count), spectrum, taper, sample_rate_hz, band)


def band_of_sweep(sweep: Sweep) -> Band:
    """Return the tapers that suit a sweep made here."""
    return taper_band(sweep.start_hz, sweep.stop_hz, sweep.sample_rate_hz)


def sound_speed_m_s(temperature_c: float) -> float:
    """Return the speed of sound in air, m/s: 343.2 sqrt(T / 293.15 K).

    Raises
    ------
    ParameterError
        If the temperature is not between -40 and 60 degrees.

    References
    ----------
    ISO 9613-1:1993.
    """
    if not -40.0 <= temperature_c <= 60.0:
        raise ParameterError(f"temperature_c must be between -40 and 60 (got {temperature_c:g}); give degrees Celsius")
    return 343.2 * math.sqrt((temperature_c + 273.15) / 293.15)


def stretch(impulse: Floats, before: int, after: int, at: int) -> Floats:
    """Return a stretch of a periodic impulse response from ``before`` samples before ``at`` to ``after`` after."""
    return np.asarray(np.take(impulse, np.arange(at - before, at + after), mode="wrap"))
