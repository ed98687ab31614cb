"""The search for the best cone, and cones against one another.

Oracles: brute force on a grid (of an analytic landscape, and of computed cones); Pareto's set by its definition;
Monte Carlo of normal scores whose probability is known in closed form.
"""

from __future__ import annotations

import itertools
from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from scipy.stats import norm

from frusta.cone.driver import Bench, Coil, Motor
from frusta.cone.medium import air_at
from frusta.cone.profile import ConeProfile
from frusta.design.goal import Goal
from frusta.design.printability import OverhangLimit
from frusta.design.rig import ForecastRig
from frusta.design.rivals import Contender, Drawn, advantage, draw_contender, filament_steps
from frusta.design.search import (
    Filament,
    Found,
    Limits,
    Task,
    Trial,
    Tried,
    count_of_shapes,
    front,
    pick_apart,
    score_gradient,
    search,
    try_cone,
    try_shape,
)
from frusta.errors import ParameterError
from frusta.material.knowledge import COORDINATES, handbook_knowledge
from frusta.material.learned import JointKnowledge

RIG = ForecastRig(Motor(3.8, 2600.0, 0.7), Coil(2.7e-3, 5.2, 1.2e-4), Bench("free", 0.12), air_at(20.0), stop_hz=12e3)
LIMITS = Limits(0.0125, (0.032, 0.044), (0.018, 0.030), (-0.003, 0.003))
HALVES = {"upper limit": 6e3, "piston limit": 6e3, "evenness": 8.0, "decay": 4.0, "mass": 6.0, "level": -10.0}
GOAL = Goal((300.0, 6000.0), {"piston limit": 2.0, "evenness": 2.0, "mass": 1.0, "level": 2.0}, HALVES)
KNOWN = handbook_knowledge("any", polymer="PLA")
WIDE = OverhangLimit(70.0, 80.0, assumed=False)
FILAMENT = Filament("any", KNOWN, (0.8e-3, 1.2e-3), "line", WIDE)
TASK = Task(GOAL, RIG, JointKnowledge(), (FILAMENT,), LIMITS)


def made(key: str, profile: ConeProfile, points: dict[str, float]) -> Trial:
    score = sum(GOAL.weights[part] * points[part] for part in GOAL.used) / 7.0
    return Trial(key, profile, dict(points), points, score)


def landscape(shape: ConeProfile) -> Tried:
    """Points with a ridge and one summit at rim 41.3 mm, depth 22.7 mm, bow -1.4 mm."""
    off = np.array(
        [
            (shape.rim_radius_m - 0.0413) / 0.012,
            (shape.depth_m - 0.0227) / 0.012,
            (shape.bow_m + 0.0014) / 0.006,
        ]
    )
    high = 90.0 * float(np.exp(-4.0 * off @ off - 3.0 * off[0] * off[1]))
    return Tried((made("any", shape, dict.fromkeys(GOAL.used, high)),), 0)


def one_by_one(judge, shapes):  # type: ignore[no-untyped-def]
    return [judge(shape) for shape in shapes]


def test_the_summit_is_found_as_well_as_a_grid_of_many_more_shapes_finds_it() -> None:
    found = search(TASK, landscape, one_by_one)
    sides = (np.linspace(0.032, 0.044, 15), np.linspace(0.018, 0.030, 15), np.linspace(-0.003, 0.003, 15))
    grid = list(itertools.product(*sides))
    best = max(
        landscape(ConeProfile("concave", 0.0125, rim, depth, bow, 1e-4)).trials[0].score for rim, depth, bow in grid
    )
    assert found.shapes <= count_of_shapes() < len(grid) / 10
    assert found.trials[0].score > best - 0.5
    assert found.trials[0].profile.rim_radius_m == pytest.approx(0.0413, abs=4e-4)


