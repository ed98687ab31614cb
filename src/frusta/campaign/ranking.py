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
from frusta.campaign.figures import FIGURE
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
        Key of the reading, or `IN_BAND`.
    half : float
        Value that earns 50 points; of break-up, as a multiple of the band's upper end.
    better : {"more", "less"}
        Which way is good.
    """

    name: str
    figure: str
    half: float
    better: Literal["more", "less"]


IN_BAND = "unevenness_in_band_db"
"""Half of max − min of the 1/12-octave-smoothed response within the campaign's band."""

PARTS = (
    Part("break-up", "breakup_hz", 1.0, "more"),
    Part("evenness", IN_BAND, 8.0, "less"),
    Part("input distortion", "input_thd_peak_percent", 0.3, "less"),
    Part("decay", "decay_2_percent_ms", 4.0, "less"),
)
"""A break-up at the band's upper end earns 50 points, and so does what is usual for a good printed cone otherwise."""

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
    in_band_db: Mapping[str, float],
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
    in_band_db : mapping of str to float
        Unevenness within the band by take; takes without are left out.
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
    heard = [
        _Heard(r, group_of[r.specimen], in_band_db.get(r.take), band_high_hz) for r in kept if r.profile in profiles
    ]
    dropped = _missing_parts(heard, [(g, members[g].name) for g in groups], profiles, band_high_hz)
    used = {part.name: chosen[part.name] for part in PARTS if part.name in chosen and part.name not in dropped}
    used = {name: weight for name, weight in used.items() if weight > 0}
    if not profiles or not used:
        why = "no part of the score could be read in every group" if profiles else "no profile is common to all groups"
        return tuple(_unranked(members[g], why) for g in groups)
    cells = _cells(heard, used)
    standing = _standing(groups, profiles, cells)
    order = sorted(range(len(groups)), key=lambda i: (-standing.score[i], groups[i]))
    return tuple(
        _row(i, groups, members, standing, _parts([h for h in heard if h.group == groups[i]], used, chosen), dropped)
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


@dataclass(frozen=True)
class _Heard:
    """One take that counts, with what the parts read from it."""

    reading: Reading
    group: str
    in_band_db: float | None
    band_high_hz: float | None

    def value(self, part: Part) -> float | None:
        """The part's figure, or None."""
        found: float | None = self.in_band_db if part.figure == IN_BAND else getattr(self.reading, part.figure)
        return found

    def points(self, part: Part) -> float | None:
        """The points that the part earns, or None."""
        value = self.value(part)
        return None if value is None else points(part, value, self.band_high_hz)


Cells = dict[tuple[str, str], dict[str, dict[int, list[float]]]]


def points(part: Part, value: float, band_high_hz: float | None) -> float:
    """Return the points that a figure earns: 50 at the part's half value, 80 at twice as good, 20 at half as good.

    Parameters
    ----------
    part : Part
        The scale.
    value : float
        The figure, in its own unit, >= 0.
    band_high_hz : float or None
        Upper end of the band, for break-up.

    Returns
    -------
    float
        100/(1 + q²), q how many times worse than the half value: between 0 and 100, never level.
    """
    half = part.half * (band_high_hz or math.nan) if part.figure == "breakup_hz" else part.half
    worse, better = (half, value) if part.better == "more" else (value, half)
    return 100.0 * better**2 / (better**2 + worse**2)


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
    heard: Sequence[_Heard], groups: Sequence[tuple[str, str]], profiles: Sequence[str], band_high_hz: float | None
) -> dict[str, str]:
    """Parts that not every group has in every profile, and why they are left out for all."""
    missing: dict[str, str] = {}
    for part in PARTS:
        if part.figure == "breakup_hz" and not band_high_hz:
            missing[part.name] = "campaign.csv names no band_high_hz"
            continue
        have = {(h.group, h.reading.profile) for h in heard if h.value(part) is not None}
        lacking = {name: [p for p in profiles if (g, p) not in have] for g, name in groups}
        if any(lacking.values()):
            missing[part.name] = f"{_figure_name(part)} could not be read {_where(lacking, len(profiles))}"
    return missing


def _figure_name(part: Part) -> str:
    """What the part's figure is called."""
    return "unevenness in the band" if part.figure == IN_BAND else FIGURE[part.figure].name


def _where(lacking: Mapping[str, Sequence[str]], profiles: int) -> str:
    """In which groups, and in which of their profiles, a figure is missing: "in Rook (st90), Flint (any shape)"."""
    return "in " + ", ".join(
        name if profiles == 1 else f"{name} ({'any shape' if len(missing) == profiles else ', '.join(missing)})"
        for name, missing in lacking.items()
        if missing
    )


def _score(heard: _Heard, used: Mapping[str, float]) -> float | None:
    """Weighted mean of the points of one take; None where a part is missing."""
    earned = [(used[part.name], heard.points(part)) for part in PARTS if part.name in used]
    if any(value is None for _, value in earned):
        return None
    return sum(weight * value for weight, value in earned if value is not None) / sum(used.values())


def _cells(heard: Sequence[_Heard], used: Mapping[str, float]) -> Cells:
    cells: Cells = {}
    for h in heard:
        value = _score(h, used)
        if value is not None and h.reading.profile:
            prints = cells.setdefault((h.reading.profile, h.group), {})
            prints.setdefault(h.reading.specimen, {}).setdefault(h.reading.seating, []).append(value)
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


def _parts(heard: Sequence[_Heard], used: Mapping[str, float], chosen: Mapping[str, float]) -> tuple[RankingPart, ...]:
    """What each part adds to one group's score: the mean figure, and the mean points where the part counts."""
    return tuple(
        RankingPart(
            part=part.name,
            figure=part.figure,
            weight=chosen.get(part.name, 0.0) if part.name in used else 0.0,
            value=_mean_by_prints(heard, partial(_Heard.value, part=part)),
            points=_mean_by_prints(heard, partial(_Heard.points, part=part)) if part.name in used else None,
        )
        for part in PARTS
    )


def _mean_by_prints(heard: Sequence[_Heard], figure: Callable[[_Heard], float | None]) -> float | None:
    """Mean over profiles of the mean over prints of the mean over seatings."""
    cells: dict[str, dict[str, dict[int, list[float]]]] = {}
    for h in heard:
        value, r = figure(h), h.reading
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
        why = "no two prints of one kind, so their scatter is not known: no interval and no rank"
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
