"""Whether a jump of the wave form is the sweep cut and joined, or something that sounded besides.

Lost samples leave pieces of one smooth wave, joined at a point: beside the join everything is as it was, but the pieces
do not continue one another. A click adds what neither piece holds, and the wave goes on through it as if nothing were.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

ORDERS = (1, 2, 3)
"""The swept sine and its strongest harmonics."""

SIDE_PERIODS, SIDE_LEAST_S = 2.0, 0.002
"""Length of the stretch that is fitted on each side of a jump."""

JOIN_SAMPLES = 3
"""Samples left out on either side of a jump."""

LONGEST_JUMP_S = 0.0005
LOUDER = 10.0
"""A residual that much (power) over the one some way off is another sound. A chi-square of forty degrees of freedom
over another exceeds 10 in fewer than one of 1e9 takes; the margin is for what the fit's few terms leave."""

GOES_ON = 4.0
"""Power that one wave through the jump may leave over what two separate ones leave, to be one wave."""


def is_cut(recording: Floats, sample_rate_hz: float, jump: int, frequency_hz: float, rate_s: float) -> bool:
    """Return whether the wave is cut at a jump: pieces of the sweep beside it, and not one wave through it.

    Parameters
    ----------
    recording : ndarray, shape (n,)
        As recorded.
    sample_rate_hz : float
        Hz.
    jump : int
        Index of the jump.
    frequency_hz : float
        Swept at that moment, Hz.
    rate_s : float
        L of the exponential sweep, s.

    Returns
    -------
    bool
        True if samples were lost or put in; False if something sounded. True also where the recording is too short
        around the jump to tell.

    Notes
    -----
    Each side is fitted by the swept sine and two harmonics with amplitudes that change linearly, a constant and a
    slope (least squares). What one wave leaves through the jump is compared with what two waves leave; both are
    measured against the same fits one and two stretches away.
    """
    size = max(round(SIDE_PERIODS * sample_rate_hz / frequency_hz), round(SIDE_LEAST_S * sample_rate_hz))
    first, last = jump - 4 * size, jump + 4 * size
    if first < 0 or last >= recording.size:
        return True
    t = (np.arange(first, last) - jump) / sample_rate_hz
    phase = 2.0 * math.pi * frequency_hz * rate_s * np.expm1(t / rate_s)
    part = recording[first:last]
    centre = jump - first
    left = slice(centre - JOIN_SAMPLES - size, centre - JOIN_SAMPLES)
    right = slice(centre + JOIN_SAMPLES, centre + JOIN_SAMPLES + size)
    beside = _left_over(part, phase, t, (left, right))
    away = [_left_over(part, phase, t, (slice(left.start - k * size, left.stop - k * size),)) for k in (1, 2)] + [
        _left_over(part, phase, t, (slice(right.start + k * size, right.stop + k * size),)) for k in (1, 2)
    ]
    usual = float(np.median(away))
    if beside > LOUDER * usual:
        return False
    through = _left_over_joined(part, phase, t, left, right)
    return through > GOES_ON * max(beside, usual)


def _left_over(part: Floats, phase: Floats, t: Floats, pieces: tuple[slice, ...]) -> float:
    """Mean power that separate fits of several pieces leave."""
    rest = [part[p] - _fitted(part[p], phase[p], t[p]) for p in pieces]
    return float(np.mean(np.concatenate(rest) ** 2))


def _left_over_joined(part: Floats, phase: Floats, t: Floats, left: slice, right: slice) -> float:
    """Mean power that one wave through both pieces leaves; its amplitudes may bend, as at a resonance."""
    index = np.r_[left, right]
    joined = part[index]
    return float(np.mean((joined - _fitted(joined, phase[index], t[index], bend=3)) ** 2))


def _fitted(piece: Floats, phase: Floats, t: Floats, bend: int = 1) -> Floats:
    """Least-squares fit of the swept sine, its harmonics and a slow drift, amplitudes of polynomial degree `bend`."""
    x = (t - t.mean()) / max(float(np.ptp(t)), 1e-12)
    powers = [x**k for k in range(bend + 1)]
    waves = [wave(n * phase) for n in ORDERS for wave in (np.cos, np.sin)]
    columns = [w * p for w in waves[:2] for p in powers] + waves[2:] + [x**k for k in range(bend + 1)]
    basis = np.stack(columns, axis=1)
    return np.asarray(basis @ np.linalg.lstsq(basis, piece, rcond=None)[0])
