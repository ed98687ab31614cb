"""Harmonic distortion from one exponential sweep: orders 2 to 5 and buzz, each with the noise of its own place.

The response of order n is read in its window of the deconvolved impulse response, divided by the linear
response at the same output frequency in an equally long window: the room, the microphone and the cone cancel,
and what is left is the distortion of the drive, *input-referred*. Its power is smoothed over a sixth of an
octave; times the gated linear response it is the harmonic at the microphone, re the fundamental at the same
drive frequency. The same is done with the gaps between the harmonics: that is the noise floor.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from frusta.errors import ParameterError
from frusta.signal.harmonic_windows import BEFORE, LENGTHS_S, HarmonicPlace, length_weights, place, window
from frusta.signal.smoothing import smooth_rows
from frusta.signal.transfer import bins_hz, stretch

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Integers = NDArray[np.int64]

ORDERS = (2, 3, 4, 5)
BUZZ_ORDERS = tuple(range(6, 16))
BUZZ_STEP = 4
"""The buzz is read at every fourth drive frequency (24 an octave, a quarter of its smoothing) and interpolated."""

SMOOTHING = 6.0
"""Bands per octave of the power smoothing."""

TOP_OF_BAND = 0.97
"""Share of the sweep's upper limit up to which an order is read: beyond it, the inverse has been tapered away."""

TAIL_DB = -20.0
"""Room tail, re the linear response, from which a harmonic cannot be told from its neighbour: with less, a neighbour
10 dB stronger would still lie 10 dB below."""

SHORT_SWEEP = "the sweep is too short: the window of this order runs into the next one's"
ROOM_TAIL = "the room's tail overlaps the window of this order"
OUT_OF_BAND = "this order of the drive frequency leaves the band"


@dataclass(frozen=True)
class HarmonicCurve:
    """One order (or the buzz) over drive frequency.

    Attributes
    ----------
    orders : tuple of int
        The orders added up: one, or 6 to 15.
    input_power, input_noise : ndarray, shape (m,)
        Squared ratio to the linear response at the same output frequency, as measured (noise included), and the same
        of the noise at that place; NaN where not readable.
    power, noise : ndarray, shape (m,)
        The same at the microphone, re the fundamental at the drive frequency.
    power_u, input_power_u : ndarray, shape (m,)
        Standard uncertainty of power less noise that the noise leaves.
    limit_hz : float
        Drive frequency above which the (first) order leaves the band.
    short, tail : ndarray of bool, shape (m,)
        Where nothing is read because the sweep is too short, or the room's tail overlaps.
    """

    orders: tuple[int, ...]
    input_power: Floats
    input_noise: Floats
    input_power_u: Floats
    power: Floats
    noise: Floats
    power_u: Floats
    limit_hz: float
    short: Flags
    tail: Flags


@dataclass(frozen=True)
class Harmonics:
    """Orders 2 to 5 and the buzz over one grid of drive frequencies, Hz; with a reason where nothing could be read."""

    frequency_hz: Floats
    curves: tuple[HarmonicCurve, ...]
    buzz: HarmonicCurve
    stop_hz: float
    reason: str | None = None

    def columns(self) -> dict[str, Floats]:
        """Return h2_db ... buzz_db, their ``_noise_db`` and ``_input_db``, dB re the fundamental.

        The fundamental is that at the drive frequency. Noise is contained in the curves as measured; they merge
        into their floors. NaN where not readable.
        """
        named = {f"h{c.orders[0]}": c for c in self.curves} | {"buzz": self.buzz}
        columns: dict[str, Floats] = {}
        for suffix, part in (("_db", "power"), ("_noise_db", "noise"), ("_input_db", "input_power")):
            for name, curve in named.items():
                columns[name + suffix] = _decibels(getattr(curve, part))
        return columns


def _decibels(power: Floats) -> Floats:
    return np.asarray(10.0 * np.log10(np.maximum(power, 1e-30)))


