"""Figures of level read from a response: level, limits, unevenness, tallest peak, piston limit."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frusta.errors import ParameterError
from frusta.signal.smoothing import band_mean_power, smooth_power

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

PISTON_BAND_HZ = (300.0, 1000.0)
REFERENCE_PA = 20e-6
FALL_DB = 10.0
LIMIT_SMOOTHING, PEAK_SMOOTHING = 3.0, 12.0  # bands per octave
DEPARTURE_DB = 3.0


@dataclass(frozen=True)
class Figure:
    """A figure, its standard uncertainty, and why it is missing.

    Attributes
    ----------
    value, u : float or None
    reason : str or None
    """

    value: float | None
    u: float | None = None
    reason: str | None = None


@dataclass(frozen=True)
class RigidResponse:
    """The rigid cone's own computed response.

    Attributes
    ----------
    frequency_hz : ndarray, shape (n,)
        Rising, Hz.
    pressure : ndarray, shape (n,)
        Complex, any unit: it is brought to the recording's level.
    """

    frequency_hz: Floats
    pressure: Complexes

    def power_at(self, frequency_hz: Floats) -> Floats:
        """Squared magnitude, interpolated in dB over log f; NaN outside."""
        level = 20.0 * np.log10(np.abs(self.pressure) + 1e-300)
        x, at = np.log(self.frequency_hz), np.log(frequency_hz)
        return np.asarray(10.0 ** (np.interp(at, x, level, left=np.nan, right=np.nan) / 10.0))


def level_db(frequency_hz: Floats, power: Floats) -> float:
    """Return the power mean from 300 Hz to 1 kHz, equal weight per log frequency.

    Parameters
    ----------
    frequency_hz, power : ndarray, shape (n,)
        Gated response on a logarithmic grid, any unit of power.

    Returns
    -------
    float
        dB re the unit of power.
    """
    return 10.0 * math.log10(band_mean_power(frequency_hz, power, *PISTON_BAND_HZ) + 1e-300)


def levels_db(frequency_hz: Floats, powers: Floats) -> Floats:
    """Return `level_db` of several responses, ``powers`` of shape (responses, n)."""
    low, high = PISTON_BAND_HZ
    middle = np.array([math.sqrt(low * high)])
    return np.asarray(
        10.0 * np.log10(smooth_power(frequency_hz, powers, 1.0 / math.log2(high / low), middle)[:, 0] + 1e-300)
    )


def frequency_limits(
    frequency_hz: Floats, power: Floats, reference_db: float, smooth_db: Floats | None = None
) -> tuple[Figure, Figure]:
    """Return lower and upper limit, where the third-octave-smoothed response falls 10 dB for a third octave.

    From the piston band outwards: the first frequency where the smoothed response is 10 dB below the
    reference and stays there for a third octave (or to the end of the band, if that is nearer and at least
    a sixth of an octave away).

    Parameters
    ----------
    frequency_hz, power : ndarray, shape (n,)
        Response on a logarithmic grid.
    reference_db : float
        `level_db` of the same response.
    smooth_db : ndarray, shape (n,), optional
        The smoothed response (`smoothed_db`), where it is known already.
    """
    smooth = smoothed_db(frequency_hz, power, LIMIT_SMOOTHING) if smooth_db is None else smooth_db
    x = np.log2(frequency_hz)
    gap = smooth - (reference_db - FALL_DB)
    middle = int(np.argmin(np.abs(x - math.log2(math.sqrt(PISTON_BAND_HZ[0] * PISTON_BAND_HZ[1])))))
    return _fall(x, gap, middle, -1), _fall(x, gap, middle, 1)


def smoothed_db(frequency_hz: Floats, power: Floats, fraction: float) -> Floats:
    """Return a response, or several, smoothed by power over 1/fraction octave, dB re the unit of power.

    Parameters
    ----------
    frequency_hz : ndarray, shape (n,)
    power : ndarray, shape (..., n)
    fraction : float
        Bands per octave.
    """
    return np.asarray(10.0 * np.log10(smooth_power(frequency_hz, power, fraction) + 1e-300))


def _fall(x: Floats, gap: Floats, start: int, step: int) -> Figure:
    """First lasting fall of ``gap`` below zero going from ``start`` in steps of ``step``."""
    side = "above" if step > 0 else "below"
    order = np.arange(start, x.size if step > 0 else -1, step)
    gaps, places = gap[order], x[order]
    for i in np.flatnonzero((gaps[1:] < 0.0) & (gaps[:-1] >= 0.0)) + 1:
        stay = np.abs(places - places[i]) <= 1.0 / 3.0
        stay &= np.arange(places.size) >= i
        if np.all(gaps[stay] < 0.0) and abs(places[-1] - places[i]) >= 1.0 / 6.0:
            part = gaps[i - 1] / (gaps[i - 1] - gaps[i])
            return Figure(float(2.0 ** (places[i - 1] + part * (places[i] - places[i - 1]))))
    return Figure(
        None, None, f"{side} the band that was played: it has not fallen by 10 dB at {2 ** places[-1]:.0f} Hz"
    )


def unevenness_db(
    frequency_hz: Floats, power: Floats, low_hz: float, high_hz: float, smooth_db: Floats | None = None
) -> float:
    """Return half of max - min of the 1/12-octave-smoothed response between two frequencies, dB.

    Used for unevenness_db (200 Hz to the upper limit) and, with the band that every cone of a campaign
    reaches, for unevenness_common_db.

    Parameters
    ----------
    frequency_hz, power : ndarray, shape (n,)
        Gated response on a logarithmic grid, any unit of power.
    low_hz, high_hz : float
        Hz, both included.
    smooth_db : ndarray, shape (n,), optional
        As in `frequency_limits`.

    Raises
    ------
    ParameterError
        If the band holds no points.
    """
    smooth = smoothed_db(frequency_hz, power, PEAK_SMOOTHING) if smooth_db is None else smooth_db
    inside = (frequency_hz >= low_hz) & (frequency_hz <= high_hz)
    if not inside.any():
        raise ParameterError(f"no points of the response lie between {low_hz:g} and {high_hz:g} Hz")
    return float(0.5 * (smooth[inside].max() - smooth[inside].min()))


def tallest_peak(
    frequency_hz: Floats, power: Floats, high_hz: float, smooth_db: Floats | None = None
) -> tuple[Figure, Figure]:
    """Return frequency and prominence of the most prominent peak of the 1/12-octave-smoothed response.

    Above the piston band (1 kHz) and below ``high_hz``. Prominence is the height over the higher of the two
    lowest points between it and a higher peak (or the end of the band) on either side. ``smooth_db`` as in
    `frequency_limits`.
    """
    smooth = smoothed_db(frequency_hz, power, PEAK_SMOOTHING) if smooth_db is None else smooth_db
    first = int(np.searchsorted(frequency_hz, PISTON_BAND_HZ[0]))
    last = int(np.searchsorted(frequency_hz, high_hz, side="right"))
    y, f = smooth[first:last], frequency_hz[first:last]
    best, place = 0.0, -1
    peaks = np.flatnonzero((y[1:-1] > y[:-2]) & (y[1:-1] >= y[2:]) & (f[1:-1] > PISTON_BAND_HZ[1])) + 1
    for i in peaks.tolist():
        higher_left = np.flatnonzero(y[:i] > y[i])
        higher_right = np.flatnonzero(y[i + 1 :] > y[i])
        left = y[(higher_left[-1] if higher_left.size else 0) : i + 1].min()
        right = y[i : (i + 1 + higher_right[0]) if higher_right.size else y.size].min()
        prominence = float(y[i] - max(left, right))
        if prominence > best:
            best, place = prominence, i
    if place < 0:
        none = Figure(None, None, "no peak above the piston band")
        return none, none
    a, b, c = y[place - 1 : place + 2]
    shift = 0.5 * (a - c) / (a - 2.0 * b + c) if a - 2.0 * b + c < 0.0 else 0.0
    ratio = f[place + 1] / f[place]
    return Figure(float(f[place] * ratio**shift)), Figure(best)


def piston_limit_hz(frequency_hz: Floats, power: Floats, rigid: RigidResponse) -> Figure:
    """Return where the unsmoothed response first leaves the rigid cone's by 3 dB, from 300 Hz up.

    Parameters
    ----------
    frequency_hz, power : ndarray, shape (n,)
        Gated response on a logarithmic grid.
    rigid : RigidResponse
        Brought to the same `level_db` first.
    """
    return piston_limits_hz(frequency_hz, power[None], rigid)[0]


def piston_limits_hz(frequency_hz: Floats, powers: Floats, rigid: RigidResponse) -> list[Figure]:
    """Return `piston_limit_hz` of several responses, ``powers`` of shape (responses, n)."""
    reference = rigid.power_at(frequency_hz)
    usable = np.isfinite(reference)
    band = (frequency_hz >= PISTON_BAND_HZ[0]) & (frequency_hz <= PISTON_BAND_HZ[1])
    if not usable[band].all():
        none = Figure(None, None, "the rigid cone's response does not cover 300 Hz to 1 kHz")
        return [none for _ in powers]
    f, p, r = frequency_hz[usable], powers[:, usable], reference[usable]
    gaps = 10.0 * np.log10(p / r + 1e-300) - (levels_db(f, p) - level_db(f, r))[:, None]
    return [_departure(f, gap) for gap in gaps]


def _departure(f: Floats, gap: Floats) -> Figure:
    """Where a gap, dB, first exceeds 3 dB from 300 Hz up."""
    start = int(np.searchsorted(f, PISTON_BAND_HZ[0]))
    over = np.flatnonzero(np.abs(gap[start:]) > DEPARTURE_DB)
    if over.size == 0:
        return Figure(None, None, f"it follows the rigid cone within 3 dB up to {f[-1]:.0f} Hz")
    i = start + int(over[0])
    if i == start:
        return Figure(None, None, "it departs from the rigid cone already at 300 Hz: check shape, mass and motor")
    before, here = abs(gap[i - 1]), abs(gap[i])
    part = (DEPARTURE_DB - before) / (here - before) if here > before else 1.0
    value = float(f[i - 1] * (f[i] / f[i - 1]) ** part)
    return Figure(value)
