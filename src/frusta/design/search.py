"""The best cone for a goal: shape, wall and filament, tried out on computed responses.

Every trial is computed in full: the air of its own shape, the wall's modes, the response on the rig. Shapes are drawn
evenly within the limits first, then round after round closer to the best so far, best by score and best in one part
alike. A shape costs the air's matrices once and is tried with every wall and filament.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from frusta.cone.driver import build_rigid_driver, response
from frusta.cone.profile import Cap, ConeProfile, WallRule
from frusta.cone.trace import air_of_profile
from frusta.design.figures import Ringing
from frusta.design.forecast import REFERENCE_PA
from frusta.design.goal import Goal, goal_figures
from frusta.design.possible import CloudOfCones, PossibleCone
from frusta.design.printability import NOZZLE_M, OverhangLimit, printable
from frusta.design.responses import driver_of
from frusta.design.rig import ForecastRig
from frusta.errors import ParameterError
from frusta.material.knowledge import COORDINATES, MaterialKnowledge, coordinates_of, elastic_towards
from frusta.material.learned import JointKnowledge, ShapeKnowledge
from frusta.signal.level import RigidResponse
from frusta.signal.smoothing import log_grid

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

LOWEST_HZ = 60.0
"""From here up a trial is computed; what the goal reads begins at 160 Hz."""
FIRST, LATER = 64, 32
"""Shapes of the first round, and of each later one."""
CLOSER = (0.16, 0.08, 0.04, 0.02)
"""Standard deviation of the later rounds' steps, in parts of the limits."""
PARENTS = 6
"""Of the later rounds' steps: so many by score, and as many from the front, picked apart."""
PARENTS_WITHIN = 10.0
"""Points below the best from which the front is not followed."""
STRAIGHT_EVERY = 3
"""One shape in three of the first round is straight: chance would never draw one."""
STEP_M = 1e-4
"""Shapes are whole tenths of a millimetre, as a maker would draw them."""
STRAIGHT_M = 0.5e-4


@dataclass(frozen=True)
class Limits:
    """How far the next cone may go.

    Parameters
    ----------
    neck_m : float
        Fixed: the coil's.
    rim_m, depth_m, bow_m : (float, float)
        Lowest and highest; alike where it is fixed.
    cap : {"none", "flat"}
    """

    neck_m: float
    rim_m: tuple[float, float]
    depth_m: tuple[float, float]
    bow_m: tuple[float, float]
    cap: Cap = "none"

    def __post_init__(self) -> None:
        for name in ("rim_m", "depth_m", "bow_m"):
            low, high = getattr(self, name)
            if not low <= high:
                raise ParameterError(f"{name} must run upwards (got {low:g} to {high:g} m)")
        if not 0.0 < self.neck_m < self.rim_m[0] or not self.depth_m[0] > 0.0:
            raise ParameterError(
                f"every rim must be wider than the neck, {self.neck_m:g} m, and every cone deeper than 0 "
                f"(got rims from {self.rim_m[0]:g} m and depths from {self.depth_m[0]:g} m)"
            )


@dataclass(frozen=True)
class Filament:
    """What a trial may be printed of.

    Parameters
    ----------
    key : str
        Of its material × recipe.
    known : MaterialKnowledge
    walls_m : tuple of float
        Walls that may be printed.
    wall_rule : {"normal", "line"}
    overhang : OverhangLimit
    line_m : float
        Width of a printed line.
    fixed : mapping of str to float
        Figures of the goal that no shape changes: distortion, as recorded.
    """

    key: str
    known: MaterialKnowledge
    walls_m: tuple[float, ...]
    wall_rule: WallRule
    overhang: OverhangLimit
    line_m: float = NOZZLE_M
    fixed: Mapping[str, float] | None = None


@dataclass(frozen=True)
class Task:
    """What a search is about; the same for every trial."""

    goal: Goal
    rig: ForecastRig
    joint: JointKnowledge
    filaments: tuple[Filament, ...]
    limits: Limits


@dataclass(frozen=True)
class Trial:
    """One cone that was tried.

    Parameters
    ----------
    key : str
        Of its material × recipe.
    profile : ConeProfile
    figures : mapping of str to float
        By part of the goal.
    points : mapping of str to float
        Of the parts that weigh.
    score : float
    """

    key: str
    profile: ConeProfile
    figures: Mapping[str, float]
    points: Mapping[str, float]
    score: float


