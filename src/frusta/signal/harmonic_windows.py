"""Where the harmonics stand in a deconvolved impulse response, and how long a window each output frequency needs.

After deconvolution of an exponential sweep the response of order n stands ``rate_s * ln(n)`` before the
linear one (A. Farina, AES 108th Convention, preprint 5093, 2000; A. Novak et al., J. Audio Eng. Soc. 63(10),
2015). Between these responses lie gaps that hold nothing but the noise of that place.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from frusta.errors import ParameterError

LENGTHS_S = (0.16, 0.08, 0.04, 0.02, 0.01)
"""Window lengths, s, each half the one before."""

CYCLES_WANTED = 17.0
"""Periods of the output frequency that a window should hold: its resolution, 2/length, is then a sixth of an octave."""

CYCLES_NEEDED = 5.0
"""Periods of the output frequency below which a window says nothing about it."""

BEFORE = 0.35
"""Share of a window that stands before the direct sound."""

FADE_IN, FADE_OUT = 0.3, 0.5
"""Raised-cosine fades at a window's ends, as shares of its length."""

GUARD = 0.25
"""Distance kept between a harmonic's window and the gap read as noise, as share of the window's length."""

MOST_SEGMENTS = 6
"""Segments of noise read on each side of a harmonic: more would no longer be noise *at that place*."""

FEWER_SEGMENTS = 2
"""The same for the orders of the buzz, ten of which are added."""


@dataclass(frozen=True)
class HarmonicPlace:
    """One order's window and the segments of noise beside it, in seconds from the linear response's direct sound."""

    order: int
    start_s: float
    before_s: tuple[float, ...]
    after_s: tuple[float, ...]


@lru_cache(maxsize=64)
def window(length: int) -> NDArray[np.float64]:
    """Return the window of the harmonics: flat with raised-cosine fades of 30 % and 50 %.

    Parameters
    ----------
    length : int
        Samples, at least 20.

    Returns
    -------
    (length,) float64
        Between 0 and 1; shared, so not writable.

    Raises
    ------
    ParameterError
        If the window is shorter than 20 samples.
    """
    if length < 20:
        raise ParameterError(f"a window must have at least 20 samples (got {length}); record at a higher sample rate")
    shape = np.ones(length)
    rise, fall = round(FADE_IN * length), round(FADE_OUT * length)
    shape[:rise] = 0.5 - 0.5 * np.cos(np.pi * (np.arange(rise) + 0.5) / rise)
    shape[length - fall :] = 0.5 + 0.5 * np.cos(np.pi * (np.arange(fall) + 0.5) / fall)
    shape.flags.writeable = False
    return shape


def place(order: int, rate_s: float, length_s: float) -> HarmonicPlace | None:
    """Return the window of one order and the noise segments beside it, or None where the sweep is too short.

    Parameters
    ----------
    order : int
        Harmonic order, >= 2.
    rate_s : float
        Rate of the exponential sweep: the time in which its frequency grows e-fold, s.
    length_s : float
        Length of the window, s.

    Returns
    -------
    HarmonicPlace or None
        None if neither neighbouring gap has room for one segment of noise as long as the window: then the window
        of this order runs into the next one's.

    Raises
    ------
    ParameterError
        If the order is below 2 or rate or length is not positive.
    """
    if order < 2 or not rate_s > 0 or not length_s > 0:
        raise ParameterError(f"order >= 2, rate and length > 0 must hold (got {order}, {rate_s}, {length_s})")
    centre = -rate_s * math.log(order)
    start = centre - BEFORE * length_s
    keep = (1 + GUARD) * length_s
    earlier = -rate_s * math.log(order + 1) - BEFORE * length_s
    later = -rate_s * math.log(order - 1) - BEFORE * length_s
    step = 0.75 * length_s
    count = MOST_SEGMENTS if order <= 5 else FEWER_SEGMENTS
    before = [start - length_s - k * step for k in range(count)]
    after = [start + keep + k * step for k in range(count)]
    before = [s for s in before if s >= earlier + keep]
    after = [s for s in after if s + length_s <= later]
    if not before and not after:
        return None
    return HarmonicPlace(order, start, tuple(before), tuple(after))


def length_weights(frequency_hz: NDArray[np.float64], usable: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Return how much each window length counts at each output frequency.

    Two neighbouring lengths share a frequency, linearly in its logarithm, so that no step shows; a length that is not
    usable hands its share to the next shorter usable one, as long as that holds `CYCLES_NEEDED` periods.

    Parameters
    ----------
    frequency_hz : (m,) float64
        Output frequencies, Hz, > 0.
    usable : (5,) or (m, 5) bool
        Which of `LENGTHS_S` fit between the harmonics.

    Returns
    -------
    (m, 5) float64
        Rows sum to 1, or are 0 where no window can serve that frequency.
    """
    lengths = np.array(LENGTHS_S)
    position = np.clip(np.log2(frequency_hz * lengths[0] / CYCLES_WANTED), 0.0, len(lengths) - 1.0)
    lower = np.minimum(position.astype(np.int64), len(lengths) - 2)
    share = position - lower
    weights = np.zeros((len(frequency_hz), len(lengths)))
    rows = np.arange(len(frequency_hz))
    weights[rows, lower] = 1 - share
    weights[rows, lower + 1] = share
    for k in range(len(lengths)):
        lost = np.where(usable[..., k], 0.0, weights[:, k])
        if k + 1 < len(lengths):
            weights[:, k + 1] += lost
        weights[:, k] -= lost
    weights[lengths[None, :] * frequency_hz[:, None] < CYCLES_NEEDED] = 0
    total = weights.sum(axis=1, keepdims=True)
    return np.asarray(weights / np.where(total > 0.0, total, 1.0))
