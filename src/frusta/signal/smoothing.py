"""Fractional-octave smoothing by power, and the logarithmic grid that all curves share."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from frusta.errors import ParameterError

Floats = NDArray[np.float64]

POINTS_PER_OCTAVE = 96
OCTAVE_RATIO = 10.0**0.3  # G of IEC 61260-1


def log_grid(start_hz: float, stop_hz: float, per_octave: int = POINTS_PER_OCTAVE) -> Floats:
    """Return the frequencies ``1000 * 2**(k / per_octave)`` from start to stop, both included if hit.

    Parameters
    ----------
    start_hz, stop_hz : float
        Hz, 0 < start < stop.
    per_octave : int
        Points an octave, >= 1.

    Returns
    -------
    ndarray, shape (n,)
        Hz, rising.

    Raises
    ------
    ParameterError
        If the range is empty or not positive.

    Examples
    --------
    >>> log_grid(500.0, 2000.0, 1).tolist()
    [500.0, 1000.0, 2000.0]
    """
    if not 0.0 < start_hz < stop_hz < math.inf or per_octave < 1:
        raise ParameterError(
            f"a frequency grid must run from above 0 Hz upwards (got {start_hz:g} to {stop_hz:g} Hz, "
            f"{per_octave} points an octave)"
        )
    first = math.ceil(per_octave * math.log2(start_hz / 1000.0) - 1e-9)
    last = math.floor(per_octave * math.log2(stop_hz / 1000.0) + 1e-9)
    return np.asarray(1000.0 * 2.0 ** (np.arange(first, last + 1) / per_octave))


def octave_midbands(fraction: int, first: int, last: int) -> Floats:
    """Return base-ten midband frequencies of 1/fraction-octave bands, Hz, for band numbers first to last.

    Odd fractions have a band at 1 kHz (number 0), even ones an edge there.

    Parameters
    ----------
    fraction : int
        Bands an octave, >= 1.
    first, last : int
        Numbers of the lowest and the highest band, both included.

    Returns
    -------
    ndarray, shape (last - first + 1,)
        Hz.

    Raises
    ------
    ParameterError
        If there is no such fraction or no band.

    References
    ----------
    IEC 61260-1:2014; the rule for even fractions from memory.

    Examples
    --------
    >>> octave_midbands(3, 0, 1).round(2).tolist()
    [1000.0, 1258.93]
    """
    if fraction < 1 or last < first:
        raise ParameterError(f"fraction must be at least 1 and last >= first (got {fraction}, {first}, {last})")
    number = np.arange(first, last + 1)
    if fraction % 2:
        return np.asarray(1000.0 * OCTAVE_RATIO ** (number / fraction))
    return np.asarray(1000.0 * OCTAVE_RATIO ** ((2 * number + 1) / (2 * fraction)))


def octave_edges(midband_hz: Floats, fraction: int) -> tuple[Floats, Floats]:
    """Return lower and upper edges, Hz, of 1/fraction-octave bands round ``midband_hz`` (IEC 61260-1)."""
    half = OCTAVE_RATIO ** (1.0 / (2.0 * fraction))
    return np.asarray(midband_hz / half), np.asarray(midband_hz * half)


def smooth_power(frequency_hz: Floats, power: Floats, fraction: float, at_hz: Floats | None = None) -> Floats:
    """Return the mean power over 1/fraction octave round each frequency, equal weight per log frequency.

    The power is taken as linear in ln f between its points and integrated exactly; at the ends of the
    data the window is cut, not extrapolated.

    Parameters
    ----------
    frequency_hz : ndarray, shape (n,)
        Rising, > 0.
    power : ndarray, shape (..., n)
        Squared magnitude, any unit.
    fraction : float
        Bands per octave, > 0: 3 for third octaves.
    at_hz : ndarray, shape (m,), optional
        Where to evaluate; default: at ``frequency_hz``.

    Returns
    -------
    ndarray, shape (..., m)
        Same unit as ``power``.

    Raises
    ------
    ParameterError
        If frequencies do not rise or are not positive, or shapes differ.
    """
    f = np.asarray(frequency_hz, dtype=np.float64)
    p = np.asarray(power, dtype=np.float64)
    if f.ndim != 1 or f.size < 2 or p.shape[-1] != f.size:
        raise ParameterError(f"power must have one value per frequency (got {p.shape} for {f.shape})")
    if f[0] <= 0.0 or np.any(np.diff(f) <= 0.0):
        raise ParameterError("frequencies must be positive and rising")
    if not fraction > 0.0:
        raise ParameterError(f"fraction must be positive (got {fraction})")
    at = f if at_hz is None else np.asarray(at_hz, dtype=np.float64)
    rows = p.reshape(-1, f.size)
    return smooth_rows(f, rows, fraction, at, np.arange(rows.shape[0])[:, None]).reshape(*p.shape[:-1], at.size)


def smooth_rows(frequency_hz: Floats, power: Floats, fraction: float, at_hz: Floats, row: NDArray[np.int64]) -> Floats:
    """Return the means of `smooth_power` of one row each, unchecked: for many curves, each at its own places.

    Parameters
    ----------
    frequency_hz : ndarray, shape (n,)
        Rising, > 0; two at least.
    power : ndarray, shape (rows, n)
        Squared magnitude, any unit.
    fraction : float
        Bands per octave, > 0.
    at_hz : ndarray, shape (m,)
        Where to evaluate, Hz.
    row : ndarray, broadcast to shape (..., m)
        Which row to evaluate there.

    Returns
    -------
    ndarray, shape (..., m)
        Same unit as ``power``.
    """
    x, centre = np.log2(frequency_hz), np.log2(at_hz)
    low = np.minimum(np.maximum(centre - 0.5 / fraction, x[0]), x[-1])
    high = np.minimum(np.maximum(centre + 0.5 / fraction, x[0]), x[-1])
    step = x[1:] - x[:-1]
    run = np.zeros(power.shape)
    np.cumsum(0.5 * (power[:, 1:] + power[:, :-1]) * step, axis=-1, out=run[:, 1:])
    slope = 0.5 * (power[:, 1:] - power[:, :-1]) / step

    def integral(edge: Floats) -> Floats:
        i = np.minimum(np.maximum(np.searchsorted(x, edge, side="right") - 1, 0), x.size - 2)
        d = edge - x[i]
        return np.asarray(run[row, i] + d * (power[row, i] + d * slope[row, i]))

    width = high - low
    empty = width <= 0.0
    mean = (integral(high) - integral(low)) / np.where(empty, 1.0, width)
    return np.where(empty, power[row, -1], mean) if empty.any() else mean


def band_mean_power(frequency_hz: Floats, power: Floats, low_hz: float, high_hz: float) -> float:
    """Return the power mean between two frequencies, equal weight per log frequency (see `smooth_power`)."""
    centre = math.sqrt(low_hz * high_hz)
    fraction = 1.0 / math.log2(high_hz / low_hz)
    return float(smooth_power(frequency_hz, power, fraction, np.array([centre]))[0])
