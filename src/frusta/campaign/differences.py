"""Differences between groups, counted by prints: one row a figure, profile and pair.

The model: a figure (its logarithm; dB as the logarithm of a pressure ratio) is the group's, plus the print's, plus
the seating's, plus the take's deviation. Every print weighs the same in its group. The scatter of print means is
pooled within the profile's groups where that alone has `ENOUGH_DEGREES` degrees of freedom, else within all groups
of the campaign. The family that holds jointly at 95 % (Tukey–Kramer) is all pairs of one figure in one profile.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from scipy.stats import t as student_t

from frusta.campaign import sentences
from frusta.campaign.drift import Drift
from frusta.campaign.figures import COMPARED, Figure
from frusta.campaign.findings import Difference, Reading, ScatterFrom
from frusta.campaign.nested import (
    Groups,
    Scatter,
    Seatings,
    Spread,
    add_spreads,
    difference_spread,
    group_mean,
    scatter,
)
from frusta.campaign.power import prints_needed, smallest_gap
from frusta.campaign.studentized import joint_factor

ENOUGH_DEGREES = 6
"""Degrees of freedom from which a profile's own scatter is used: the t factor is then within 25 % of its limit."""

WORTH_PRINTING = 20
"""Prints a group above which a tie is answered by the gap that would have shown."""


@dataclass(frozen=True)
class ShelfScatter:
    """Scatter of print means borrowed from the shelf.

    Attributes
    ----------
    sd_print : float
        Standard deviation of a print's mean, natural logarithm.
    degrees : float
        Its degrees of freedom.
    """

    sd_print: float
    degrees: float


@dataclass(frozen=True)
class Pool:
    """Scatter that the differences of one figure and profile are judged by."""

    groups: Groups
    scatter: Scatter


Cells = dict[tuple[str, str], dict[str, dict[int, list[float]]]]
"""Values by (profile, group), print and seating."""


def find_differences(
    readings: Iterable[Reading],
    group_of: Mapping[str, str],
    *,
    drift: Drift | None = None,
    shelf: Mapping[str, ShelfScatter] | None = None,
    names: Mapping[str, str] | None = None,
    figures: Sequence[Figure] = COMPARED,
) -> tuple[Difference, ...]:
    """Compare all groups of a campaign, profile by profile and figure by figure.

    Parameters
    ----------
    readings : iterable of Reading
        Of the whole campaign; takes to repeat, and specimens that are no cones, are left out.
    group_of : mapping of str to str
        Group of each specimen; its order of first appearance is the order of a and b.
    drift : Drift, optional
        The rig's drift, taken out of ``level_db``.
    shelf : mapping of str to ShelfScatter, optional
        Scatter by figure, borrowed where a group has one print.
    names : mapping of str to str, optional
        What to call the groups in sentences.
    figures : sequence of Figure, optional
        Figures to compare.

    Returns
    -------
    tuple of Difference
        For every pair of groups that share a profile, and every figure that at least one of them has.
    """
    kept = [r for r in readings if r.kind == "cone" and r.quality != "repeat" and r.profile and r.specimen in group_of]
    order = {group: rank for rank, group in enumerate(dict.fromkeys(group_of.values()))}
    rows: list[Difference] = []
    for figure in figures:
        known = drift if drift is not None and figure.key == "level_db" else Drift()
        rows += _of_one_figure(figure, kept, group_of, order, known, (shelf or {}).get(figure.key), names or {})
    return tuple(rows)


def _of_one_figure(
    figure: Figure,
    readings: Sequence[Reading],
    group_of: Mapping[str, str],
    order: Mapping[str, int],
    drift: Drift,
    shelf: ShelfScatter | None,
    names: Mapping[str, str],
) -> list[Difference]:
    cells = cells_of(figure, readings, group_of, drift)
    floor = reading_variance(figure, readings)
    rows: list[Difference] = []
    for profile in sorted({r.profile for r in readings if r.profile}):
        present = {group_of[r.specimen] for r in readings if r.profile == profile}
        groups = sorted(present, key=lambda g: order[g])
        pool = pool_of(cells, profile, floor)
        counted = sum(len(cells.get((profile, g), {})) > (0 if shelf else 1) for g in groups)
        for a, b in combinations(groups, 2):
            prints_a, prints_b = cells.get((profile, a), {}), cells.get((profile, b), {})
            if not prints_a and not prints_b:
                continue
            pair = _Pair(figure, profile, a, b, prints_a, prints_b, names.get(a, a), names.get(b, b))
            leaning = _drift_variance(pair, readings, group_of, drift, pool.scatter)
            rows.append(_row(pair, pool, shelf, counted, leaning))
    return rows


