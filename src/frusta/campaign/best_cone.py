"""The best cone for a campaign's band: what may be printed, the search, and the answers against the best there is."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from frusta.campaign.findings import Findings
from frusta.campaign.forecasting import drawn_profile, forecast_rig, knowledge_of, overhang_limit, rig_of
from frusta.campaign.groups import groups_of
from frusta.campaign.package import Package
from frusta.campaign.parallel import map_batches
from frusta.campaign.ranking import Member
from frusta.campaign.rows import Recipe
from frusta.cone.profile import ConeProfile
from frusta.design.figures import quantiles_95
from frusta.design.forecast import Forecast, forecast
from frusta.design.goal import HALVES, WEIGHTS, Goal
from frusta.design.possible import CloudOfCones
from frusta.design.printability import NOZZLE_M, USUAL_CLEAN_DEG, USUAL_FAILED_DEG, OverhangLimit, overhang_deg
from frusta.design.rig import ForecastRig
from frusta.design.rivals import Advantage, Contender, Drawn, advantage, draw_contender
from frusta.design.search import (
    FIRST,
    LATER,
    Filament,
    Found,
    Judge,
    Limits,
    Task,
    Trial,
    Tried,
    count_of_shapes,
    expected_figures,
    pick_apart,
    search,
    try_cone,
    try_shape,
)
from frusta.errors import PackageError, ParameterError
from frusta.material.knowledge import COORDINATES
from frusta.material.learned import JointKnowledge, Learned, ShapeKnowledge

Floats = NDArray[np.float64]
Progress = Callable[[int, int], None]

AROUND = 0.2
"""How far the search goes beyond the campaign's own cones, relative, where no limits are given."""
LEAST_BOW = 0.10
"""Bow that is tried at least, in parts of the largest depth: a campaign of straight cones says nothing against bows."""
LEAST_RIM = 1.3
"""Smallest rim that is tried, in neck radii."""
WALLS = 5
"""Walls that are tried where no recipe names the width of a line."""
ANSWERS = 4
WORTH = 10.0
"""Points below the best that an answer may lie, if it is better than every cone there is."""
JOINT_GIVEN = 0.2
"""Relative uncertainty of a joint that a table names, as of a forecast."""
EQUAL_LEVEL_DB = 1.0
"""Within which cones count as played equally loud, so that their distortion may be compared."""


@dataclass(frozen=True)
class Wish:
    """What the maker asks for; None where the campaign decides.

    Parameters
    ----------
    weights : mapping of str to float
        By part of the goal.
    band_hz : (float, float) or None
    rim_mm, depth_mm, bow_mm, wall_mm : (float, float) or None
        Limits.
    """

    weights: Mapping[str, float] | None = None
    band_hz: tuple[float, float] | None = None
    rim_mm: tuple[float, float] | None = None
    depth_mm: tuple[float, float] | None = None
    bow_mm: tuple[float, float] | None = None
    wall_mm: tuple[float, float] | None = None


@dataclass(frozen=True)
class Existing:
    """A kind of cone that was printed: a filament in a profile."""

    group: str
    profile_key: str
    contender: Contender
    trial: Trial


@dataclass(frozen=True)
class Ground:
    """Where a search starts from.

    Parameters
    ----------
    task : Task
    existing : tuple of Existing
        Best first, all by forecast, so that they are compared with the new ones alike.
    said : tuple of str
        What was assumed or left out, as sentences.
    """

    task: Task
    existing: tuple[Existing, ...]
    said: tuple[str, ...]


@dataclass(frozen=True)
class Answer:
    """One cone worth printing.

    Parameters
    ----------
    trial : Trial
    label : str
        What it is best at.
    at_limits : tuple of str
        Where it lies on the edge of what was allowed: more may lie beyond.
    told : Forecast or None
        None where the maker stopped before.
    score_95 : (float, float) or None
    figures_95 : mapping of str to (float, float)
        By part: where 95 % of prints lie.
    over_best : Advantage or None
        Over another print of the best cone there is.
    """

    trial: Trial
    label: str
    at_limits: tuple[str, ...]
    told: Forecast | None = None
    score_95: tuple[float, float] | None = None
    figures_95: Mapping[str, tuple[float, float]] | None = None
    over_best: Advantage | None = None