@dataclass(frozen=True)
class Found:
    """What a search found.

    Parameters
    ----------
    trials : tuple of Trial
        Best first.
    shapes, unprintable : int
        Shapes tried, and cones left out because they cannot be printed.
    stopped : bool
    """

    trials: tuple[Trial, ...]
    shapes: int
    unprintable: int
    stopped: bool


@dataclass(frozen=True)
class Tried:
    """One shape with all its walls and filaments."""

    trials: tuple[Trial, ...]
    unprintable: int


Judge = Callable[[ConeProfile], Tried]
Map = Callable[[Judge, Sequence[ConeProfile]], "list[Tried] | None"]


def search(task: Task, judge: Judge, run: Map, seed: int = 1, first: int = FIRST, later: int = LATER) -> Found:
    """Return the cones that were tried, best first.

    Parameters
    ----------
    task : Task
    judge : callable
        From a shape (any wall) to its trials: `try_shape`, the task bound.
    run : callable
        Maps `judge` over a round's shapes, in order; None where the maker has stopped it.
    seed, first, later : int
        Of the shapes; how many in the first round and in each later one.

    Notes
    -----
    A round depends on the results of those before, never on the order in which they were worked on.
    """
    rng = np.random.default_rng(seed)
    seen: set[ConeProfile] = set()
    trials: list[Trial] = []
    unprintable, stopped = 0, False
    for round_ in range(1 + len(CLOSER)):
        places = (
            _even(first, seed) if round_ == 0 else _near(task.limits, trials, later, CLOSER[round_ - 1], rng, task.goal)
        )
        shapes = [s for s in (_shape(task.limits, place) for place in places) if s is not None]
        shapes = [s for s in dict.fromkeys(shapes) if s not in seen]
        seen.update(shapes)
        tried = run(judge, shapes)
        if tried is None:
            stopped = True
            seen.difference_update(shapes)
            break
        for one in tried:
            trials += one.trials
            unprintable += one.unprintable
        if not trials:
            break
    order = sorted(range(len(trials)), key=lambda i: (-trials[i].score, i))
    return Found(tuple(trials[i] for i in order), len(seen), unprintable, stopped)


def count_of_shapes(first: int = FIRST, later: int = LATER) -> int:
    """Return how many shapes a search tries at most."""
    return first + len(CLOSER) * later


def try_shape(task: Task, shape: ConeProfile) -> Tried:
    """Return the trials of one shape: every filament in every wall that can be printed.

    Parameters
    ----------
    task : Task
    shape : ConeProfile
        Its wall does not matter.
    """
    trials, unprintable = [], 0
    for filament in task.filaments:
        for wall_m in filament.walls_m:
            try:
                profile = replace(shape, wall_m=wall_m, wall_rule=filament.wall_rule)
            except ParameterError:
                unprintable += 1
                continue
            if printable(profile, filament.overhang, filament.line_m).verdict != "yes":
                unprintable += 1
                continue
            trials.append(try_cone(task, filament, profile))
    return Tried(tuple(trials), unprintable)


def try_cone(task: Task, filament: Filament, profile: ConeProfile, shape: ShapeKnowledge | None = None) -> Trial:
    """Return one trial: the expected response of a cone, read as the goal asks.

    Parameters
    ----------
    task : Task
    filament : Filament
    profile : ConeProfile
    shape : ShapeKnowledge, optional
        How its prints differ from the drawing, where that is known.
    """
    cloud = CloudOfCones(profile, filament.known, task.joint, shape or ShapeKnowledge(), task.rig)
    expected = cloud.expected
    frequency_hz, pressure, rigid = expected_response(expected, profile, task.rig)
    return judged(task, filament, profile, expected, (frequency_hz, pressure, rigid))


Responses = tuple[Floats, Complexes, RigidResponse]
"""Frequencies, the cone's response, and that of the same cone, were it rigid."""


