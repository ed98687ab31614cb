"""What a campaign has not settled: figures of materials, and differences that cannot be told yet."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from frusta.campaign.differences import Cells, Pool, cells_of, pool_of, reading_variance
from frusta.campaign.drift import Drift
from frusta.campaign.figures import FIGURE, Figure
from frusta.campaign.findings import Findings, Reading
from frusta.campaign.nested import Seatings, difference_spread, group_mean
from frusta.campaign.studentized import joint_factor
from frusta.material.estimate import FIGURE_OF
from frusta.material.knowledge import COORDINATES, MaterialKnowledge

WEIGHED = ("breakup_hz", "unevenness_common_db", "decay_2_percent_ms", "level_db", "input_thd_peak_percent")
"""Figures whose differences count as questions: those that the ranking and the goal ask for."""
FIGURE_WORDS = {
    "hoop_modulus": "hoop modulus",
    "layer_shear_modulus": "layer shear",
    "axial_modulus": "modulus across layers",
    "loss_factor": "loss factor",
    "density": "density",
}


def open_figures(known: MaterialKnowledge) -> tuple[str, ...]:
    """Return the figures of a material that are open.

    Those that recordings did not identify, and those known less well than one print differs from the next: a filament
    known better than that would not be of use.

    Parameters
    ----------
    known : MaterialKnowledge
    """
    scatter = known.print_scatter
    enough = {
        "hoop_modulus": scatter.modulus,
        "layer_shear_modulus": scatter.modulus,
        "axial_modulus": scatter.modulus,
        "loss_factor": scatter.loss_factor,
        "density": scatter.density,
    }
    return tuple(
        figure
        for figure, name in FIGURE_OF.items()
        if figure not in known.identified or known.standard_deviation(name) > enough[figure]
    )


def place_of(figure: str) -> int:
    """Return the place of a material's figure among the coordinates."""
    return COORDINATES.index(FIGURE_OF[figure])


@dataclass(frozen=True)
class Gap:
    """One difference that is open.

    Parameters
    ----------
    figure : str
        Key of the reading.
    profile, a, b : str
    gap : float
        Natural logarithm of the ratio.
    variance, reach : float or None
        Of the gap, and half the width of its interval; None while there is none.
    """

    figure: str
    profile: str
    a: str
    b: str
    gap: float
    variance: float | None
    reach: float | None


@dataclass(frozen=True)
class Differences:
    """All comparisons of one figure, ready to be asked what one more print or seating would change.

    Parameters
    ----------
    figure : Figure
    cells : Cells
    floor : float
        Variance of the readings themselves.
    order : tuple of str
        Groups in the order of the tables.
    """

    figure: Figure
    cells: Cells
    floor: float
    order: tuple[str, ...]

    def gaps(self, profile: str, more: Mapping[str, Mapping[str, Seatings]] | None = None) -> list[Gap]:
        """Return the open differences of a profile.

        Parameters
        ----------
        profile : str
        more : mapping, optional
            What would be there besides: prints by group, or an existing print with more seatings. Only how many
            there are matters, and they make no gap open that is not.
        """
        present = [g for g in self.order if (profile, g) in self.cells]
        pool = pool_of(self.cells, profile, self.floor)
        held = {g: {**self.cells[(profile, g)], **(more or {}).get(g, {})} for g in present}
        extra = sum(len(held[g]) - len(self.cells[(profile, g)]) for g in present)
        counted = max(sum(len(prints) > 1 for prints in held.values()), 2)
        found = []
        for a, b in combinations(present, 2):
            gap = group_mean(self.cells[(profile, a)]) - group_mean(self.cells[(profile, b)])
            variance, reach = _spread(pool, held[a], held[b], counted, extra)
            found.append(Gap(self.figure.key, profile, a, b, gap, variance, reach))
        return found

    def open_gaps(self, profile: str) -> list[Gap]:
        """Return the differences of a profile that cannot be told: no interval, or one that holds no difference."""
        return [g for g in self.gaps(profile) if g.reach is None or abs(g.gap) <= g.reach]

    def mean_variance(self, profile: str, group: str, more: Mapping[str, Seatings] | None = None) -> float | None:
        """Return the variance of a group's mean, now or with more prints or seatings; None where scatter is unknown."""
        own = self.cells.get((profile, group), {})
        prints = {**own, **(more or {})}
        if not prints:
            return None
        pool = pool_of(self.cells, profile, self.floor)
        variance = difference_spread(pool.scatter, pool.groups, [prints]).variance
        return float(variance) if variance > 0.0 else None


def _spread(
    pool: Pool, a: Mapping[str, Seatings], b: Mapping[str, Seatings], groups: int, extra: int
) -> tuple[float | None, float | None]:
    """Variance of a gap and half the width of its interval; one print a group has none."""
    spread = difference_spread(pool.scatter, pool.groups, (a, b))
    if not spread.variance > 0.0:
        return None, None
    if min(len(a), len(b)) < 2:
        return float(spread.variance), None
    degrees = spread.degrees + extra
    return float(spread.variance), joint_factor(groups, round(degrees, 3)) * math.sqrt(spread.variance)


def differences_of(findings: Findings, group_of: Mapping[str, str], drift: Drift | None = None) -> list[Differences]:
    """Return the comparisons of every figure that weighs.

    Parameters
    ----------
    findings : Findings
    group_of : mapping of str to str
        Group of each specimen.
    drift : Drift, optional
        Of the level.
    """
    kept: list[Reading] = [
        r
        for r in findings.readings
        if r.kind == "cone" and r.quality != "repeat" and r.profile and r.specimen in group_of
    ]
    order = tuple(dict.fromkeys(group_of.values()))
    found = []
    for key in WEIGHED:
        figure = FIGURE[key]
        known = drift if drift is not None and key == "level_db" else Drift()
        cells = cells_of(figure, kept, group_of, known)
        if cells:
            found.append(Differences(figure, cells, reading_variance(figure, kept), order))
    return found


def usual_seatings(cells: Cells) -> int:
    """Return how many seatings a print of the campaign usually has."""
    counts = [len(seatings) for prints in cells.values() for seatings in prints.values()]
    return max(1, round(float(np.median(counts)))) if counts else 2


def another_print(cells: Cells) -> dict[str, Seatings]:
    """Return a print that is not there yet, with as many seatings as is usual."""
    return {"next": dict.fromkeys(range(1, usual_seatings(cells) + 1), (0.0,))}


def another_seating(prints: Mapping[str, Seatings], specimen: str) -> dict[str, Seatings]:
    """Return an existing print with one seating more."""
    held = dict(prints[specimen])
    return {specimen: {**held, max(held) + 1: (0.0,)}}


def settled_by(before: Sequence[Gap], after: Sequence[Gap]) -> list[tuple[Gap, Gap]]:
    """Return the open gaps that an observation narrows, each before and after."""
    later = {(g.a, g.b): g for g in after}
    pairs = [(g, later[(g.a, g.b)]) for g in before]
    return [(g, h) for g, h in pairs if h.reach is not None and (g.reach is None or h.reach < g.reach * (1.0 - 1e-9))]