def ground_of(package: Package, learned: Learned, findings: Findings | None = None, wish: Wish | None = None) -> Ground:
    """Return what a search for a campaign is about.

    Parameters
    ----------
    package : Package
    learned : Learned
    findings : Findings, optional
        For the distortion that was recorded.
    wish : Wish, optional

    Raises
    ------
    PackageError
        If the campaign has no band, rig, coil, material or profile to start from.
    ParameterError
        If the wish contradicts itself.
    """
    wish = wish or Wish()
    band_hz = wish.band_hz or _band(package)
    row = rig_of(package)
    rig = forecast_rig(package, row)
    joint = learned.joint
    if joint.assumed and row.neck_stiffness_n_um is not None:
        compliance = 1e-6 / row.neck_stiffness_n_um
        joint = JointKnowledge(compliance, JOINT_GIVEN * compliance, 0.0, assumed=False)
    drawn = {key: drawn_profile(row) for key, row in package.profiles.items()}
    printed = _printed(package)
    if not drawn or not package.materials:
        raise PackageError(
            "a search for the best cone needs a material and a profile to start from (materials.csv or profiles.csv is "
            "empty); add a row"
        )
    limits, limits_said = _limits(wish, [drawn[p] for p in dict.fromkeys(p for _, p in printed)] or [*drawn.values()])
    filaments, said = _filaments(package, learned, wish, drawn, printed)
    fixed, dropped = _distortion(package, findings, [f.key for f in filaments])
    said = [*rig.assumed, *limits_said, *said]
    weights = dict(WEIGHTS if wish.weights is None else wish.weights)
    if weights.get("distortion", 0.0) > 0.0 and fixed is None:
        weights.pop("distortion")
        said.append(f"distortion is left out of the goal: {dropped}")
    if fixed is not None and dropped:
        said.append(dropped)
    filaments = [replace(f, fixed={"distortion": fixed[f.key]} if fixed else None) for f in filaments]
    by_key = {f.key: f for f in filaments}
    pairs = [(g, p) for g, p in printed if g in by_key]
    usual = pairs or [(g, p) for g in by_key for p in drawn]
    goal = _goal(band_hz, weights, rig, joint, [(by_key[g], drawn[p], learned.shapes.get(p)) for g, p in usual])
    task = Task(goal, rig, joint, tuple(filaments), limits)
    existing = []
    for number, (group, key) in enumerate(pairs):
        contender = Contender(by_key[group], drawn[key], learned.shapes.get(key), 1000 + number)
        trial = try_cone(task, by_key[group], drawn[key], contender.shape)
        existing.append(Existing(group, key, contender, trial))
    existing.sort(key=lambda e: (-e.trial.score, e.group, e.profile_key))
    return Ground(task, tuple(existing), tuple(said))


def _band(package: Package) -> tuple[float, float]:
    low, high = package.campaign.band_low_hz, package.campaign.band_high_hz
    if low is None or high is None:
        raise PackageError(
            "campaign.csv must name band_low_hz and band_high_hz to look for the best cone (they are empty); fill them "
            "in, or say it with --goal 'band 300-6000'"
        )
    return low, high


def _printed(package: Package) -> list[tuple[str, str]]:
    """Kinds of cone that exist, group and profile, in the order of the tables."""
    group_of, members = groups_of(package)
    have = {(group_of[s.specimen], s.profile) for s in package.specimens.values() if s.specimen in group_of}
    return [(g, p) for g in members for p in package.profiles if (g, p) in have]