@dataclass(frozen=True)
class _Pair:
    figure: Figure
    profile: str
    a: str
    b: str
    prints_a: Mapping[str, Seatings]
    prints_b: Mapping[str, Seatings]
    name_a: str
    name_b: str

    @property
    def seatings(self) -> int:
        return sum(len(s) for prints in (self.prints_a, self.prints_b) for s in prints.values())


def _row(pair: _Pair, pool: Pool, shelf: ShelfScatter | None, groups: int, leaning: Spread) -> Difference:
    """One difference, with whatever can honestly be said of it."""
    sd_print, sd_seating = _root(pool.scatter.variance_print), _root(pool.scatter.variance_seating)
    reasons: dict[str, str] = {}
    if sd_print is None:
        reasons["sd_print"] = "no group has two prints with this figure"
    if sd_seating is None:
        reasons["sd_seating"] = "no print has two seatings with this figure"
    ratio = low = high = probability = None
    source: ScatterFrom = "none"
    if not pair.prints_a or not pair.prints_b:
        without = pair.name_b if pair.prints_a else pair.name_a
        why = f"no take of {without} gives this figure; the reasons stand beside its readings"
        reasons |= dict.fromkeys(("ratio", "low_95", "high_95", "probability_a_higher"), why)
        verdict = f"{pair.name_a} and {pair.name_b} could not be compared by their {pair.figure.name}: {why}."
    else:
        gap = group_mean(pair.prints_a) - group_mean(pair.prints_b)
        ratio = math.exp(gap)
        source, spread, why = _spread(pair, pool, shelf, leaning)
        if source == "none":
            reasons |= dict.fromkeys(("low_95", "high_95", "probability_a_higher"), why)
            verdict = sentences.no_interval_sentence(pair.figure, pair.name_a, pair.name_b, gap, why)
        else:
            error = math.sqrt(spread.variance)
            reach = joint_factor(max(groups, 2), round(spread.degrees, 3)) * error
            low, high = math.exp(gap - reach), math.exp(gap + reach)
            probability = float(student_t.cdf(gap / error, spread.degrees))
            verdict = _verdict(pair, gap, reach, error, max(groups, 2))
            if source == "this shelf":
                verdict += " The interval is borrowed from your shelf."
    return Difference(
        figure=pair.figure.key,
        profile=pair.profile,
        a=pair.a,
        b=pair.b,
        ratio=ratio,
        low_95=low,
        high_95=high,
        probability_a_higher=probability,
        prints_a=len(pair.prints_a),
        prints_b=len(pair.prints_b),
        seatings=pair.seatings,
        sd_print=sd_print,
        sd_seating=sd_seating,
        scatter_from=source,
        verdict=verdict,
        reasons=reasons,
    )


def _spread(pair: _Pair, pool: Pool, shelf: ShelfScatter | None, leaning: Spread) -> tuple[ScatterFrom, Spread, str]:
    """Where the scatter comes from, the spread of the difference, and why there is none if there is none."""
    single = [n for n, p in ((pair.name_a, pair.prints_a), (pair.name_b, pair.prints_b)) if len(p) < 2]
    if single and shelf is not None:
        variance = shelf.sd_print**2 * (1 / len(pair.prints_a) + 1 / len(pair.prints_b))
        return "this shelf", add_spreads(Spread(variance, shelf.degrees), leaning), ""
    if len(single) == 2:
        return "none", Spread(np.nan, 0.0), "one print each: no interval. Two prints each would give one"
    if single:
        return "none", Spread(np.nan, 0.0), f"one print of {single[0]}: no interval. A second print would give one"
    own_spread = difference_spread(pool.scatter, pool.groups, (pair.prints_a, pair.prints_b))
    if not own_spread.variance > 0:
        why = "all prints read alike to the last digit, so their scatter is not known: no interval"
        return "none", own_spread, why
    return "these prints", add_spreads(own_spread, leaning), ""


