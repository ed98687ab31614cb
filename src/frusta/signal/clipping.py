"""Clipping: samples that pile up at the extreme of a recording, at full scale or below it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LEAST_SAMPLES = 12
PILE_SHARE = 0.8
"""Share of the topmost samples, within three widths of the extreme, that stand within one width of it. A steady sine
has 0.58 there (arc-cosine law), a recording whose envelope varies a third or less; a flat top has nearly all."""

WIDTHS = (3e-5, 3e-4, 1e-3, 3e-3, 1e-2)
"""Widths tried, re the extreme: the narrow ones find clipping by a converter, the wide ones noisy or sloping tops."""


@dataclass(frozen=True)
class Clipping:
    """A flat top: how many samples, at which level re full scale, from when to when (s)."""

    samples: int
    level: float
    first_s: float
    last_s: float


def find_clipping(recording: Floats, sample_rate_hz: float, quantum: float) -> Clipping | None:
    """Return the flat top of a recording, or None.

    Parameters
    ----------
    recording : ndarray, shape (n,)
        One channel, full scale 1.0.
    sample_rate_hz : float
        Hz.
    quantum : float
        Smallest step of the recording, re full scale: 2**-15 for 16 bits.

    Returns
    -------
    Clipping or None
        The pile-up of samples at the highest or lowest value, whichever holds more.

    Notes
    -----
    The sign of the pile-up, not the level, tells: a preamplifier clips below digital full scale, and a peak that
    merely touches full scale is no harm.
    """
    best: Clipping | None = None
    for signal in (recording, -recording):
        top = float(signal.max())
        if top <= 250.0 * quantum:
            continue  # a few steps high: every top looks flat
        index = np.flatnonzero(signal >= 0.965 * top)
        depth = top - signal[index]
        for width in WIDTHS:
            delta = max(width * top, 2.0 * quantum)
            near = depth <= delta
            count = int(np.count_nonzero(near))
            below = int(np.count_nonzero(depth <= 3.0 * delta)) - count
            if count >= LEAST_SAMPLES and count >= PILE_SHARE * (count + below):
                at = index[near]
                found = Clipping(count, top, float(at[0]) / sample_rate_hz, float(at[-1]) / sample_rate_hz)
                best = found if best is None or found.samples > best.samples else best
                break
    return best


def find_quantum(recording: Floats) -> float:
    """Return the step of a recording re full scale: 2**-15, 2**-23, or 0 where it was stored as float.

    Parameters
    ----------
    recording : ndarray, shape (n,)
        One channel, full scale 1.0.
    """
    part = recording[: 1 << 16] if recording.size <= 1 << 17 else recording[recording.size // 2 :][: 1 << 16]
    for bits in (7, 15, 23):
        steps = part * 2.0**bits
        if np.array_equal(steps, np.rint(steps)):
            return 2.0**-bits
    return 0.0