def _limits(wish: Wish, printed: Sequence[ConeProfile]) -> tuple[Limits, list[str]]:
    """What shapes may be tried: as wished, else a fifth around what was printed."""
    necks = sorted({p.neck_radius_m for p in printed}, key=lambda neck: sum(p.neck_radius_m == neck for p in printed))
    caps = [p.cap for p in printed]
    cap: Literal["none", "flat"] = "flat" if 2 * caps.count("flat") > len(caps) else "none"

    def around(values: Sequence[float], given_mm: tuple[float, float] | None) -> tuple[float, float]:
        if given_mm is not None:
            return 1e-3 * given_mm[0], 1e-3 * given_mm[1]
        return round((1.0 - AROUND) * min(values), 4), round((1.0 + AROUND) * max(values), 4)

    rim = around([p.rim_radius_m for p in printed], wish.rim_mm)
    if wish.rim_mm is None:
        rim = max(rim[0], round(LEAST_RIM * necks[-1], 4)), rim[1]
    depth = around([p.depth_m for p in printed], wish.depth_mm)
    if wish.bow_mm is not None:
        bow = around([], wish.bow_mm)
    else:
        least = LEAST_BOW * depth[1]
        low, high = (1.0 + AROUND) * min(p.bow_m for p in printed), (1.0 + AROUND) * max(p.bow_m for p in printed)
        bow = round(min(low, -least), 4), round(max(high, least), 4)
    said = [
        f"shapes tried: rim {1e3 * rim[0]:.1f} to {1e3 * rim[1]:.1f} mm, depth {1e3 * depth[0]:.1f} to "
        f"{1e3 * depth[1]:.1f} mm, bow {1e3 * bow[0]:+.1f} to {1e3 * bow[1]:+.1f} mm, neck {1e3 * necks[-1]:.1f} mm"
    ]
    if len(necks) > 1:
        said.append("the campaign has several neck radii; the commonest was kept")
    return Limits(necks[-1], rim, depth, bow, cap), said


def _filaments(
    package: Package,
    learned: Learned,
    wish: Wish,
    drawn: Mapping[str, ConeProfile],
    printed: Sequence[tuple[str, str]],
) -> tuple[list[Filament], list[str]]:
    """What may be printed of: every group that was estimated; where none was, all by the handbook."""
    _, members = groups_of(package)
    if not members:
        members = {key: Member(key, None, row.name) for key, row in package.materials.items()}
    told = [g for g in members if g in learned.materials]
    said: list[str] = []
    if told and len(told) < len(members):
        missing = ", ".join(members[g].name for g in members if g not in told)
        said.append(f"not tried, for want of an estimate: {missing}")
    if not told:
        said.append("no filament was estimated from recordings: handbook ranges, from memory, hold for all of them")
    found = []
    for group in told or list(members):
        member = members[group]
        known = learned.materials.get(group) or knowledge_of(package, member.material, member.recipe, learned)
        own = [drawn[p] for g, p in printed if g == group]
        recipe = package.recipes.get(member.recipe) if member.recipe else None
        walls, rule, words = _walls(recipe, own or list(drawn.values()), wish.wall_mm)
        limit, words_limit = _overhang(package, member.material, member.recipe, own)
        said += [w for w in (*words, *words_limit) if w not in said]
        line_m = 1e-3 * recipe.line_width_mm if recipe and recipe.line_width_mm else NOZZLE_M
        found.append(Filament(group, known, walls, rule, limit, line_m))
    return found, said


def _walls(
    recipe: Recipe | None, own: Sequence[ConeProfile], wall_mm: tuple[float, float] | None
) -> tuple[tuple[float, ...], Literal["normal", "line"], list[str]]:
    """Whole printed lines where the recipe names their width, else walls along the normal."""
    widths = [_horizontal_m(p) for p in own]
    if recipe is not None and recipe.line_width_mm:
        line_m = 1e-3 * recipe.line_width_mm
        low, high = (1.0 - AROUND) * min(widths), (1.0 + AROUND) * max(widths)
        if wall_mm is not None:
            low, high = 1e-3 * wall_mm[0], 1e-3 * wall_mm[1]
        counts = [n for n in range(1, 13) if low * (1 - 1e-9) <= n * line_m <= high * (1 + 1e-9)]
        if wall_mm is None:  # a fifth is less than a line: one line fewer and one more are tried all the same
            middle = max(1, round(float(np.mean(widths)) / line_m))
            counts = sorted({*counts, middle, middle + 1, max(middle - 1, min(2, middle))})
        counts = counts or [max(1, round(0.5 * (low + high) / line_m))]
        said = [
            f"walls tried, {recipe.recipe}: {', '.join(str(n) for n in counts)} lines of {recipe.line_width_mm:g} mm, "
            "their width across"
        ]
        if recipe.lines is not None and any(n != recipe.lines for n in counts):
            said.append(f"{recipe.recipe} prints {recipe.lines:g} lines: other walls trust the plastic to be alike")
        return tuple(round(n * line_m, 7) for n in counts), "line", said
    rule: Literal["normal", "line"] = "line" if 2 * sum(p.wall_rule == "line" for p in own) > len(own) else "normal"
    walls = [p.wall_m for p in own if p.wall_rule == rule] or widths
    low, high = (1.0 - AROUND) * min(walls), (1.0 + AROUND) * max(walls)
    if wall_mm is not None:
        low, high = 1e-3 * wall_mm[0], 1e-3 * wall_mm[1]
    tried = tuple(dict.fromkeys(round(float(w), 5) for w in np.linspace(low, high, WALLS)))
    said = [
        f"walls tried: {1e3 * tried[0]:.2f} to {1e3 * tried[-1]:.2f} mm; no line_width_mm in recipes.csv, so they are "
        "not held to whole lines"
    ]
    return tried, rule, said