def expected_response(cone: PossibleCone, drawing: ConeProfile, rig: ForecastRig) -> Responses:
    """Return the response of a possible cone, in units of `level_scale`, and that of the rigid one."""
    driver = driver_of(cone, rig, air_of_profile(drawing, 0, rig.bench.mounting))
    frequency_hz = log_grid(max(rig.start_hz, LOWEST_HZ), min(1.1 * rig.stop_hz, driver.top_hz))
    frequency_hz = frequency_hz[frequency_hz <= driver.top_hz]
    stiff = build_rigid_driver(
        cone.profile,
        cone.elastic.density_kg_m3 * cone.profile.volume_m3,
        rig.motor,
        cone.coil,
        rig.bench,
        cone.medium,
        cone.joint,
        driver.air,
    )
    rigid = RigidResponse(frequency_hz, response(stiff, frequency_hz))
    return frequency_hz, level_scale(rig) * response(driver, frequency_hz), rigid


def level_scale(rig: ForecastRig) -> float:
    """Return the factor from Pa/V to 20 µPa at the campaign's sweep; 1 where levels are relative."""
    return 1.0 if rig.drive_peak_v is None else rig.drive_peak_v / float(np.sqrt(2.0)) / REFERENCE_PA


def judged(
    task: Task,
    filament: Filament,
    profile: ConeProfile,
    cone: PossibleCone,
    heard: Responses,
    ringing: Ringing | None = None,
) -> Trial:
    """Return what a response is worth to the goal.

    Parameters
    ----------
    task : Task
    filament : Filament
    profile : ConeProfile
        As drawn.
    cone : PossibleCone
        Whose response it is.
    heard : Responses
    ringing : callable, optional
        As of `goal_figures`.
    """
    figures = _figures(cone, heard, task.rig, task.goal.band_hz, ringing) | dict(filament.fixed or {})
    return Trial(filament.key, profile, figures, task.goal.all_points(figures), task.goal.score(figures))


def expected_figures(
    cone: PossibleCone, drawing: ConeProfile, rig: ForecastRig, band_hz: tuple[float, float]
) -> dict[str, float]:
    """Return the figures of a possible cone by part of a goal, distortion left out."""
    return _figures(cone, expected_response(cone, drawing, rig), rig, band_hz, None)


def _figures(
    cone: PossibleCone, heard: Responses, rig: ForecastRig, band_hz: tuple[float, float], ringing: Ringing | None
) -> dict[str, float]:
    frequency_hz, pressure, rigid = heard
    delay_s = rig.bench.microphone_distance_m / rig.medium.sound_speed_m_s
    figures = goal_figures(frequency_hz, pressure, delay_s, rig.stop_hz, band_hz, rigid, ringing)
    figures["mass"] = 1e3 * cone.elastic.density_kg_m3 * cone.profile.volume_m3
    return figures


def score_gradient(task: Task, filament: Filament, profile: ConeProfile, shape: ShapeKnowledge | None = None) -> Floats:
    """Return how a cone's expected score moves with what is known of its filament, points per coordinate, shape (7,).

    By central differences over one standard deviation to either side.

    Parameters
    ----------
    task : Task
    filament : Filament
    profile : ConeProfile
    shape : ShapeKnowledge, optional
        Where prints of this profile have taught it.
    """
    gradient = np.zeros(len(COORDINATES))
    for i, name in enumerate(COORDINATES):
        sd = filament.known.standard_deviation(name)
        if sd == 0.0:
            continue
        ends = []
        for side in (-1.0, 1.0):
            moved = coordinates_of(elastic_towards(filament.known.mean, side * sd * np.eye(len(COORDINATES))[i]))
            known = replace(filament.known, mean=moved)
            ends.append((try_cone(task, replace(filament, known=known), profile, shape).score, moved[i]))
        width = ends[1][1] - ends[0][1]
        gradient[i] = (ends[1][0] - ends[0][0]) / width if width > 0.0 else 0.0
    return gradient


def _even(count: int, seed: int) -> Floats:
    """Places in the unit cube, spread evenly (Halton's sequence, turned); the bow of every third is NaN: straight."""
    turn = np.random.default_rng(seed).uniform(size=3)
    places = (np.array([[_mirrored(i + 1, base) for base in (2, 3, 5)] for i in range(count)]) + turn) % 1.0
    places[::STRAIGHT_EVERY, 2] = np.nan
    return np.asarray(places)


def _mirrored(number: int, base: int) -> float:
    """A number's digits behind the point, in reverse."""
    value, share = 0.0, 1.0
    while number:
        share /= base
        number, digit = divmod(number, base)
        value += share * digit
    return value


