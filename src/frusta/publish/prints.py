"""Every print's own figures, and the mean of each group with its interval, counted by prints."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import t as student_t

from frusta.campaign.differences import ENOUGH_DEGREES, log_value
from frusta.campaign.figures import FIGURE
from frusta.campaign.findings import Findings, Reading
from frusta.campaign.nested import difference_spread, group_mean, print_mean, scatter
from frusta.campaign.package import Package
from frusta.campaign.sentences import DB_PER_NEPER
from frusta.publish.groups import Group, Groups, profile_order

Cells = dict[tuple[str, int], dict[str, dict[int, list[float]]]]


@dataclass(frozen=True)
class GroupMean:
    """One figure of one group in one profile.

    Attributes
    ----------
    group : Group
        Which group.
    profile : str
        Key of the profile, empty where none is given.
    prints : dict of str to float
        Specimen to the mean of its seatings.
    mean, low, high : float or None
        Of the group, and its 95 % interval.
    reason : str
        Why there is no mean, or no interval.
    without : int
        Takes that count but lack the figure.
    takes : int
        Takes that count.
    """

    group: Group
    profile: str
    prints: dict[str, float]
    mean: float | None
    low: float | None
    high: float | None
    reason: str
    without: int = 0
    takes: int = 0

    @property
    def gaps(self) -> str:
        """How many takes lack the figure, in words; empty where none does or all do."""
        return f"{self.without} of {self.takes} takes not read" if self.prints and self.without else ""


def counted(readings: Sequence[Reading]) -> list[Reading]:
    """Readings that count: takes of cones that need not be repeated."""
    return [r for r in readings if r.kind == "cone" and r.quality != "repeat"]


def profiles_of(findings: Findings, package: Package) -> list[str]:
    """Profiles of the takes that count, in the order of the table; the empty key where none is given."""
    return profile_order({r.profile or "" for r in counted(findings.readings)}, package)


def group_means(readings: Sequence[Reading], groups: Groups, key: str) -> list[GroupMean]:
    """Return one figure's prints and means for every group and profile.

    Parameters
    ----------
    readings : sequence of Reading
        Of the whole campaign.
    groups : Groups
        What is compared.
    key : str
        The figure; one of `frusta.campaign.figures.FIGURE`.

    Returns
    -------
    list of GroupMean
        In the order of the groups within each profile. Intervals hold one at a time at 95 %; the scatter of print
        means is pooled over the groups of the profile where that gives six degrees of freedom, else over the
        campaign, as for the differences. Frequencies, percentages and times are averaged as logarithms.
    """
    figure = FIGURE[key]
    kept = counted(readings)
    cells: Cells = {}
    for r in kept:
        group, value = groups.of(r.material, r.recipe), log_value(figure, r)
        if group is not None and value is not None:
            prints = cells.setdefault((r.profile or "", groups.all.index(group)), {})
            prints.setdefault(r.specimen, {}).setdefault(r.seating, []).append(value)
    # a cell for every group that was recorded, even where the figure could not be read
    recorded = {(r.profile or "", groups.all.index(g)) for r in kept if (g := groups.of(r.material, r.recipe))}
    back = (lambda v: v * DB_PER_NEPER) if figure.scale == "db" else math.exp
    rows = []
    for profile, place in sorted(recorded):
        group = groups.all[place]
        own = [r for r in kept if (r.profile or "") == profile and groups.of(r.material, r.recipe) is group]
        without = sum(log_value(figure, r) is None for r in own)
        prints = cells.get((profile, place), {})
        if not prints:
            why = _common_reason(own, key)
            rows.append(GroupMean(group, profile, {}, None, None, None, why, without, len(own)))
            continue
        middle, reach = group_mean(prints), _reach(cells, profile, prints)
        rows.append(
            GroupMean(
                group,
                profile,
                {name: back(print_mean(seatings)) for name, seatings in prints.items()},
                back(middle),
                None if reach is None else back(middle - reach),
                None if reach is None else back(middle + reach),
                "" if reach is not None else _no_interval(prints, cells),
                without,
                len(own),
            )
        )
    return rows


def _reach(cells: Cells, profile: str, prints: Mapping[str, Mapping[int, list[float]]]) -> float | None:
    """Half width of the interval of a group's mean, on the scale of comparison."""
    if len(prints) < 2:
        return None
    own = {str(place): held for (where, place), held in cells.items() if where == profile}
    pooled, over = scatter(own), own
    if pooled.print_degrees < ENOUGH_DEGREES:
        over = {f"{where} {place}": held for (where, place), held in cells.items()}
        pooled = scatter(over)
    spread = difference_spread(pooled, over, (prints,))
    if not spread.variance > 0 or not np.isfinite(spread.variance):
        return None
    return float(student_t.ppf(0.975, spread.degrees) * math.sqrt(spread.variance))


def _no_interval(prints: Mapping[str, object], cells: Cells) -> str:
    if len(prints) < 2:
        everywhere = all(len(held) < 2 for held in cells.values())
        return "one print each: no interval" if everywhere and len(cells) > 1 else "one print: no interval"
    return "all prints read alike: no interval"


def _common_reason(readings: Sequence[Reading], key: str) -> str:
    """The reason that most takes give for having no such figure."""
    reasons = [r.reasons[key] for r in readings if key in r.reasons]
    return max(sorted(set(reasons)), key=reasons.count) if reasons else "no take gives it"