def _horizontal_m(profile: ConeProfile) -> float:
    """Mean width of a wall's layers."""
    u = np.linspace(0.0, 1.0, 101)
    return float(np.mean(profile.thickness_m(u) / np.maximum(np.abs(profile.unit_normal(u)[0]), 1e-3)))


def _overhang(
    package: Package, material: str, recipe: str | None, own: Sequence[ConeProfile]
) -> tuple[OverhangLimit, list[str]]:
    """The coupon's limit; without one, what was printed of it did print."""
    tested = overhang_limit(package, material, recipe)
    if tested is not None:
        return tested, []
    printed = max((float(overhang_deg(p)[1].max()) for p in own), default=0.0)
    clean = max(USUAL_CLEAN_DEG, printed)
    said = "overhang assumed clean to 45°, no coupon was printed"
    if clean > USUAL_CLEAN_DEG:
        said = f"overhang taken as clean to {clean:.0f}°, as far as the campaign's cones lean; no coupon was printed"
    return OverhangLimit(clean, max(USUAL_FAILED_DEG, clean)), [said]


def _distortion(
    package: Package, findings: Findings | None, groups: Sequence[str]
) -> tuple[dict[str, float] | None, str]:
    """Input distortion of each group as recorded; None with the reason where it cannot tell cones apart honestly."""
    if findings is None:
        return None, "no recording was read"
    group_of, _ = groups_of(package)
    takes = package.takes
    heard = [
        (group_of.get(r.specimen), (takes[r.take].sweep, takes[r.take].drive_gain_db or 0.0), r)
        for r in findings.readings
        if r.kind == "cone" and r.quality != "repeat" and r.input_thd_peak_percent is not None
    ]
    usual = Counter(drive for _, drive, _ in heard).most_common(1)
    by_group: dict[str, list[tuple[float, float]]] = {}
    for group, drive, r in heard:
        if group in groups and drive == usual[0][0] and r.level_db is not None:
            by_group.setdefault(str(group), []).append((float(r.input_thd_peak_percent or 0.0), r.level_db))
    lacking = [g for g in groups if not by_group.get(g)]
    if lacking:
        return None, f"no take of {', '.join(lacking)} at the usual drive gives it above its own noise"
    rows = [d for d in findings.differences if d.figure == "input_thd_peak_percent"]
    clear = [d for d in rows if d.low_95 is not None and d.high_95 is not None and not d.low_95 <= 1.0 <= d.high_95]
    if not clear:
        return None, "the filaments cannot be told apart by it, so it does not decide between cones"
    levels = [float(np.median([level for _, level in pairs])) for pairs in by_group.values()]
    if max(levels) - min(levels) > EQUAL_LEVEL_DB:
        return None, f"the filaments were not played equally loud ({max(levels) - min(levels):.1f} dB apart)"
    found = {g: float(np.median([percent for percent, _ in by_group[g]])) for g in groups}
    return found, "distortion is each filament's as recorded; that a shape changes it is not foretold"


def _goal(
    band_hz: tuple[float, float],
    weights: Mapping[str, float],
    rig: ForecastRig,
    joint: JointKnowledge,
    cones: Sequence[tuple[Filament, ConeProfile, ShapeKnowledge | None]],
) -> Goal:
    """The goal, with half values: the band's end for both limits, the mean printed cone for mass and level."""
    top = min(band_hz[1], rig.stop_hz)
    if top <= band_hz[0]:
        raise ParameterError(f"the band must begin below the sweep's end, {rig.stop_hz:.0f} Hz (got {band_hz[0]:g} Hz)")
    figures = []
    for filament, profile, shape in cones:
        cloud = CloudOfCones(profile, filament.known, joint, shape or ShapeKnowledge(), rig)
        figures.append(expected_figures(cloud.expected, profile, rig, band_hz))
    halves = {
        **HALVES,
        "piston limit": top,
        "upper limit": top,
        "mass": math.exp(float(np.mean([math.log(f["mass"]) for f in figures]))),
        "level": float(np.mean([f["level"] for f in figures])),
    }
    return Goal(band_hz, weights, halves)


