"""What a seating alone does: the same cone pushed on several times, each figure's scatter with its interval."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2

from frusta.bench.steps import TakeMade

TIMES = 5
FIGURES = (
    ("level_db", "level", "dB"),
    ("breakup_hz", "break-up", "%"),
    ("breakup_loss_factor", "its loss factor", "%"),
)


@dataclass(frozen=True)
class Repeatability:
    """Scatter of one figure from seating to seating.

    Parameters
    ----------
    figure : str
    sd, low_95, high_95 : float
        Standard deviation and its 95 % interval, dB or %.
    unit : str
    seatings : int
    """

    figure: str
    sd: float
    low_95: float
    high_95: float
    unit: str
    seatings: int


def repeatability(takes: Sequence[TakeMade]) -> tuple[Repeatability, ...]:
    """Return the scatter of the figures of one cone's kept takes, one a seating.

    Parameters
    ----------
    takes : sequence of TakeMade
        Of several takes in a seating the last counts. Figures that fewer than three seatings have are left out.

    Returns
    -------
    tuple of Repeatability
        The interval is that of a normal variance (chi-square with n − 1 degrees of freedom).
    """
    by_seating = {t.turn.seating: t.verdict.figures for t in takes}
    found = []
    for figure, _, unit in FIGURES:
        values = np.array([f[figure] for f in by_seating.values() if figure in f])
        if values.size < 3:
            continue
        scaled = values if unit == "dB" else 100.0 * np.log(values)
        sd, freedom = float(np.std(scaled, ddof=1)), values.size - 1
        low, high = (sd * math.sqrt(freedom / float(chi2.ppf(p, freedom))) for p in (0.975, 0.025))
        found.append(Repeatability(figure, sd, low, high, unit, values.size))
    return tuple(found)


def repeatability_lines(takes: Sequence[TakeMade]) -> tuple[str, ...]:
    """Return the same in words."""
    names = {figure: name for figure, name, _ in FIGURES}
    return tuple(
        f"one seating to the next: {names[r.figure]} scatters by {r.sd:.2g} {r.unit} (standard deviation, "
        f"{r.low_95:.2g} to {r.high_95:.2g} {r.unit} with 95 %, {r.seatings} seatings)"
        for r in repeatability(takes)
    )
