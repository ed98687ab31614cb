"""What was played, ready to be divided out: a sweep made here, a signal from elsewhere, or a loopback of it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from frusta.errors import ParameterError
from frusta.signal.long_transform import long_rfft
from frusta.signal.smoothing import band_mean_power
from frusta.signal.sweep import Sweep, fit_sweep, make_sweep
from frusta.signal.transfer import Band, band_of_sweep, bins_hz, inverse_spectrum, taper_band
from frusta.signal.whole_sweep import best_step

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

RANDOM_REGULARISATION = 1e-4  # of the local power: what a random signal lacks in single bins
HEARD_SHARE = 0.05  # power of a band of a loopback re its loudest from which it counts
STRAY_S = 0.005  # bands of a loopback that arrive farther apart, on average, are not those of the sweep that was named
SILENT = 1e-4  # peak of a reference channel that carries nothing (-80 dB re full scale)


@dataclass(frozen=True)
class Source:
    """What was played.

    Attributes
    ----------
    spectrum, inverse : ndarray, shape (m,)
        Its spectrum and the tapered inverse of that.
    taper : ndarray, shape (m,)
        The taper alone.
    band : Band
    amplitude : float
        Peak of a sine of its level, re digital full scale of the channel it is read in.
    rate_s : float or None
        Rate L of an exponential sweep; None if it is none.
    start_hz, stop_hz, begin_s, end_s : float
        First and last frequency, begin and end of the sweep in the signal that is divided by.
    synchronised : bool
        Whether the phase of its harmonics is known.
    by_reference : bool
        Whether it is a loopback recorded beside the microphone.
    reason : str or None
        Why it has no harmonics.
    as_named : bool
        False for a loopback that does not carry what was said to be played.
    """

    spectrum: Complexes
    inverse: Complexes
    taper: Floats
    band: Band
    amplitude: float
    rate_s: float | None
    start_hz: float
    stop_hz: float
    begin_s: float
    end_s: float
    synchronised: bool
    by_reference: bool
    reason: str | None
    as_named: bool = True


@lru_cache(maxsize=4)
def source_of_sweep(sweep: Sweep, count: int) -> Source:
    """Return a sweep made here, for transforms of ``count`` samples; the last few are kept."""
    spectrum = long_rfft(make_sweep(sweep), count)
    band = band_of_sweep(sweep)
    inverse, taper = inverse_spectrum(spectrum, bins_hz(count, sweep.sample_rate_hz), band)
    for array in (spectrum, inverse, taper):
        array.flags.writeable = False
    return Source(
        spectrum,
        inverse,
        taper,
        band,
        sweep.amplitude,
        sweep.rate_s,
        sweep.start_hz,
        sweep.stop_hz,
        sweep.lead_in_s,
        sweep.lead_in_s + sweep.sounding_s,
        True,
        False,
        None,
    )


def source_of_signal(played: Floats, sample_rate_hz: float, count: int, *, by_reference: bool = False) -> Source:
    """Return any signal as a source: its sweep is fitted, and if it is none, it is divided out all the same.

    Raises
    ------
    ParameterError
        If the signal is silent, not finite, or covers less than two octaves.
    """
    fit = fit_sweep(played, sample_rate_hz)
    band = taper_band(fit.start_hz, fit.stop_hz, sample_rate_hz)
    spectrum = long_rfft(played, count)
    share = 0.0 if fit.exponential else RANDOM_REGULARISATION
    inverse, taper = inverse_spectrum(spectrum, bins_hz(count, sample_rate_hz), band, share)
    amplitude = fit.amplitude
    if not fit.exponential:
        amplitude = math.sqrt(2.0 * float(np.mean(played[_sounding(played)] ** 2)))
    return Source(
        spectrum,
        inverse,
        taper,
        band,
        amplitude,
        fit.rate_s if fit.exponential else None,
        fit.start_hz,
        fit.stop_hz,
        fit.begin_s,
        fit.end_s,
        False,
        by_reference,
        None if fit.exponential else f"what was played is no exponential sweep: {fit.reason}",
    )


def _sounding(signal: Floats) -> slice:
    loud = np.flatnonzero(np.abs(signal) > 0.01 * np.abs(signal).max())
    return slice(int(loud[0]), int(loud[-1]) + 1)


def source_of_reference(reference: Floats, sample_rate_hz: float, count: int, sweep: Source | None) -> Source:
    """Return a loopback recorded beside the microphone as a source.

    Parameters
    ----------
    reference : ndarray, shape (n,)
    sample_rate_hz : float
    count : int
        Transform length.
    sweep : Source or None
        What was played, if known: it lends its band and rate, and its level is brought to that of the loopback.

    Raises
    ------
    ParameterError
        If the loopback is silent.
    """
    if float(np.abs(reference).max(initial=0.0)) < SILENT:
        raise ParameterError("the reference channel must carry what was played (it is silent); check its cable")
    if sweep is None:
        return source_of_signal(reference, sample_rate_hz, count, by_reference=True)
    spectrum = long_rfft(reference, count)
    frequency = bins_hz(count, sample_rate_hz)
    share = 0.0 if sweep.rate_s is not None else RANDOM_REGULARISATION
    inverse, taper = inverse_spectrum(spectrum, frequency, sweep.band, share)
    low, high = max(300.0, sweep.band.full_low_hz), min(1000.0, sweep.band.full_high_hz)
    if high < 1.5 * low:
        low, high = sweep.band.full_low_hz, sweep.band.full_high_hz
    part = slice(int(np.searchsorted(frequency, low)), int(np.searchsorted(frequency, high)))
    ratio = spectrum[part] * sweep.inverse[part]
    gain = math.sqrt(band_mean_power(frequency[part], np.abs(ratio) ** 2, low * 1.001, high * 0.999))
    turn = -float(np.angle(np.sum(ratio[1:] * ratio[:-1].conj()))) / (2.0 * math.pi)
    delay_s = turn * count / sample_rate_hz  # of the loopback, within half the transform either way
    return Source(
        spectrum,
        inverse,
        taper,
        sweep.band,
        gain * sweep.amplitude,
        sweep.rate_s,
        sweep.start_hz,
        sweep.stop_hz,
        sweep.begin_s + delay_s,
        sweep.end_s + delay_s,
        sweep.synchronised,
        True,
        sweep.reason,
        _carries(spectrum, sweep, sample_rate_hz, count),
    )


def _carries(spectrum: Complexes, sweep: Source, sample_rate_hz: float, count: int) -> bool:
    """Whether a loopback carries the sweep: all its bands at one time, but for one jump where samples were lost."""
    edges = np.geomspace(sweep.band.full_low_hz, sweep.band.full_high_hz, 25) * count / sample_rate_hz
    place = np.unique(edges.astype(np.int64))
    ratio = spectrum[place[0] : place[-1] + 1] * sweep.inverse[place[0] : place[-1] + 1]
    turn = ratio[1:] * ratio[:-1].conj()
    power = ratio.real**2 + ratio.imag**2
    start = place[:-1] - place[0]
    heard = np.add.reduceat(power[:-1], start) / np.diff(place)
    lag_s = -np.angle(np.add.reduceat(turn, start)) / (2.0 * math.pi) * count / sample_rate_hz
    lag_s = lag_s[heard > HEARD_SHARE * heard.max()]
    return not best_step(lag_s)[1] > STRAY_S or lag_s.size < 4


def source_of_nothing(sample_rate_hz: float, count: int, band: Band | None) -> Source:
    """Return the source of a recording that is an impulse response already: a unit impulse at its first sample."""
    if band is None:
        band = taper_band(20.0, min(20000.0, 0.45 * sample_rate_hz), sample_rate_hz)
    spectrum = np.ones(count // 2 + 1, dtype=np.complex128)
    inverse, taper = inverse_spectrum(spectrum, bins_hz(count, sample_rate_hz), band)
    return Source(
        spectrum,
        inverse,
        taper,
        band,
        math.sqrt(2.0),
        None,
        band.start_hz,
        band.stop_hz,
        0.0,
        0.0,
        False,
        False,
        "an impulse response holds no harmonics: what was played is gone from it",
    )
