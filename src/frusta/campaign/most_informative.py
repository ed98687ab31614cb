"""Which print, seating or coupon narrows the open questions most.

Three kinds of question are put together: figures of the materials that are open (jointly, from the covariance of the
fit), the score of the best cone found (through the same covariance), and differences between groups that cannot be
told (from the scatter of prints and seatings). What a candidate is expected to tell of each is counted in bits.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from frusta.campaign.figures import FIGURE
from frusta.campaign.open_questions import (
    FIGURE_WORDS,
    Differences,
    Gap,
    another_print,
    another_seating,
    open_figures,
    place_of,
    settled_by,
    usual_seatings,
)
from frusta.cone.profile import ConeProfile
from frusta.design.information import information_bits, settling_probability, standard_deviation
from frusta.errors import ParameterError
from frusta.material.infer import Inferred
from frusta.material.knowledge import COORDINATES
from frusta.material.prospect import SEATINGS, Prospect, Told

Floats = NDArray[np.float64]
Kind = Literal["print", "seating", "stick upright", "stick flat", "disc flat"]
COUPONS: tuple[tuple[Kind, str, bool], ...] = (
    ("stick upright", "stick", False),
    ("stick flat", "stick", True),
    ("disc flat", "disc", True),
)
SIDES_95 = 1.96


@dataclass(frozen=True)
class Candidate:
    """Something that could be made next.

    Parameters
    ----------
    kind : str
        A print, a seating, or a coupon.
    group : str
        Material × recipe.
    profile : str or None
    specimen : str or None
        Of a seating.
    drawn : ConeProfile or None
        Of a profile that no cone was recorded in.
    """

    kind: Kind
    group: str
    profile: str | None = None
    specimen: str | None = None
    drawn: ConeProfile | None = None


@dataclass(frozen=True)
class Narrowing:
    """What becomes of one question: half the width of its 95 % interval before and after, None where there is none.

    Parameters
    ----------
    question : {"material", "goal", "difference"}
    of : str
        What is narrowed, as it stands in a sentence.
    key : str
        Figure.
    unit : {"%", "dB", "points"}
    before, after : float or None
    settles : float or None
        Of a difference: how probably it will be told.
    pair : str
        Of a difference: the groups and their profile.
    """

    question: Literal["material", "goal", "difference"]
    of: str
    key: str
    unit: str
    before: float | None
    after: float | None
    settles: float | None = None
    pair: str = ""


@dataclass(frozen=True)
class Suggestion:
    """A candidate and what it is expected to tell.

    Parameters
    ----------
    candidate : Candidate
    bits : float
        In all.
    bits_materials, bits_goal, bits_differences : float
    narrows : tuple of Narrowing
        The most first.
    prints, seatings, coupons : int
        What it costs.
    grams : float or None
        Of plastic, a cone's.
    """

    candidate: Candidate
    bits: float
    bits_materials: float
    bits_goal: float
    bits_differences: float
    narrows: tuple[Narrowing, ...]
    prints: int
    seatings: int
    coupons: int
    grams: float | None


@dataclass(frozen=True)
class Wanted:
    """The score whose forecast is a question: how it hangs on the filament of one group.

    Parameters
    ----------
    group : str
    gradient : ndarray (7,)
        Points per coordinate.
    of : str
        What it is the score of.
    spread : float
        Standard deviation of one more print's score, points: what of it is not the filament's stays, whatever is
        learned.
    """

    group: str
    gradient: Floats
    of: str
    spread: float = 0.0


@dataclass(frozen=True)
class Questions:
    """Everything that is open.

    Parameters
    ----------
    inferred : Inferred or None
    names : mapping of str to str
        Groups, as they are called.
    differences : sequence of Differences
    wanted : Wanted or None
    """

    inferred: Inferred | None
    names: Mapping[str, str]
    differences: Sequence[Differences] = ()
    wanted: Wanted | None = None
    figures: Mapping[str, tuple[str, ...]] = field(init=False)

    def __post_init__(self) -> None:
        known = {} if self.inferred is None else self.inferred.estimates
        object.__setattr__(self, "figures", {key: open_figures(e.knowledge) for key, e in known.items()})

    def open_gaps(self) -> list[Gap]:
        """Return every difference that cannot be told."""
        found = []
        for of in self.differences:
            for profile in sorted({profile for profile, _ in of.cells}):
                found += of.open_gaps(profile)
        return found


def candidates_of(
    questions: Questions, profiles: Mapping[str, ConeProfile], seated: Mapping[str, tuple[str, str, int]]
) -> list[Candidate]:
    """Return what could be made next.

    Parameters
    ----------
    questions : Questions
    profiles : mapping of str to ConeProfile
        Every drawing there is, recorded or not.
    seated : mapping of str to (group, profile, seatings)
        The cones that exist.

    Returns
    -------
    list of Candidate
        Every filament in every profile, the least seated cone of every kind once more, three coupons of every filament.
    """
    inferred = questions.inferred
    groups = list(questions.names) if inferred is None else list(inferred.observed.materials)
    recorded = {profile for _, profile, _ in seated.values()} if inferred is None else set(inferred.observed.profiles)
    found = [
        Candidate("print", g, p, drawn=None if p in recorded else drawn)
        for g in groups
        for p, drawn in profiles.items()
        if inferred is not None or p in recorded
    ]
    least: dict[tuple[str, str], str] = {}
    for specimen, (group, profile, seatings) in seated.items():
        held = least.get((group, profile))
        if held is None or seatings < seated[held][2]:
            least[(group, profile)] = specimen
    found += [Candidate("seating", group, profile, specimen) for (group, profile), specimen in least.items()]
    if inferred is not None:
        found += [Candidate(kind, g) for g in groups for kind, _, _ in COUPONS]
    return found


def suggest(
    questions: Questions, candidates: Sequence[Candidate], progress: Callable[[int, int], None] | None = None
) -> tuple[Suggestion, ...]:
    """Return what every candidate is expected to tell, the most first.

    Parameters
    ----------
    questions : Questions
    candidates : sequence of Candidate
        One that cannot be computed is left out.
    progress : callable, optional
        Called with (done, total).
    """
    prospect = None if questions.inferred is None else Prospect(questions.inferred)
    found = []
    for done, candidate in enumerate(candidates):
        if progress is not None:
            progress(done, len(candidates))
        try:
            found.append(_suggestion(questions, prospect, candidate))
        except ParameterError:
            continue
    if progress is not None:
        progress(len(candidates), len(candidates))
    order = sorted(range(len(found)), key=lambda i: (-round(found[i].bits, 9), i))
    return tuple(found[i] for i in order)


def _suggestion(questions: Questions, prospect: Prospect | None, candidate: Candidate) -> Suggestion:
    told = None if prospect is None else _told(prospect, candidate)
    of_materials, bits_materials = _of_materials(questions, prospect, told)
    of_goal, bits_goal = _of_goal(questions, prospect, told)
    of_gaps, bits_differences = _of_differences(questions, candidate)
    narrows = sorted((*of_materials, *of_goal, *of_gaps), key=_worth)
    is_print, is_seating = candidate.kind == "print", candidate.kind == "seating"
    seatings = 1 if is_seating else SEATINGS if is_print else 0
    if is_print and questions.differences:
        seatings = usual_seatings(questions.differences[0].cells)
    return Suggestion(
        candidate,
        bits_materials + bits_goal + bits_differences,
        bits_materials,
        bits_goal,
        bits_differences,
        tuple(narrows),
        int(is_print),
        seatings,
        int(not is_print and not is_seating),
        _grams(questions, candidate),
    )


def _share(narrowing: Narrowing) -> float:
    """How much of a question is left; one that gets its first interval comes after those halved."""
    if narrowing.before is None or narrowing.after is None:
        return 0.6
    return narrowing.after / narrowing.before


def _worth(narrowing: Narrowing) -> tuple[float, float]:
    """Order of telling: the most narrowed first, of differences alike those that are likely to be told."""
    return round(_share(narrowing), 1), -(narrowing.settles or 0.0)


def _grams(questions: Questions, candidate: Candidate) -> float | None:
    if candidate.kind != "print" or questions.inferred is None or candidate.profile is None:
        return None
    drawn = candidate.drawn or questions.inferred.observed.profiles.get(candidate.profile)
    estimate = questions.inferred.estimates.get(candidate.group)
    if drawn is None or estimate is None:
        return None
    return 1e3 * drawn.volume_m3 * estimate.knowledge.elastic.density_kg_m3


def _told(prospect: Prospect, candidate: Candidate) -> Told | None:
    if candidate.kind == "print" and candidate.profile is not None:
        return prospect.with_print(candidate.group, candidate.profile, candidate.drawn)
    if candidate.kind == "seating":
        held = {cone.key for cone in prospect.observed.cones}
        return prospect.with_seating(candidate.specimen) if candidate.specimen in held and candidate.specimen else None
    for kind, word, flat in COUPONS:
        if kind == candidate.kind:
            return prospect.with_coupon(candidate.group, word, flat)
    return None


def _of_materials(questions: Questions, prospect: Prospect | None, told: Told | None) -> tuple[list[Narrowing], float]:
    """Narrowed figures of all materials, and the bits on the open ones together."""
    if prospect is None or told is None:
        return [], 0.0
    groups = tuple(questions.figures)
    before, after = prospect.now.of_materials(groups), told.of_materials(groups)
    size = len(COORDINATES)
    places, narrows = [], []
    for i, group in enumerate(groups):
        for figure in questions.figures[group]:
            place = i * size + place_of(figure)
            places.append(place)
            half = [SIDES_95 * 100.0 * math.sqrt(float(c[place, place])) for c in (before, after)]
            words = f"{FIGURE_WORDS[figure]} of {questions.names.get(group, group)}"
            narrows.append(Narrowing("material", words, figure, "%", half[0], half[1]))
    which = np.ix_(places, places)
    return [n for n in narrows if _share(n) < LEAST_CHANGE], information_bits(before[which], after[which])


LEAST_CHANGE = 0.95
"""A question narrowed by less than a twentieth is not named."""


def _of_goal(questions: Questions, prospect: Prospect | None, told: Told | None) -> tuple[list[Narrowing], float]:
    wanted = questions.wanted
    if prospect is None or told is None or wanted is None or wanted.group not in prospect.observed.materials:
        return [], 0.0
    before, after = (standard_deviation(t.of_materials((wanted.group,)), wanted.gradient) for t in (prospect.now, told))
    if not (before > 0.0 and after > 0.0):
        return [], 0.0
    stays = max(wanted.spread**2 - before**2, 0.0)
    before, after = math.sqrt(before**2 + stays), math.sqrt(after**2 + stays)
    narrowing = Narrowing("goal", f"the score of {wanted.of}", "score", "points", SIDES_95 * before, SIDES_95 * after)
    return [narrowing] if after < LEAST_CHANGE * before else [], math.log2(before / after)


def _of_differences(questions: Questions, candidate: Candidate) -> tuple[list[Narrowing], float]:
    """Open differences that a print or a seating narrows; bits on the one group's mean, once a figure."""
    if candidate.kind not in ("print", "seating") or candidate.profile is None:
        return [], 0.0
    narrows: list[Narrowing] = []
    bits = 0.0
    for of in questions.differences:
        prints = of.cells.get((candidate.profile, candidate.group))
        if prints is None:
            continue
        if candidate.kind == "print":
            more = another_print(of.cells)
        elif candidate.specimen in prints:
            more = another_seating(prints, str(candidate.specimen))
        else:
            continue
        gaps = [g for g in of.open_gaps(candidate.profile) if candidate.group in (g.a, g.b)]
        narrowed = settled_by(gaps, of.gaps(candidate.profile, {candidate.group: more}))
        before = of.mean_variance(candidate.profile, candidate.group)
        after = of.mean_variance(candidate.profile, candidate.group, more)
        if not narrowed or before is None or after is None:
            continue
        bits += 0.5 * math.log2(before / after)
        found = [_narrowed(questions, g, h) for g, h in narrowed]
        narrows += [n for n in found if n.before is None or _share(n) < LEAST_CHANGE]
    return narrows, bits


def _narrowed(questions: Questions, before: Gap, after: Gap) -> Narrowing:
    figure = FIGURE[before.figure]
    names = [questions.names.get(g, g) for g in (before.a, before.b)]
    decibels = figure.scale == "db"

    def half(reach: float | None) -> float | None:
        if reach is None:
            return None
        return reach * 20.0 / math.log(10.0) if decibels else 100.0 * math.expm1(reach)

    settles = None
    if before.variance is not None and after.variance is not None and after.reach is not None:
        settles = settling_probability(before.gap, before.variance, after.variance, after.reach)
    return Narrowing(
        "difference",
        f"{names[0]} against {names[1]} in {figure.name} ({before.profile})",
        before.figure,
        "dB" if decibels else "%",
        half(before.reach),
        half(after.reach),
        settles,
        f"{names[0]} against {names[1]}, {before.profile}",
    )
