"""The standing of the groups in the campaign's band, with open weights; a tie is called a tie.

Every take is scored: each part turns one figure into 0 to 100 points on a scale that does not depend on the other
cones, and the score is the weighted mean of the parts. The score is then a figure like any other: prints are
counted, scatter is pooled, intervals hold jointly. Profiles that every group was printed in count alike.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import combinations
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from frusta.campaign import sentences
from frusta.campaign.findings import RankingPart, RankingRow, Reading
from frusta.campaign.nested import Groups, Scatter, Seatings, difference_spread, group_mean, scatter
from frusta.campaign.studentized import joint_factor
from frusta.errors import ParameterError

DRAWS = 20_000
SEED = 20150


@dataclass(frozen=True)
class Part:
    """One part of the score.

    Attributes
    ----------
    name : str
        What it is called.
    figure : str
        Key of the reading.
    worst, best : float
        Values that earn 0 and 100 points; of break-up, as multiples of the band's upper end.
    scale : {"log", "linear"}
        How points run between them.
    """

    name: str
    figure: str
    worst: float
    best: float
    scale: Literal["log", "linear"]


PARTS = (
    Part("break-up", "breakup_hz", 0.5, 2.0, "log"),
    Part("evenness", "unevenness_common_db", 16.0, 0.0, "linear"),
    Part("input distortion", "input_thd_peak_percent", 3.0, 0.03, "log"),
    Part("decay", "decay_2_percent_ms", 16.0, 1.0, "log"),
)
"""Break-up earns 100 points an octave above the band and 0 an octave below its upper end. The other scales span what
is usual for printed cones (unevenness of ±8 to ±15 dB, distortion under 1.5 %) with room on both sides."""

WEIGHTS = {"break-up": 40.0, "evenness": 25.0, "input distortion": 20.0, "decay": 15.0}
"""Default weights; open to be changed."""


@dataclass(frozen=True)
class Member:
    """A group that is ranked: what stands in its row, and what it is called in sentences."""

    material: str
    recipe: str | None
    name: str


def rank(
    readings: Iterable[Reading],
    group_of: Mapping[str, str],
    members: Mapping[str, Member],
    band_high_hz: float | None,
    weights: Mapping[str, float] | None = None,
) -> tuple[RankingRow, ...]:
    """Rank the groups of a campaign.

    Parameters
    ----------
    readings : iterable of Reading
        Of the whole campaign; takes to repeat, and specimens that are no cones, are left out.
    group_of : mapping of str to str
        Group of each specimen.
    members : mapping of str to Member
        What is known of each group.
    band_high_hz : float or None
        Upper end of the campaign's band; without it break-up cannot be scored and its weight goes to the others.
    weights : mapping of str to float, optional
        Weight of each part by name, >= 0; parts not named weigh nothing. Default `WEIGHTS`.

    Returns
    -------
    tuple of RankingRow
        Best score first; rank intervals hold jointly at 95 % (Tukey–Kramer: a rank is open to all groups that are
        not clearly better or worse). Without two prints of any kind, scores stand alone.

    Raises
    ------
    ParameterError
        If a weight is negative, names no part, or all are zero.

    References
    ----------
    D. Al Mohamad, J. Goeman, E. W. van Zwet, Simultaneous confidence intervals for ranks using the partitioning
    principle, Electron. J. Stat. 15 (2021), on ranks from Tukey's intervals.
    """
    chosen = _checked(weights if weights is not None else WEIGHTS)
    kept = [r for r in readings if r.kind == "cone" and r.quality != "repeat" and r.profile and r.specimen in group_of]
    groups = [g for g in dict.fromkeys(group_of.values()) if any(group_of[r.specimen] == g for r in kept)]
    if len(groups) < 2:
        return ()
    profiles = _shared_profiles(kept, group_of, groups)
    kept = [r for r in kept if r.profile in profiles]
    dropped = _missing_parts(kept, group_of, groups, profiles, band_high_hz)
    used = {part.name: chosen[part.name] for part in PARTS if part.name in chosen and part.name not in dropped}
    used = {name: weight for name, weight in used.items() if weight > 0}
    if not profiles or not used:
        why = "no part of the score could be read in every group" if profiles else "no profile is common to all groups"
        return tuple(_unranked(members[g], why) for g in groups)
    cells = _cells(kept, group_of, used, band_high_hz)
    standing = _standing(groups, profiles, cells)
    order = sorted(range(len(groups)), key=lambda i: (-standing.score[i], groups[i]))
    return tuple(
        _row(i, groups, members, standing, _parts(kept, group_of, groups[i], used, chosen, band_high_hz), dropped)
        for i in order
    )


@dataclass(frozen=True)
class _Standing:
    """Scores with intervals, rank intervals and probabilities; NaN where scatter is not known."""

    score: NDArray[np.float64]
    reach: NDArray[np.float64]
    rank_low: NDArray[np.int64]
    rank_high: NDArray[np.int64]
    probability_best: NDArray[np.float64]
    ties: tuple[tuple[int, ...], ...]
    single: tuple[bool, ...]
    known: bool


Cells = dict[tuple[str, str], dict[str, dict[int, list[float]]]]


def points(part: Part, value: float, band_high_hz: float | None) -> float:
    """Return the points that a figure earns, 0 to 100.

    Parameters
    ----------
    part : Part
        The scale.
    value : float
        The figure, in its own unit.
    band_high_hz : float or None
        Upper end of the band, for break-up.

    Returns
    -------
    float
        Linear or logarithmic between worst and best, held at 0 and 100 beyond.
    """
    if part.figure == "breakup_hz":
        value = value / band_high_hz if band_high_hz else math.nan
    if part.scale == "log":
        share = math.log(max(value, 1e-12) / part.worst) / math.log(part.best / part.worst)
    else:
        share = (value - part.worst) / (part.best - part.worst)
    return 100.0 * min(max(share, 0.0), 1.0)


def _checked(weights: Mapping[str, float]) -> dict[str, float]:
    names = {part.name for part in PARTS}
    unknown = sorted(set(weights) - names)
    if unknown or any(not weight >= 0 for weight in weights.values()) or not sum(weights.values()) > 0:
        raise ParameterError(
            f"weights must be 0 or more, at least one above 0, for {', '.join(sorted(names))} (got {dict(weights)}); "
            "correct them"
        )
    return dict(weights)


def _shared_profiles(readings: Sequence[Reading], group_of: Mapping[str, str], groups: Sequence[str]) -> list[str]:
    """Profiles in which every group has a print."""
    have = {g: {r.profile for r in readings if group_of[r.specimen] == g} for g in groups}
    return sorted(p for p in set.intersection(*have.values()) if p)


def _missing_parts(
    readings: Sequence[Reading],
    group_of: Mapping[str, str],
    groups: Sequence[str],
    profiles: Sequence[str],
    band_high_hz: float | None,
) -> dict[str, str]:
    """Parts that not every group has in every profile, and why they are left out for all."""
    missing: dict[str, str] = {}
    for part in PARTS:
        if part.figure == "breakup_hz" and not band_high_hz:
            missing[part.name] = "campaign.csv names no band_high_hz"
            continue
        have = {(group_of[r.specimen], r.profile) for r in readings if getattr(r, part.figure) is not None}
        lacking = [g for g in groups if any((g, p) not in have for p in profiles)]
        if lacking:
            missing[part.name] = f"{part.figure} could not be read in {', '.join(lacking)}"
    return missing


def _score(reading: Reading, used: Mapping[str, float], band_high_hz: float | None) -> float | None:
    """Weighted mean of the points of one take; None where a part is missing."""
    total = 0.0
    for part in PARTS:
        if part.name in used:
            value = getattr(reading, part.figure)
            if value is None:
                return None
            total += used[part.name] * points(part, value, band_high_hz)
    return total / sum(used.values())


def _cells(
    readings: Sequence[Reading],
    group_of: Mapping[str, str],
    used: Mapping[str, float],
    band_high_hz: float | None,
) -> Cells:
    cells: Cells = {}
    for r in readings:
        value = _score(r, used, band_high_hz)
        if value is not None and r.profile:
            prints = cells.setdefault((r.profile, group_of[r.specimen]), {})
            prints.setdefault(r.specimen, {}).setdefault(r.seating, []).append(value)
    return cells


def _standing(groups: Sequence[str], profiles: Sequence[str], cells: Cells) -> _Standing:
    """Score of every group, what its scatter leaves open, and the ranks that follow."""
    held: list[list[Mapping[str, Seatings]]] = [[cells.get((p, g), {}) for p in profiles] for g in groups]
    score = np.array([np.mean([group_mean(cell) if cell else np.nan for cell in row]) for row in held])
    pooled_over: Groups = {f"{p} {g}": prints for (p, g), prints in cells.items()}
    pooled = scatter(pooled_over)
    count = len(groups)
    single = tuple(sum(len(c) for c in h) < 2 for h in held)
    if not pooled.print_degrees or not pooled.print_square > 0 or not np.isfinite(score).all():
        nan = np.full(count, np.nan)
        none = np.zeros(count, dtype=np.int64)
        return _Standing(score, nan, none, none, nan, ((),) * count, single, known=False)
    variance, degrees = _variances(held, pooled, pooled_over)
    low, high = np.ones(count, dtype=np.int64), np.full(count, count, dtype=np.int64)
    factor = joint_factor(count, round(degrees, 3))
    ties: list[list[int]] = [[] for _ in groups]
    for i, j in combinations(range(count), 2):
        gap = score[i] - score[j]
        if abs(gap) > factor * math.sqrt(variance[i] + variance[j]):
            better, worse = (i, j) if gap > 0 else (j, i)
            low[worse] += 1
            high[better] -= 1
        else:
            ties[i].append(j)
            ties[j].append(i)
    tied = tuple(tuple(row) for row in ties)
    reach = joint_factor(2, round(degrees, 3)) * np.sqrt(variance)
    return _Standing(score, reach, low, high, _best(score, variance, degrees), tied, single, known=True)


def _variances(
    held: Sequence[Sequence[Mapping[str, Seatings]]], pooled: Scatter, pooled_over: Groups
) -> tuple[NDArray[np.float64], float]:
    """Variance of each group's score (mean over its profiles), and the fewest degrees of freedom."""
    spreads = [[difference_spread(pooled, pooled_over, [cell]) for cell in cells] for cells in held]
    variance = np.array([sum(s.variance for s in row) / len(row) ** 2 for row in spreads])
    return variance, min(s.degrees for row in spreads for s in row)


