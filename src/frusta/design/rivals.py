"""Cones against one another: how much better one is than another, and with what probability.

Every cone is drawn as one more print may turn out. What two cones share is drawn once for both: the filament, the
weather, the rig's level; what is each print's own is drawn for each: its moduli, density, wall and shape, its coil, its
seating. A difference of scores draw by draw is then free of what they share, and no freer.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frusta.cone.poles import find_poles
from frusta.cone.profile import ConeProfile
from frusta.cone.trace import air_of_profile
from frusta.design.figures import quantiles_95
from frusta.design.possible import CloudOfCones, PossibleCone, normal_draws
from frusta.design.responses import driver_of, neighbours_pressure
from frusta.design.search import Filament, Responses, Task, Trial, expected_response, judged, level_scale
from frusta.errors import ParameterError
from frusta.material.knowledge import COORDINATES
from frusta.material.learned import ShapeKnowledge

Floats = NDArray[np.float64]

DRAWS = 100
OWN, SHARED = 10, 2
"""Columns of a draw that are each print's own, and that all share: air and level."""


@dataclass(frozen=True)
class Contender:
    """One cone of a comparison.

    Parameters
    ----------
    filament : Filament
    profile : ConeProfile
    shape : ShapeKnowledge or None
        Where prints of this profile have taught it.
    number : int
        Tells the contenders apart, so that each has draws of its own.
    """

    filament: Filament
    profile: ConeProfile
    shape: ShapeKnowledge | None
    number: int


@dataclass(frozen=True)
class Drawn:
    """What a contender may turn out to be.

    Parameters
    ----------
    trial : Trial
        Figures of the expected cone, its decay in closed form; points and score are the means over the draws: a cone
        that is good only as long as it comes out exactly as drawn does not look good.
    figures : mapping of str to ndarray (draws,)
        By part of the goal.
    scores : ndarray (draws,)
    """

    trial: Trial
    figures: Mapping[str, Floats]
    scores: Floats


@dataclass(frozen=True)
class Advantage:
    """One cone over another.

    Parameters
    ----------
    points, low_95, high_95 : float
        Difference of scores: its mean, and where 95 % of pairs of prints lie.
    probability, probability_u : float
        That a print of the one scores higher than a print of the other, and the standard error that the number of draws
        leaves in it.
    """

    points: float
    low_95: float
    high_95: float
    probability: float
    probability_u: float


def filament_steps(covariance: Floats, keys: Sequence[str], count: int = DRAWS, seed: int = 1) -> dict[str, Floats]:
    """Return how far each filament may be off its mean, draw by draw, shape (count, 7) each.

    Parameters
    ----------
    covariance : ndarray (7 × keys, 7 × keys)
        Of all filaments together, so that what a fit knows of their ratios is kept.
    keys : sequence of str
        In the order of the covariance.
    count, seed : int

    Raises
    ------
    ParameterError
        If the covariance has another size.
    """
    size = len(COORDINATES)
    if np.shape(covariance) != (size * len(keys), size * len(keys)):
        raise ParameterError(
            f"the covariance must hold {size} coordinates of {len(keys)} filaments (got shape {np.shape(covariance)})"
        )
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    steps = normal_draws(count, len(covariance), seed) @ root.T
    return {key: steps[:, i * size : (i + 1) * size] for i, key in enumerate(keys)}


def draw_contender(task: Task, contender: Contender, steps: Floats, seed: int = 1) -> Drawn:
    """Return what a contender may turn out to be.

    Parameters
    ----------
    task : Task
    contender : Contender
    steps : ndarray (draws, 7)
        Of its filament.
    seed : int
        The same for all contenders of a comparison.
    """
    count = len(steps)
    cloud = CloudOfCones(
        contender.profile,
        contender.filament.known,
        task.joint,
        contender.shape or ShapeKnowledge(),
        task.rig,
    )
    own = normal_draws(count, OWN, seed + 7919 * (contender.number + 1))
    shared = normal_draws(count, SHARED, seed)
    rest = np.concatenate([own, shared], axis=1)
    cones = [cloud.at(step, row) for step, row in zip(steps, rest, strict=True)]
    expected = cloud.expected
    blurred, heard, trial = _sharp(task, contender, expected)
    frequency_hz, exact, rigid = heard
    air = air_of_profile(contender.profile, 0, task.rig.bench.mounting)
    middle = driver_of(expected, task.rig, air)
    drawn = neighbours_pressure(middle, expected, exact, cones, task.rig, frequency_hz)
    ratio = trial.figures["decay"] / blurred.figures["decay"]
    rows = []
    for cone, row in zip(cones, drawn, strict=True):
        louder = 10.0 ** (cone.level_db / 20.0) * row
        one = judged(task, contender.filament, contender.profile, cone, (frequency_hz, louder, rigid))
        rows.append({**one.figures, "decay": one.figures["decay"] * ratio})
    scores = np.array([task.goal.score(row) for row in rows])
    points = [task.goal.all_points(row) for row in rows]
    means = {part: float(np.mean([one[part] for one in points])) for part in task.goal.used}
    typical = Trial(trial.key, trial.profile, trial.figures, means, float(np.mean(scores)))
    return Drawn(typical, {key: np.array([row[key] for row in rows]) for key in rows[0]}, scores)


def _sharp(task: Task, contender: Contender, expected: PossibleCone) -> tuple[Trial, Responses, Trial]:
    """The expected cone as the grid of frequencies blurs it, its responses, and with its resonances in closed form."""
    rig, profile = task.rig, contender.profile
    heard = expected_response(expected, profile, rig)
    driver = driver_of(expected, rig, air_of_profile(profile, 0, rig.bench.mounting))
    poles = find_poles(driver, 400.0, min(rig.stop_hz, 0.98 * driver.top_hz))
    scale = level_scale(rig)

    def ringing(hertz: Floats) -> NDArray[np.complex128]:
        return np.asarray(scale * poles.contributions(hertz).sum(axis=0))

    blurred = judged(task, contender.filament, profile, expected, heard)
    return blurred, heard, judged(task, contender.filament, profile, expected, heard, ringing)


def advantage(of: Drawn, over: Drawn) -> Advantage:
    """Return how much better one is than the other.

    Parameters
    ----------
    of, over : Drawn
        Of as many draws each.
    """
    gaps = of.scores - over.scores
    share = float(np.mean(gaps > 0.0) + 0.5 * np.mean(gaps == 0.0))
    low, high = quantiles_95(gaps)
    count = len(gaps)
    smoothed = (share * count + 1.0) / (count + 2.0)  # never quite certain: Laplace's rule
    return Advantage(
        float(np.mean(gaps)),
        float(low),
        float(high),
        share,
        math.sqrt(smoothed * (1.0 - smoothed) / count),
    )