def _near(
    limits: Limits, trials: Sequence[Trial], count: int, reach: float, rng: np.random.Generator, goal: Goal
) -> Floats:
    """Places near the best so far: parents are the best by score, and those picked apart on the front."""
    order = sorted(range(len(trials)), key=lambda i: (-trials[i].score, i))
    best: dict[tuple[float, float, float], None] = {}
    for i in order:
        if len(best) >= PARENTS:
            break
        best.setdefault(_place(limits, trials[i].profile))
    least = trials[order[0]].score - PARENTS_WITHIN
    for trial in pick_apart([trials[i] for i in order], PARENTS, goal, least):
        best.setdefault(_place(limits, trial.profile))
    parents = np.array(list(best))
    chosen = parents[np.arange(count) % len(parents)]
    step = reach * rng.standard_normal((count, 3))
    step[:, 2] *= rng.uniform(size=count) < 0.75  # else the bow stays, so that straight remains straight
    return np.asarray(np.clip(chosen + step, 0.0, 1.0))


def _place(limits: Limits, profile: ConeProfile) -> tuple[float, float, float]:
    def part(value: float, ends: tuple[float, float]) -> float:
        return (value - ends[0]) / (ends[1] - ends[0]) if ends[1] > ends[0] else 0.5

    return (
        part(profile.rim_radius_m, limits.rim_m),
        part(profile.depth_m, limits.depth_m),
        part(profile.bow_m, limits.bow_m),
    )


def _shape(limits: Limits, place: Floats) -> ConeProfile | None:
    """The drawing at a place in the unit cube, to a tenth of a millimetre; None where there is no such cone."""

    def value(part: float, ends: tuple[float, float]) -> float:
        raw = ends[0] + float(part) * (ends[1] - ends[0])
        return float(np.clip(round(raw / STEP_M) * STEP_M, *ends))

    rim, depth = value(place[0], limits.rim_m), value(place[1], limits.depth_m)
    bow = 0.0 if np.isnan(place[2]) else value(place[2], limits.bow_m)
    if not limits.bow_m[0] <= bow <= limits.bow_m[1]:
        bow = value(0.5, limits.bow_m)
    if abs(bow) < STRAIGHT_M:
        bow = 0.0
    shape = "straight" if bow == 0.0 else "convex" if bow > 0.0 else "concave"
    try:
        return ConeProfile(shape, limits.neck_m, round(rim, 7), round(depth, 7), round(bow, 7), 1e-4, cap=limits.cap)  # type: ignore[arg-type]
    except ParameterError:
        return None


def front(trials: Sequence[Trial], goal: Goal) -> list[int]:
    """Return which trials no other beats in one part without losing in another (Pareto's set).

    Parameters
    ----------
    trials : sequence of Trial
    goal : Goal
        Its parts that weigh are compared, by points.

    Returns
    -------
    list of int
        Places in *trials*, in their order.
    """
    if not trials:
        return []
    points = np.array([[trial.points[part] for part in goal.used] for trial in trials])
    kept = []
    for i, own in enumerate(points):
        better = np.all(points >= own, axis=1) & np.any(points > own, axis=1)
        if not np.any(better):
            kept.append(i)
    return kept


def pick_apart(trials: Sequence[Trial], count: int, goal: Goal, least_score: float = 0.0) -> list[Trial]:
    """Return distinct answers: the best, then each time the one of the front that is farthest from those taken.

    Parameters
    ----------
    trials : sequence of Trial
        Best first.
    count : int
        At most so many.
    goal : Goal
    least_score : float
        Below it none is taken.

    Notes
    -----
    Distance is the root of the weighted mean square of the points' differences; below `SAME_POINTS` two are one.
    """
    weights = np.array([goal.weights[part] for part in goal.used])
    places = [i for i in front(trials, goal) if trials[i].score >= least_score]
    if not places:
        return []
    points = np.array([[trials[i].points[part] for part in goal.used] for i in places])
    taken = [int(np.argmax([trials[i].score for i in places]))]
    while len(taken) < count:
        apart = np.sqrt(((points[:, None, :] - points[None, taken, :]) ** 2 @ weights) / weights.sum()).min(axis=1)
        farthest = int(np.argmax(apart))
        if apart[farthest] < SAME_POINTS:
            break
        taken.append(farthest)
    return [trials[places[i]] for i in taken]


SAME_POINTS = 2.0
"""Cones this near one another in points are one answer."""