def _best(score: NDArray[np.float64], variance: NDArray[np.float64], degrees: float) -> NDArray[np.float64]:
    """Probability of each group to be best, by seeded draws from the scores' joint t distribution."""
    rng = np.random.default_rng(SEED)
    scale = np.sqrt(degrees / rng.chisquare(degrees, DRAWS))
    draws = score + np.sqrt(variance) * rng.standard_normal((DRAWS, len(score))) * scale[:, None]
    wins = np.bincount(np.argmax(draws, axis=1), minlength=len(score))
    return np.asarray(wins / DRAWS, dtype=np.float64)


def _parts(
    readings: Sequence[Reading],
    group_of: Mapping[str, str],
    group: str,
    used: Mapping[str, float],
    chosen: Mapping[str, float],
    band_high_hz: float | None,
) -> tuple[RankingPart, ...]:
    """What each part adds: the mean figure, and the mean points where the part counts."""
    here = [r for r in readings if group_of[r.specimen] == group]
    rows = []
    for part in PARTS:
        value = _mean_by_prints(here, partial(_value_of, part))
        earned = None
        if part.name in used:
            earned = _mean_by_prints(here, partial(_points_of, part, band_high_hz))
        weight = chosen.get(part.name, 0.0) if part.name in used else 0.0
        rows.append(RankingPart(part=part.name, figure=part.figure, weight=weight, value=value, points=earned))
    return tuple(rows)