def find_cones(
    ground: Ground,
    *,
    cores: int | None = None,
    progress: Progress | None = None,
    seed: int = 1,
    first: int = FIRST,
    later: int = LATER,
) -> Found:
    """Return the cones that were tried; a Ctrl-C ends the search with what the rounds until then have found.

    Parameters
    ----------
    ground : Ground
    cores : int, optional
        Processes; all by default. What is found does not depend on it.
    progress : callable, optional
        Called with (shapes done, shapes at most).
    seed, first, later : int
        As of `frusta.design.search.search`.
    """
    total, begun = count_of_shapes(first, later), [0]

    def run(judge: Judge, shapes: Sequence[ConeProfile]) -> list[Tried] | None:
        def shown(done: int, of: int) -> None:
            if progress is not None:
                progress(begun[0] + done, total)

        try:
            tried = map_batches(judge, shapes, cores, shown)
        except KeyboardInterrupt:
            return None
        begun[0] += len(shapes)
        return tried

    return search(ground.task, partial(try_shape, ground.task), run, seed, first, later)


def sift(
    ground: Ground,
    found: Found,
    steps: Mapping[str, Floats],
    *,
    cores: int | None = None,
    progress: Progress | None = None,
    seed: int = 1,
) -> tuple[Ground, Found]:
    """Return the same with the most promising cones, and those there are, judged by the mean of some possible prints.

    The best of many computed cones are in part those that happen to lie at an edge: a mode just below the 3 dB that
    end the piston limit. A print does not keep to the drawing so well; what is good on the mean stays good.

    Parameters
    ----------
    ground : Ground
    found : Found
    steps : mapping of str to ndarray (draws, 7)
        Of every filament; few are enough, `SIFTING`.
    cores, progress
        As of `find_cones`.
    seed : int
    """
    goal = ground.task.goal
    by_key = {f.key: f for f in ground.task.filaments}
    apart = pick_apart(found.trials, SIFTED, goal, found.trials[0].score - 2.0 * WORTH)
    promising = list({t.profile: t for t in (*found.trials[: SIFTED // 2], *apart)}.values())
    jobs = [Contender(by_key[t.key], t.profile, None, i) for i, t in enumerate(promising)]
    jobs += [e.contender for e in ground.existing]
    trials = map_batches(partial(_typical, ground.task, dict(steps), seed), jobs, cores, progress)
    there = [replace(e, trial=t) for e, t in zip(ground.existing, trials[len(promising) :], strict=True)]
    there.sort(key=lambda e: (-e.trial.score, e.group, e.profile_key))
    order = sorted(range(len(promising)), key=lambda i: (-trials[i].score, i))
    return replace(ground, existing=tuple(there)), replace(found, trials=tuple(trials[i] for i in order))


SIFTED, SIFTING = 24, 16
"""Cones that are sifted: picked apart, and half as many by score; possible prints of each."""


def _typical(task: Task, steps: Mapping[str, Floats], seed: int, contender: Contender) -> Trial:
    return draw_contender(task, contender, steps[contender.filament.key], seed).trial


def choose(ground: Ground, trials: Sequence[Trial], count: int = ANSWERS) -> tuple[Answer, ...]:
    """Return distinct answers, the best first, each with what it is best at.

    Parameters
    ----------
    ground : Ground
    trials : sequence of Trial
        Best first.
    count : int
    """
    if not trials:
        return ()
    goal, best = ground.task.goal, trials[0].score
    least = best - WORTH
    if ground.existing:
        least = max(least, min(ground.existing[0].trial.score, best))
    picked = pick_apart(trials, count, goal, least)
    return tuple(
        Answer(t, label, _at_limits(ground, t)) for t, label in zip(picked, _labels(picked, goal), strict=True)
    )


SUPERLATIVES = {
    "piston limit": "moves as one piece highest",
    "upper limit": "plays highest",
    "evenness": "the most even",
    "decay": "falls silent first",
    "mass": "the lightest",
    "level": "the loudest",
    "distortion": "distorts least",
}


def _labels(picked: Sequence[Trial], goal: Goal) -> list[str]:
    """What each answer is best at among the answers, by the parts that weigh."""
    labels = []
    for i, trial in enumerate(picked):
        words = ["best for the goal"] if i == 0 else []
        for part in goal.used:
            others = [t.points[part] for j, t in enumerate(picked) if j != i]
            if others and trial.points[part] > max(others) + 0.5:
                words.append(SUPERLATIVES[part])
        labels.append(", ".join(words) or "a compromise")
    return labels


def _at_limits(ground: Ground, trial: Trial) -> tuple[str, ...]:
    """Limits that an answer lies at: within a fiftieth of the span."""
    limits, p = ground.task.limits, trial.profile
    found = []
    for name, value, (low, high) in (
        ("rim", p.rim_radius_m, limits.rim_m),
        ("depth", p.depth_m, limits.depth_m),
        ("bow", p.bow_m, limits.bow_m),
    ):
        if high > low and min(value - low, high - value) < 0.02 * (high - low):
            found.append(f"{name} at its {'smallest' if value - low < high - value else 'largest'}")
    walls = next(f.walls_m for f in ground.task.filaments if f.key == trial.key)
    if len(walls) > 1 and p.wall_m in (walls[0], walls[-1]):
        found.append(f"wall at its {'thinnest' if p.wall_m == walls[0] else 'thickest'}")
    return tuple(found)


@dataclass(frozen=True)
class _Refining:
    """One contender to be looked at closely; a new one is forecast too."""

    contender: Contender
    forecast: bool


def refine(
    ground: Ground,
    answers: Sequence[Answer],
    steps: Mapping[str, Floats],
    *,
    cores: int | None = None,
    progress: Progress | None = None,
    seed: int = 1,
) -> tuple[Answer, ...]:
    """Return the answers with forecast, intervals and their advantage over the best cone there is.

    Parameters
    ----------
    ground : Ground
    answers : sequence of Answer
    steps : mapping of str to ndarray (draws, 7)
        Of every filament: `frusta.design.rivals.filament_steps`.
    cores, progress
        As of `find_cones`.
    seed : int
    """
    by_key = {f.key: f for f in ground.task.filaments}
    jobs = [_Refining(Contender(by_key[a.trial.key], a.trial.profile, None, i), True) for i, a in enumerate(answers)]
    if ground.existing:
        jobs.append(_Refining(ground.existing[0].contender, False))
    looked = map_batches(partial(_look, ground.task, dict(steps), seed), jobs, cores, progress)
    best = looked[-1][0] if ground.existing else None
    found = []
    for answer, (drawn, told) in zip(answers, looked, strict=False):
        found.append(
            replace(
                answer,
                trial=drawn.trial,
                told=told,
                score_95=_ends(drawn.scores, drawn.trial.score),
                figures_95={part: _ends(values, drawn.trial.figures[part]) for part, values in drawn.figures.items()},
                over_best=None if best is None else advantage(drawn, best),
            )
        )
    return tuple(found)


def _look(task: Task, steps: Mapping[str, Floats], seed: int, job: _Refining) -> tuple[Drawn, Forecast | None]:
    contender = job.contender
    drawn = draw_contender(task, contender, steps[contender.filament.key], seed)
    if not job.forecast:
        return drawn, None
    filament = contender.filament
    told = forecast(contender.profile, filament.known, task.rig, task.joint, contender.shape, filament.overhang)
    return drawn, told


def _ends(values: Floats, expected: float) -> tuple[float, float]:
    """Where 95 % of prints lie, the expected one always inside."""
    low, high = quantiles_95(values)
    return min(float(low), expected), max(float(high), expected)


def filament_covariance(keys: Sequence[str], learned: Mapping[str, Floats]) -> Floats:
    """Return a covariance of several filaments that are known apart, shape (7 × keys, 7 × keys)."""
    size = len(COORDINATES)
    whole = np.zeros((size * len(keys), size * len(keys)))
    for i, key in enumerate(keys):
        whole[i * size : (i + 1) * size, i * size : (i + 1) * size] = learned[key]
    return whole
