"""Scatter learned from everything on the shelf: print to print, seating to seating, take to take, figure by figure."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from frusta.campaign.differences import ShelfScatter, log_value
from frusta.campaign.drift import session_drift
from frusta.campaign.figures import COMPARED, Figure
from frusta.campaign.findings import Findings, Reading
from frusta.campaign.nested import Scatter, Seatings, scatter
from frusta.campaign.shelf.store import Shelf

LEAST_DEGREES = 2
"""Degrees of freedom below which a scatter is not lent to anybody."""


@dataclass(frozen=True)
class LearnedScatter:
    """Scatter of one figure, natural logarithm, over the whole shelf.

    Attributes
    ----------
    figure : str
    scatter : Scatter
        Components and mean squares with their degrees of freedom.
    prints, groups : int
        How many printed cones in how many groups (campaign, profile, material, recipe) it rests on.
    """

    figure: str
    scatter: Scatter
    prints: int
    groups: int


def learn_scatter(shelf: Shelf, leave_out: Sequence[str] = ()) -> dict[str, LearnedScatter]:
    """Return the scatter of every figure that prints were repeated for.

    Parameters
    ----------
    shelf : Shelf
        Entries without findings of what they hold now teach nothing.
    leave_out : sequence of str
        Entries: the one that borrows is not its own witness.

    Returns
    -------
    dict of str to LearnedScatter
        By figure.
    """
    known = [f for e in shelf.entries() if e.entry not in leave_out and (f := shelf.findings(e.entry)) is not None]
    return learn_from(known)


def learn_from(campaigns: Sequence[Findings]) -> dict[str, LearnedScatter]:
    """Return the scatter of every figure from some campaigns' findings.

    Parameters
    ----------
    campaigns : sequence of Findings
        Prints are compared within a campaign only, so that other rigs and years do not pass for scatter. A cone that
        stands in several campaigns (same key, material, recipe, profile) counts once, where it has the most takes.
    """
    chosen = _once(campaigns)
    learned = {}
    for figure in COMPARED:
        groups: dict[str, dict[str, dict[int, list[float]]]] = {}
        for number, readings in enumerate(chosen):
            drift = session_drift(campaigns[number].readings, {}).level_db if figure.key == "level_db" else {}
            _gather(figure, number, readings, drift, groups)
        repeated: dict[str, Mapping[str, Seatings]] = {k: v for k, v in groups.items() if len(v) > 1}
        if repeated:
            prints = sum(len(v) for v in repeated.values())
            learned[figure.key] = LearnedScatter(figure.key, scatter(repeated), prints, len(repeated))
    return learned


def lent(learned: Mapping[str, LearnedScatter]) -> dict[str, ShelfScatter]:
    """Return what a campaign with single prints may borrow: `frusta.campaign.differences.find_differences`.

    Parameters
    ----------
    learned : mapping of str to LearnedScatter
        See `learn_scatter`.
    """
    return {
        key: ShelfScatter(math.sqrt(found.scatter.print_square), float(found.scatter.print_degrees))
        for key, found in learned.items()
        if found.scatter.print_degrees >= LEAST_DEGREES and found.scatter.print_square > 0
    }


def _gather(
    figure: Figure,
    campaign: int,
    readings: Sequence[Reading],
    drift: Mapping[str, float],
    groups: dict[str, dict[str, dict[int, list[float]]]],
) -> None:
    for r in readings:
        value = log_value(figure, r, drift.get(r.take, 0.0))
        if value is not None:
            prints = groups.setdefault(f"{campaign} {r.profile} {r.material} {r.recipe}", {})
            prints.setdefault(r.specimen, {}).setdefault(r.seating, []).append(value)


def _once(campaigns: Sequence[Findings]) -> list[list[Reading]]:
    """Usable readings of printed cones, each cone in one campaign."""
    usable = [
        [r for r in f.readings if r.kind == "cone" and r.quality != "repeat" and r.profile and r.material]
        for f in campaigns
    ]
    home: dict[tuple[str | None, ...], tuple[int, int]] = {}
    for number, readings in enumerate(usable):
        for cone in {_cone(r) for r in readings}:
            count = sum(_cone(r) == cone for r in readings)
            if cone not in home or count > home[cone][1]:
                home[cone] = (number, count)
    return [[r for r in readings if home[_cone(r)][0] == number] for number, readings in enumerate(usable)]


def _cone(reading: Reading) -> tuple[str | None, ...]:
    return reading.specimen, reading.material, reading.recipe, reading.profile