def test_computed_cones_beat_a_coarse_grid() -> None:
    """16 shapes of a grid of depth and bow against 22 shapes of the search, on the same computed responses."""
    held = replace(TASK, limits=replace(LIMITS, rim_m=(0.040, 0.040)))
    judge = partial(try_shape, replace(held, filaments=(replace(FILAMENT, walls_m=(1.2e-3,)),)))
    found = search(held, judge, one_by_one, first=10, later=4)
    best = max(
        t.score
        for depth, bow in itertools.product((0.018, 0.022, 0.026, 0.030), (-0.003, -0.001, 0.001, 0.003))
        for t in judge(ConeProfile("straight", 0.0125, 0.040, depth, bow, 1e-4)).trials
    )
    assert found.trials[0].score > best - 0.3
    assert {(t.profile.rim_radius_m, t.profile.wall_m, t.profile.wall_rule) for t in found.trials} == {
        (0.040, 1.2e-3, "line")
    }
    assert any(t.profile.shape == "straight" for t in found.trials)


def test_the_same_cones_are_found_whatever_the_order_of_work() -> None:
    """To the last bit: a round that is worked on backwards, as processes may, changes nothing."""
    backwards = search(TASK, landscape, lambda judge, shapes: [judge(s) for s in reversed(shapes)][::-1])
    assert backwards == search(TASK, landscape, one_by_one)
    assert backwards != search(TASK, landscape, one_by_one, seed=2)


def test_what_cannot_be_printed_is_left_out() -> None:
    steep = replace(TASK, filaments=(replace(FILAMENT, overhang=OverhangLimit(40.0, 50.0, assumed=False)),))
    flat = ConeProfile("straight", 0.0125, 0.044, 0.018, 0.0, 1e-4)
    assert try_shape(steep, flat) == Tried((), 2)
    thin = replace(TASK, filaments=(replace(FILAMENT, walls_m=(0.3e-3,)),))
    assert try_shape(thin, flat) == Tried((), 1)


def test_a_search_that_is_stopped_keeps_what_its_rounds_found() -> None:
    rounds = []

    def run(judge, shapes):  # type: ignore[no-untyped-def]
        rounds.append(len(shapes))
        return [judge(s) for s in shapes] if len(rounds) < 3 else None

    found = search(TASK, landscape, run)
    assert found.stopped
    assert found.shapes == sum(rounds[:2]) == len(found.trials)
    assert search(TASK, landscape, lambda *_: None) == Found((), 0, 0, stopped=True)


def test_the_front_is_paretos_set_and_answers_lie_apart() -> None:
    rng = np.random.default_rng(3)
    points = rng.uniform(0.0, 100.0, (40, 4))
    shape = ConeProfile("straight", 0.0125, 0.040, 0.024, 0.0, 1e-3)
    trials = [made(str(i), shape, dict(zip(GOAL.used, row.tolist(), strict=True))) for i, row in enumerate(points)]
    trials.sort(key=lambda t: -t.score)
    rows = np.array([[t.points[p] for p in GOAL.used] for t in trials])
    by_hand = [
        i for i in range(40) if not any(np.all(rows[j] >= rows[i]) and np.any(rows[j] > rows[i]) for j in range(40))
    ]
    assert front(trials, GOAL) == by_hand
    answers = pick_apart(trials, 4, GOAL, least_score=trials[0].score - 20.0)
    assert answers[0] is trials[0]
    assert len({a.key for a in answers}) == len(answers) >= 2
    assert all(a.score >= trials[0].score - 20.0 for a in answers)
    twins = [made("a", shape, dict.fromkeys(GOAL.used, 50.0)), made("b", shape, dict.fromkeys(GOAL.used, 50.5))]
    assert len(pick_apart(twins, 4, GOAL)) == 1


def drawn_of(scores: np.ndarray, expected: float) -> Drawn:
    shape = ConeProfile("straight", 0.0125, 0.040, 0.024, 0.0, 1e-3)
    return Drawn(Trial("any", shape, {}, {}, expected), {}, scores)