def _verdict(pair: _Pair, gap: float, reach: float, error: float, groups: int) -> str:
    """The sentence of a difference that has an interval."""
    a, b, figure = pair.name_a, pair.name_b, pair.figure
    if abs(gap) > reach:
        return sentences.clear_sentence(figure, a, b, gap, gap - reach, gap + reach)
    inverse = 1 / len(pair.prints_a) + 1 / len(pair.prints_b)
    sd = error / math.sqrt(inverse)
    most = max(len(pair.prints_a), len(pair.prints_b))
    needed = prints_needed(gap, sd, groups) if gap else None
    if needed is not None and needed <= WORTH_PRINTING:
        then = sentences.would_show(figure, gap, max(needed, most + 1))
    elif 2 / inverse > 1:
        then = sentences.would_have_shown(figure, smallest_gap(2 / inverse, sd, groups))
    else:
        then = ""
    return sentences.tie_sentence(figure, a, b, gap - reach, gap + reach, then)


def cells_of(figure: Figure, readings: Sequence[Reading], group_of: Mapping[str, str], drift: Drift) -> Cells:
    """Return a figure's values on the scale of comparison, by profile and group, print and seating."""
    cells: Cells = {}
    for r in readings:
        value = log_value(figure, r, drift.level_db.get(r.take, 0.0))
        if value is not None and r.profile is not None:
            prints = cells.setdefault((r.profile, group_of[r.specimen]), {})
            prints.setdefault(r.specimen, {}).setdefault(r.seating, []).append(value)
    return cells


def log_value(figure: Figure, reading: Reading, drift_db: float = 0.0) -> float | None:
    """Return a figure on the scale of comparison: natural logarithm of the figure, or of the pressure ratio.

    Parameters
    ----------
    figure : Figure
        What is compared.
    reading : Reading
        Of one take.
    drift_db : float, optional
        Drift of the rig to take out, dB.

    Returns
    -------
    float or None
        None where the reading lacks the figure, or where it is not positive and has no logarithm.
    """
    value = getattr(reading, figure.key)
    if value is None or (figure.scale == "log" and value <= 0):
        return None
    return (value - drift_db) / sentences.DB_PER_NEPER if figure.scale == "db" else math.log(value)


def reading_variance(figure: Figure, readings: Sequence[Reading]) -> float:
    """Return the mean variance of the readings' own uncertainty, below which no scatter is believed."""
    squares = []
    for r in readings:
        value, u = getattr(r, figure.key), getattr(r, f"{figure.key}_u")
        if value is not None and u is not None and (figure.scale == "db" or value > 0):
            squares.append((u / (sentences.DB_PER_NEPER if figure.scale == "db" else value)) ** 2)
    return float(np.mean(squares)) if squares else 0.0


def pool_of(cells: Cells, profile: str, floor: float) -> Pool:
    """Return the scatter of the profile's own groups where that is known well enough, else of the whole campaign."""
    own: Groups = {group: prints for (where, group), prints in cells.items() if where == profile}
    found = scatter(own) if own else None
    groups = own
    if found is None or found.print_degrees < ENOUGH_DEGREES:
        groups = {f"{where} {group}": prints for (where, group), prints in cells.items()}
        found = scatter(groups)
    if found.print_square < floor:
        found = replace(found, print_square=floor)
    return Pool(groups, found)


def _drift_variance(
    pair: _Pair, readings: Sequence[Reading], group_of: Mapping[str, str], drift: Drift, pooled: Scatter
) -> Spread:
    """What the check cone's own scatter adds: nothing where both groups were heard in the same sessions alike."""
    if not drift.leans_on:
        return Spread(0.0, 1.0)
    weights: dict[str, float] = {}
    for sign, group, prints in ((1, pair.a, pair.prints_a), (-1, pair.b, pair.prints_b)):
        for r in readings:
            takes = prints.get(r.specimen, {}).get(r.seating) if r.profile == pair.profile else None
            if takes and group_of[r.specimen] == group and r.level_db is not None:
                weights[r.take] = sign / (len(prints) * len(prints[r.specimen]) * len(takes))
    leaning = sum(w**2 for w in drift.check_weights(weights).values())
    one = pooled.variance_seating if pooled.seating_degrees else pooled.print_square
    return Spread(leaning * one, float(max(pooled.seating_degrees, 1))) if one == one else Spread(0.0, 1.0)


def _root(variance: float) -> float | None:
    return math.sqrt(variance) if variance == variance else None
