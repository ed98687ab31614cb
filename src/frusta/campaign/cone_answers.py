"""The answers of a search for the best cone: sifted by what prints may turn out, chosen apart, looked at closely."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from frusta.campaign.cone_search import Progress
from frusta.campaign.parallel import map_batches
from frusta.campaign.search_ground import Ground
from frusta.design.figures import quantiles_95
from frusta.design.forecast import Forecast, forecast
from frusta.design.goal import Goal
from frusta.design.rivals import Advantage, Contender, Drawn, advantage, draw_contender
from frusta.design.search import Found, Task, Trial, pick_apart

Floats = NDArray[np.float64]

ANSWERS = 4
WORTH = 10.0
"""Points below the best that an answer may lie, if it is better than every cone there is."""
SIFTED, SIFTING = 24, 16
"""Cones that are sifted: picked apart, and half as many by score; possible prints of each."""
SUPERLATIVES = {
    "piston limit": "moves as one piece highest",
    "upper limit": "plays highest",
    "evenness": "the most even",
    "decay": "falls silent first",
    "mass": "the lightest",
    "level": "the loudest",
    "distortion": "distorts least",
}


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
        As of `frusta.campaign.cone_search.find_cones`.
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
        As of `frusta.campaign.cone_search.find_cones`.
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