def read_harmonics(
    impulse: Floats,
    sample_rate_hz: float,
    onset: int,
    rate_s: float,
    band_hz: tuple[float, float],
    frequency_hz: Floats,
    gated: Floats,
) -> Harmonics:
    """Read the harmonics and their noise floors from a deconvolved exponential sweep.

    Parameters
    ----------
    impulse : ndarray, shape (n,)
        Periodic impulse response, ungated, as `frusta.signal.transfer.deconvolve` gives it.
    sample_rate_hz : float
        Hz.
    onset : int
        Index of the direct sound of the linear response, samples (negative indices wrap).
    rate_s : float
        Rate of the sweep, s: the time in which its frequency grows e-fold.
    band_hz : (float, float)
        First and last frequency of the sweep, Hz.
    frequency_hz : ndarray, shape (m,)
        Drive frequencies, Hz, rising.
    gated : ndarray, shape (m,)
        Magnitude of the gated, corrected linear response there, > 0, any unit; may be complex.

    Returns
    -------
    Harmonics

    Raises
    ------
    ParameterError
        If shapes differ, or rate, sample rate or band are out of range.

    Notes
    -----
    The window follows the output frequency (160 ms at 100 Hz down to 10 ms at 1.7 kHz), since a sixth of an octave
    needs no more and a longer one only gathers noise.

    References
    ----------
    A. Farina, AES 108th Convention, preprint 5093, 2000.
    A. Novak, P. Lotton, L. Simon, J. Audio Eng. Soc. 63(10), 2015.
    """
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    magnitude = np.abs(np.asarray(gated))
    if frequency.ndim != 1 or frequency.shape != magnitude.shape or frequency.size < 2:
        raise ParameterError(f"gated must have one value per frequency (got {magnitude.shape} for {frequency.shape})")
    if not (rate_s > 0.0 and sample_rate_hz > 0.0 and 0.0 < band_hz[0] < band_hz[1]):
        raise ParameterError(
            f"rate, sample rate and band must be positive, the band rising (got {rate_s}, {sample_rate_hz}, {band_hz})"
        )
    reader = _Reader(np.asarray(impulse, dtype=np.float64), sample_rate_hz, onset, rate_s, band_hz[1])
    level = np.log(np.maximum(magnitude, 1e-300))
    at = np.unique(np.append(np.arange(0, frequency.size, BUZZ_STEP), frequency.size - 1))
    read = reader.read(dict.fromkeys(ORDERS, frequency) | dict.fromkeys(BUZZ_ORDERS, frequency[at]))
    curves = [_sum_orders(read, (order,), frequency, frequency, level, band_hz[1]) for order in ORDERS]
    buzz = _fine(_sum_orders(read, BUZZ_ORDERS, frequency[at], frequency, level, band_hz[1]), at, frequency)
    return Harmonics(frequency, tuple(curves), buzz, band_hz[1])


def no_harmonics(frequency_hz: Floats, stop_hz: float, reason: str) -> Harmonics:
    """Return harmonics that could not be read, all NaN, with the reason.

    Parameters
    ----------
    frequency_hz : ndarray, shape (m,)
        Drive frequencies, Hz.
    stop_hz : float
        Last frequency of the band, Hz.
    reason : str
        Why, in plain words: not an exponential sweep, an impulse response.
    """
    nothing = np.full(frequency_hz.shape, np.nan)
    no = np.zeros(frequency_hz.shape, dtype=bool)

    def empty(orders: tuple[int, ...]) -> HarmonicCurve:
        limit_hz = TOP_OF_BAND * stop_hz / orders[0]
        return HarmonicCurve(orders, nothing, nothing, nothing, nothing, nothing, nothing, limit_hz, no, no)

    return Harmonics(frequency_hz, tuple(empty((n,)) for n in ORDERS), empty(BUZZ_ORDERS), stop_hz, reason)


@dataclass(frozen=True)
class _Order:
    """One order on a drive grid: squared ratio, noise, relative bins behind each, and what is not readable."""

    ratio: Floats
    noise: Floats
    bins: Floats
    segments: Floats
    short: Flags
    tail: Flags


