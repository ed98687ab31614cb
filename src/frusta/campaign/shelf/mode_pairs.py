"""The same mode heard twice: within a campaign from seating to seating, and between two campaigns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from frusta.campaign.findings import ModeRow

Floats = NDArray[np.float64]

WITHIN = 0.015
"""Farthest that one mode moves from seating to seating, natural logarithm: joints scatter, modes stand wider apart."""

LARGEST_SHIFT = 0.25
"""Largest common shift searched between two looks, natural logarithm; half a modulus gone."""

_STEP, _CORE, _BETWEEN = 5e-4, 0.004, 0.06
_LOSS_CORE = 0.35


@dataclass
class HeardMode:
    """One mode of a specimen as its seatings heard it.

    Attributes
    ----------
    by_seating : dict of int to list of ModeRow
        Its rows, seating by seating.
    """

    by_seating: dict[int, list[ModeRow]] = field(default_factory=dict)

    @property
    def log_frequency(self) -> float:
        """Mean over the seatings of the logarithm of the frequency."""
        return float(np.mean([np.mean([np.log(m.frequency_hz) for m in rows]) for rows in self.by_seating.values()]))

    @property
    def log_loss(self) -> float:
        """The same of the loss factor."""
        return float(np.mean([np.mean([np.log(m.loss_factor) for m in rows]) for rows in self.by_seating.values()]))

    @property
    def count(self) -> int:
        """Takes that heard it."""
        return sum(len(rows) for rows in self.by_seating.values())

    def seating_logs(self, figure: str) -> Floats:
        """Return the seatings' means of the logarithm of a figure, shape (seatings,)."""
        return np.array([np.mean([np.log(getattr(m, figure)) for m in rows]) for rows in self.by_seating.values()])

    def reading_variance(self, figure: str) -> float:
        """Return the variance of the mean that the readings' own uncertainties bring."""
        means = [
            float(np.mean([(getattr(m, f"{figure}_u") / getattr(m, figure)) ** 2 for m in rows])) / len(rows)
            for rows in self.by_seating.values()
        ]
        return float(np.mean(means)) / len(means)


def heard_modes(takes: Sequence[tuple[int, Sequence[ModeRow]]]) -> list[HeardMode]:
    """Return the modes that at least half of a specimen's takes agree on, rising in frequency.

    Parameters
    ----------
    takes : sequence of (seating, rows)
        The modes of each take.
    """
    lists = [(seating, [m for m in rows if m.frequency_hz > 0 and m.loss_factor > 0]) for seating, rows in takes]
    found: list[HeardMode] = []
    for seating, rows in sorted(lists, key=lambda item: -len(item[1])):
        logs = np.array([np.log(m.frequency_hz) for m in rows])
        known = np.array([mode.log_frequency for mode in found])
        pairs = {j: i for i, j in _assigned(known, logs, WITHIN)}
        for j, row in enumerate(rows):
            if j not in pairs:
                found.append(HeardMode())
            mode = found[pairs.get(j, len(found) - 1)]
            mode.by_seating.setdefault(seating, []).append(row)
    needed = len([rows for _, rows in lists if rows]) / 2
    return sorted((mode for mode in found if mode.count >= needed), key=lambda mode: mode.log_frequency)


def pair_modes(earlier: Sequence[HeardMode], later: Sequence[HeardMode]) -> list[tuple[int, int]]:
    """Return which mode of one look is which of another, though all may have moved together.

    Parameters
    ----------
    earlier, later : sequence of HeardMode
        Rising in frequency.

    Returns
    -------
    list of (int, int)
        Indices. The common shift is where most modes meet (frequencies and loss factors), the smaller shift where
        two are as good; modes then pair by assignment within 6 % of it.
    """
    a, b = (np.array([mode.log_frequency for mode in modes]) for modes in (earlier, later))
    if not a.size or not b.size:
        return []
    gap = b[None, :] - a[:, None]
    loss = np.array([m.log_loss for m in later])[None, :] - np.array([m.log_loss for m in earlier])[:, None]
    alike = 1 / (1 + ((loss - np.median(loss)) / _LOSS_CORE) ** 2)
    shifts = np.arange(-LARGEST_SHIFT, LARGEST_SHIFT + _STEP / 2, _STEP)
    meets = np.exp(-0.5 * ((gap[None] - shifts[:, None, None]) / _CORE) ** 2) * alike
    score = meets.max(axis=2).sum(axis=1) / min(a.size, b.size) - 0.5 * np.abs(shifts) / LARGEST_SHIFT
    return _assigned(a + shifts[int(np.argmax(score))], b, _BETWEEN)


def _assigned(a: Floats, b: Floats, within: float) -> list[tuple[int, int]]:
    """Pairs of least total distance, none farther apart than `within`."""
    if not a.size or not b.size:
        return []
    distance = np.abs(b[None, :] - a[:, None])
    rows, columns = linear_sum_assignment(np.where(distance > within, 1e3, distance))
    return [(int(i), int(j)) for i, j in zip(rows, columns, strict=True) if distance[i, j] <= within]