def test_the_probability_of_normal_scores_is_the_one_in_closed_form() -> None:
    """Two scores that share a part of sd 2 and have own parts of sd 1: P = Φ(gap/√2), whatever they share."""
    rng = np.random.default_rng(11)
    shared, a, b = 2.0 * rng.standard_normal(20_000), rng.standard_normal(20_000), rng.standard_normal(20_000)
    found = advantage(drawn_of(51.0 + shared + a, 51.0), drawn_of(50.0 + shared + b, 50.0))
    assert found.probability == pytest.approx(norm.cdf(1.0 / np.sqrt(2.0)), abs=3.0 * found.probability_u)
    assert found.points == pytest.approx(1.0, abs=0.04)
    assert found.low_95 == pytest.approx(1.0 - 1.96 * np.sqrt(2.0), abs=0.08)
    assert found.high_95 == pytest.approx(1.0 + 1.96 * np.sqrt(2.0), abs=0.08)


def test_filaments_are_drawn_together_as_their_covariance_says() -> None:
    rng = np.random.default_rng(2)
    root = rng.standard_normal((14, 14)) * 0.01
    covariance = root @ root.T
    steps = filament_steps(covariance, ["a", "b"], count=4000, seed=3)
    both = np.concatenate([steps["a"], steps["b"]], axis=1)
    scale = np.sqrt(np.outer(np.diag(covariance), np.diag(covariance)))
    assert (np.cov(both.T) - covariance) / scale == pytest.approx(np.zeros((14, 14)), abs=0.08)
    with pytest.raises(ParameterError, match="7 coordinates of 1 filaments"):
        filament_steps(covariance, ["a"])


def test_prints_of_one_filament_differ_only_by_their_own_scatter() -> None:
    """A cone against another print of itself: even odds, no gap; and a heavier wall is surely heavier."""
    steps = filament_steps(KNOWN.covariance, ["any"], count=24, seed=1)["any"]
    shape = ConeProfile("straight", 0.0125, 0.040, 0.024, 0.0, 1.2e-3, "line")
    one, two = (draw_contender(TASK, Contender(FILAMENT, shape, None, n), steps) for n in (0, 1))
    heavy = draw_contender(TASK, Contender(FILAMENT, replace(shape, wall_m=1.6e-3), None, 2), steps)
    assert one.trial.figures == two.trial.figures
    assert one.trial.score == pytest.approx(np.mean(one.scores))
    assert np.std(one.scores - two.scores) < np.std(one.scores)
    assert 0.2 < advantage(one, two).probability < 0.8
    assert np.all(heavy.figures["mass"] > one.figures["mass"])
    assert np.corrcoef(one.figures["mass"], two.figures["mass"])[0, 1] > 0.3


def test_the_gradient_of_a_score_is_the_slope_between_two_filaments() -> None:
    """Against the plain difference of two cones whose filament differs in one coordinate."""
    shape = ConeProfile("straight", 0.0125, 0.040, 0.024, 0.0, 1.2e-3, "line")
    gradient = score_gradient(TASK, FILAMENT, shape)
    place = COORDINATES.index("density_kg_m3")
    denser = np.array(KNOWN.mean)
    denser[place] += 0.01
    more = try_cone(TASK, replace(FILAMENT, known=replace(KNOWN, mean=denser)), shape).score
    assert gradient[place] == pytest.approx((more - try_cone(TASK, FILAMENT, shape).score) / 0.01, rel=0.2)
    assert gradient[place] < 0.0


def test_limits_that_leave_no_cone_are_refused() -> None:
    with pytest.raises(ParameterError, match="must run upwards"):
        Limits(0.0125, (0.044, 0.032), (0.018, 0.030), (0.0, 0.0))
    with pytest.raises(ParameterError, match="every rim must be wider than the neck"):
        Limits(0.0125, (0.010, 0.032), (0.018, 0.030), (0.0, 0.0))