class _Reader:
    """Reads all orders of one impulse response, window length by window length."""

    def __init__(self, impulse: Floats, sample_rate_hz: float, onset: int, rate_s: float, stop_hz: float) -> None:
        self.sample_rate_hz, self.rate_s, self.stop_hz = sample_rate_hz, rate_s, stop_hz
        # all windows lie in one stretch, from the highest order to the room behind the linear response
        self.before = round((rate_s * math.log(BUZZ_ORDERS[-1] + 1.0) + 2.0 * LENGTHS_S[0]) * sample_rate_hz)
        after = round((rate_s * math.log(2.0) + 2.0 * LENGTHS_S[0]) * sample_rate_hz)
        self.around = stretch(impulse, self.before, after, onset)

    def power(self, k: int, starts_s: tuple[float, ...], bins: slice) -> Floats:
        """Power spectra (segments, bins) of windows of length k that start there, re the direct sound."""
        size = round(LENGTHS_S[k] * self.sample_rate_hz)
        shape = window(size)
        parts = np.empty((len(starts_s), size))
        for row, start_s in zip(parts, starts_s, strict=True):
            first = self.before + round(start_s * self.sample_rate_hz)
            np.multiply(self.around[first : first + size], shape, out=row)
        spectrum = fft.rfft(parts, self.transform(k), axis=-1)[:, bins]
        return np.asarray(spectrum.real**2 + spectrum.imag**2)

    def transform(self, k: int) -> int:
        """Return the transform length of a window: twice its length, so that its power is not undersampled."""
        return int(fft.next_fast_len(2 * round(LENGTHS_S[k] * self.sample_rate_hz), real=True))

    def read(self, drives: dict[int, Floats]) -> dict[int, _Order]:
        """Read orders and their noise, each at its own drive frequencies."""
        spots = {n: [place(n, self.rate_s, length) for length in LENGTHS_S] for n in drives}
        counts = [drive.size for drive in drives.values()]
        output = np.concatenate([n * drive for n, drive in drives.items()])
        usable = np.repeat([[spot is not None for spot in row] for row in spots.values()], counts, axis=0)
        weights = length_weights(output, usable)
        inside = output <= TOP_OF_BAND * self.stop_hz
        short = inside & ~weights.any(axis=1)
        weights[~inside] = 0.0
        ratio, noise, tail, bins, segments = np.zeros((5, output.size))
        which = np.repeat(np.arange(len(counts)), counts)
        resolved = output * (2 ** (1 / 12) - 2 ** (-1 / 12))
        for k in range(len(LENGTHS_S)):
            use = weights[:, k] > 0.0
            needed = [(i, row[k]) for i, row in enumerate(spots.values()) if np.any(use & (which == i))]
            heard = [(i, spot) for i, spot in needed if spot is not None]
            if not heard:
                continue
            w = weights[use, k]
            smooth = self._smooth(k, dict(heard), which[use], output[use])
            ratio[use] += w * smooth[0]
            noise[use] += w * smooth[1]
            tail[use] += w * smooth[2]
            bins[use] += w * np.maximum(0.6 * LENGTHS_S[k] * resolved[use], 1.0)
            size = np.zeros(len(counts))
            for i, spot in heard:
                size[i] = len(spot.before_s) + len(spot.after_s)
            segments[use] += w * size[which[use]]
        read = weights.any(axis=1)
        overlapped = read & (tail > 10.0 ** (TAIL_DB / 10.0))
        ratio[~read | overlapped] = np.nan
        noise[~read | overlapped] = np.nan
        whole = _Order(ratio, noise, np.maximum(bins, 1.0), np.maximum(segments, 1.0), short, overlapped)
        ends = np.cumsum(counts)
        parts = [slice(end - count, end) for end, count in zip(ends, counts, strict=True)]
        return {
            n: _Order(*(getattr(whole, f.name)[part] for f in fields(whole)))
            for n, part in zip(drives, parts, strict=True)
        }

    def _smooth(self, k: int, spots: dict[int, HarmonicPlace], which: Integers, output: Floats) -> Floats:
        """Smoothed squared ratios (harmonic, noise, room tail); `which` names the spot of each output frequency."""
        length_s, step_hz = LENGTHS_S[k], self.sample_rate_hz / self.transform(k)
        low = max(1, math.floor(0.9 * float(output.min()) / step_hz) - 1)
        top = math.ceil(1.1 * float(output.max()) / step_hz) + 2
        bins = slice(low, min(top, math.floor(self.stop_hz / step_hz) + 1, self.transform(k) // 2 + 1))
        linear = np.maximum(self.power(k, (-BEFORE * length_s,), bins)[0], 1e-300)
        rows = np.empty((3 * len(spots) + 1, linear.size))
        rows[-1] = linear
        row_of = np.zeros(max(spots) + 1, dtype=np.int64)
        for row, (i, spot) in enumerate(spots.items()):
            gap_s = self.rate_s * math.log((spot.order + 1) / spot.order)
            starts = (spot.start_s, gap_s - BEFORE * length_s, *spot.before_s, *spot.after_s)
            power = self.power(k, starts, bins)
            noise = power[2:].mean(axis=0)
            rows[3 * row : 3 * row + 3] = power[0] / linear, noise / linear, power[1] - noise
            row_of[i] = 3 * row
        frequency = bins_hz(self.transform(k), self.sample_rate_hz)[bins]
        first = row_of[which]
        wanted = np.stack([first, first + 1, first + 2, np.full(first.size, rows.shape[0] - 1)])
        smooth = smooth_rows(frequency, rows, SMOOTHING, output, wanted)
        smooth[2] /= np.maximum(smooth[3], 1e-300)
        return smooth[:3]


def _fine(coarse: HarmonicCurve, at: Integers, frequency: Floats) -> HarmonicCurve:
    """Bring a curve that was read at some of the drive frequencies to all of them."""
    x, x_coarse = np.log(frequency), np.log(frequency[at])
    nearest = np.clip(np.searchsorted(at, np.arange(frequency.size)), 0, at.size - 1)

    def fine(values: Floats) -> Floats:
        return np.interp(x, x_coarse, values)

    return HarmonicCurve(
        orders=coarse.orders,
        input_power=fine(coarse.input_power),
        input_noise=fine(coarse.input_noise),
        input_power_u=fine(coarse.input_power_u),
        power=fine(coarse.power),
        noise=fine(coarse.noise),
        power_u=fine(coarse.power_u),
        limit_hz=coarse.limit_hz,
        short=coarse.short[nearest],
        tail=coarse.tail[nearest],
    )


def _sum_orders(
    read: dict[int, _Order],
    orders: tuple[int, ...],
    drive_hz: Floats,
    frequency: Floats,
    level: Floats,
    stop_hz: float,
) -> HarmonicCurve:
    """Add up orders at the drive frequencies; level is ln of the gated linear magnitude at frequency."""
    sums = np.zeros((6, drive_hz.size))
    short = np.zeros(drive_hz.size, dtype=bool)
    tail = np.zeros(drive_hz.size, dtype=bool)
    x = np.log(frequency)
    fundamental = np.interp(np.log(drive_hz), x, level)
    for order in orders:
        one = read[order]
        short |= one.short
        tail |= one.tail
        variance = power_variance(one.ratio, one.noise, one.bins, one.segments)
        log_gain = np.interp(np.log(order * drive_hz), x, level, right=np.nan) - fundamental
        gain = np.exp(2.0 * log_gain)
        inside = order * drive_hz <= TOP_OF_BAND * stop_hz
        terms = np.stack(
            [one.ratio, one.noise, variance, one.ratio * gain, one.noise * gain, variance * gain * gain],
        )
        sums += np.where(inside, terms, 0.0 if order != orders[0] else np.nan)
    return HarmonicCurve(
        orders=orders,
        input_power=sums[0],
        input_noise=sums[1],
        input_power_u=np.sqrt(sums[2]),
        power=sums[3],
        noise=sums[4],
        power_u=np.sqrt(sums[5]),
        limit_hz=TOP_OF_BAND * stop_hz / orders[0],
        short=short,
        tail=tail,
    )


def power_variance(power: Floats, noise: Floats, bins: Floats, segments: Floats) -> Floats:
    """Return the variance of (power - noise), given the noise and how many independent values each mean holds.

    A steady harmonic of power P in complex Gaussian noise of power M has, in one bin, variance 2PM + M²; the noise's
    own mean over several segments adds M²/segments.

    Parameters
    ----------
    power : ndarray, shape (m,)
        As measured, noise included.
    noise : ndarray, shape (m,)
        Mean noise power of the same bins.
    bins : ndarray, shape (m,)
        Independent frequency bins within the smoothing band, >= 1.
    segments : ndarray, shape (m,)
        Segments over which the noise was averaged, >= 1.

    Returns
    -------
    ndarray, shape (m,)
        Squared unit of power.

    References
    ----------
    Non-central chi-square distribution with two degrees of freedom per bin; from memory.
    """
    net = np.maximum(power - noise, 0.0)
    return np.asarray((2.0 * net * noise + noise**2 * (1.0 + 1.0 / segments)) / bins)