def _value_of(part: Part, reading: Reading) -> float | None:
    value: float | None = getattr(reading, part.figure)
    return value


def _points_of(part: Part, band_high_hz: float | None, reading: Reading) -> float | None:
    value = _value_of(part, reading)
    return None if value is None else points(part, value, band_high_hz)


def _mean_by_prints(readings: Sequence[Reading], figure: Callable[[Reading], float | None]) -> float | None:
    """Mean over profiles of the mean over prints of the mean over seatings."""
    cells: dict[str, dict[str, dict[int, list[float]]]] = {}
    for r in readings:
        value = figure(r)
        if value is not None and r.profile:
            cells.setdefault(r.profile, {}).setdefault(r.specimen, {}).setdefault(r.seating, []).append(value)
    return float(np.mean([group_mean(prints) for prints in cells.values()])) if cells else None


def _row(
    i: int,
    groups: Sequence[str],
    members: Mapping[str, Member],
    standing: _Standing,
    parts: tuple[RankingPart, ...],
    dropped: Mapping[str, str],
) -> RankingRow:
    member = members[groups[i]]
    reasons = {part: f"left out for every group: {why}" for part, why in dropped.items()}
    score = float(standing.score[i]) if np.isfinite(standing.score[i]) else None
    if score is None:
        reasons["score"] = "no take gives all parts"
    low = high = probability = first = last = None
    if not standing.known:
        why = "no two prints of one kind: scatter between prints is not known, so no interval and no rank"
        reasons |= dict.fromkeys(("score_low", "score_high", "rank_low", "rank_high", "probability_best"), why)
        verdict = f"{member.name}: {'no score' if score is None else f'{score:.0f} points'}; {why}."
    else:
        first, last = int(standing.rank_low[i]), int(standing.rank_high[i])
        probability = float(standing.probability_best[i])
        verdict = sentences.rank_sentence(member.name, first, last, [members[groups[j]].name for j in standing.ties[i]])
        if standing.single[i]:
            reasons |= dict.fromkeys(("score_low", "score_high"), "one print: no interval of its own")
        else:
            low, high = float(standing.score[i] - standing.reach[i]), float(standing.score[i] + standing.reach[i])
    return RankingRow(
        material=member.material,
        recipe=member.recipe,
        score=score,
        score_low=low,
        score_high=high,
        rank_low=first,
        rank_high=last,
        probability_best=probability,
        parts=parts,
        verdict=verdict,
        reasons=reasons,
    )


def _unranked(member: Member, why: str) -> RankingRow:
    keys = ("score", "score_low", "score_high", "rank_low", "rank_high", "probability_best")
    return RankingRow(
        material=member.material,
        recipe=member.recipe,
        score=None,
        score_low=None,
        score_high=None,
        rank_low=None,
        rank_high=None,
        probability_best=None,
        parts=(),
        verdict=f"{member.name}: not ranked; {why}.",
        reasons=dict.fromkeys(keys, why),
    )
