"""The fit of a whole campaign: every material, print, profile, rig and seating at once.

Maximum a posteriori by Gauss and Newton. The recorded ln f and ln η of a mode are the computed ones, plus what the
model lacks and what pulls that mode (`frusta.material.offsets`), plus noise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

from frusta.errors import ParameterError
from frusta.material.assignment import Assigned
from frusta.material.bell_pull import Pull, StrayPull, bell_pull, stray_pull
from frusta.material.coupons import coupon_rows
from frusta.material.forward import Computed, Unknowns, computed_modes, profile_of
from frusta.material.observations import CampaignObserved, ConeObserved
from frusta.material.offsets import Block, Spread
from frusta.material.parameters import Name, Parameters
from frusta.material.residuals import Residuals, assigned_modes, residuals_of
from frusta.material.scatter import learned_variance

Floats = NDArray[np.float64]

PRINT_SCATTER, LOSS_SCATTER, SCATTER_WORTH = 0.013, 0.02, 5.0
"""Of moduli and loss factor from print to print before data speak, and how many prints that is worth."""
TOLERANCES = ((0.04, 0.35), (0.025, 0.25), (0.015, 0.15), (0.01, 0.1))
"""Tolerance of the assignment (ln f, ln η) in the first steps; the last one stays."""
LEAST_STEPS, MOST_STEPS, SETTLED = 9, 16, 0.02
"""Steps of the fit, so many that scales are learned, and the largest step, in posterior sd, that ends it."""
PULLED_AT = (3, 7)
"""Steps before which the pull of bell modes is computed from the fit as it then stands."""
LEARNING_FROM = 5
"""Step from which scales and heavy-tailed weights are learned: before, a bad start would be taken for bad modes."""
LEARNED_AGAIN = 2
"""Times that scales and weights are learned in one step: they settle more slowly than the unknowns."""
LONGEST_STEP = 4.0
"""Of any unknown, in standard deviations of its prior."""
MARGIN_HZ = 1.06


@dataclass(frozen=True)
class Fit:
    """A fit of a campaign.

    Parameters
    ----------
    unknowns : Unknowns
    covariance : ndarray (unknowns, unknowns)
        Posterior.
    prior : Parameters
        With the scatter as learned.
    computed : dict of str to list of Computed
        By cone: each of its seatings.
    assigned : dict of str to list of Assigned
    residuals : Residuals
    print_scatter, loss_scatter : float
        Relative, learned.
    chi_square : dict of str to float
        By cone, per mode.
    steps : int
    spread : Spread
        Scales and weights of the offsets as learned.
    pulls : list of Pull or None
        Of bell modes, one a cone.
    """

    unknowns: Unknowns
    covariance: Floats
    prior: Parameters
    computed: dict[str, list[Computed]]
    assigned: dict[str, list[Assigned]]
    residuals: Residuals
    print_scatter: float
    loss_scatter: float
    chi_square: dict[str, float]
    steps: int
    spread: Spread
    pulls: list[Pull] | None


def fit_campaign(observed: CampaignObserved, start: Unknowns) -> Fit:
    """Return the fit of a campaign.

    Parameters
    ----------
    observed : CampaignObserved
        Only cones with a mass and recorded modes.
    start : Unknowns
        From `frusta.material.start.start_moduli`.

    Raises
    ------
    ParameterError
        If nothing fits, or the start cannot be computed.
    """
    prior, unknowns = start.parameters, start
    high = {c.key: MARGIN_HZ * max(float(s.modes.frequency_hz.max()) for s in c.seatings) for c in observed.cones}
    computed = {c.key: computed_modes(observed, c, unknowns, high[c.key]) for c in observed.cones}
    scatter, loss_scatter = PRINT_SCATTER, LOSS_SCATTER
    spread = Spread(observed)
    pulls: list[Pull] | None = None
    for step in range(MOST_STEPS):
        tolerance = TOLERANCES[min(step, len(TOLERANCES) - 1)]
        assigned = assigned_modes(observed, computed, tolerance)
        rows = residuals_of(observed, computed, assigned, len(prior))
        if step in PULLED_AT:
            pulls = _pulls(observed, unknowns, high)
        strays = None if step < PULLED_AT[0] else stray_pulls(observed, computed, assigned)
        solved = solved_step(
            observed,
            prior,
            unknowns,
            rows,
            spread,
            pulls,
            strays,
            tolerance if step < 3 else None,
            step >= LEARNING_FROM,
        )
        scatter, loss_scatter = learned_scatter(observed, prior, solved)
        moved = solved.values - unknowns.values
        within = np.abs(moved) / np.sqrt(np.diag(solved.covariance))
        prior = with_scatter(prior, observed, scatter, loss_scatter)
        unknowns, computed = _advance(observed, unknowns, moved, prior, high, computed)
        if step >= LEAST_STEPS and float(within.max()) < SETTLED:
            break
    assigned = assigned_modes(observed, computed, TOLERANCES[-1])
    rows = residuals_of(observed, computed, assigned, len(prior))
    strays = stray_pulls(observed, computed, assigned)
    solved = solved_step(observed, prior, unknowns, rows, spread, pulls, strays, None, True)
    return Fit(
        unknowns,
        solved.covariance,
        prior,
        computed,
        assigned,
        rows,
        scatter,
        loss_scatter,
        solved.chi_square,
        step + 1,
        spread,
        pulls,
    )


def _pulls(observed: CampaignObserved, unknowns: Unknowns, high: dict[str, float]) -> list[Pull]:
    """The pull of bell modes on every cone; cones of one material and profile share it."""
    kept: dict[tuple[str, str], Pull] = {}
    for cone in observed.cones:
        key = (cone.material, cone.profile)
        if key not in kept:
            kept[key] = bell_pull(observed, cone, unknowns, high[cone.key])
    return [kept[(cone.material, cone.profile)] for cone in observed.cones]


def stray_pulls(
    observed: CampaignObserved, computed: dict[str, list[Computed]], assigned: dict[str, list[Assigned]]
) -> list[StrayPull]:
    """Return the pull that each cone's strays betray, in the seating where they are loudest."""
    found = []
    for cone in observed.cones:
        seats = zip(computed[cone.key], cone.seatings, assigned[cone.key], strict=True)
        pulls = [stray_pull(c, s.modes, a.strays) for c, s, a in seats]
        count = min(len(p.frequency) for p in pulls)
        found.append(
            StrayPull(
                np.max([p.frequency[:count] for p in pulls], axis=0),
                np.max([p.loss[:count] for p in pulls], axis=0),
                np.mean([p.push[:count] for p in pulls], axis=0),
            )
        )
    return found


def _advance(
    observed: CampaignObserved,
    unknowns: Unknowns,
    moved: Floats,
    prior: Parameters,
    high: dict[str, float],
    computed: dict[str, list[Computed]],
) -> tuple[Unknowns, dict[str, list[Computed]]]:
    """Take the step, shortened until there is such a campaign."""
    share = min(1.0, LONGEST_STEP / float(np.max(np.abs(moved) / prior.sd)))
    for _ in range(6):
        trial = Unknowns(prior, np.maximum(unknowns.values + share * moved, prior.low))
        try:
            return trial, {c.key: computed_modes(observed, c, trial, high[c.key]) for c in observed.cones}
        except ParameterError:
            share *= 0.4
    return unknowns, computed


@dataclass(frozen=True)
class Solved:
    """One linear step.

    Parameters
    ----------
    values : ndarray (unknowns,)
    covariance : ndarray (unknowns, unknowns)
        Posterior.
    chi_square : dict of str to float
        By cone, per mode.
    """

    values: Floats
    covariance: Floats
    chi_square: dict[str, float]


def solved_step(
    observed: CampaignObserved,
    prior: Parameters,
    unknowns: Unknowns,
    rows: Residuals,
    spread: Spread,
    pulls: list[Pull] | None,
    strays: list[StrayPull] | None,
    tolerance: tuple[float, float] | None,
    learning: bool,
) -> Solved:
    """Return one linear step: all unknowns and offsets from the rows, the masses, the callipers and the priors.

    Parameters
    ----------
    observed : CampaignObserved
    prior : Parameters
    unknowns : Unknowns
        Where the rows were linearised.
    rows : Residuals
    spread : Spread
        Changed in place where `learning`.
    pulls : list of Pull or None
        Of bell modes, one a cone.
    strays : list of StrayPull or None
    tolerance : (float, float) or None
        More doubt (ln f, ln η) in the first steps.
    learning : bool
        Whether scales and weights are learned.
    """
    for _ in range(LEARNED_AGAIN if learning else 1):
        blocks = [Block(observed, rows, which, spread, pulls, strays, tolerance) for which in (0, 1)]
        precision, right = normal_equations(observed, prior, unknowns, blocks)
        step = _bounded(precision, right, unknowns.values, prior.low)
        covariance = np.asarray(np.linalg.inv(precision), dtype=np.float64)
        for which, block in enumerate(blocks):
            if learning:
                block.learn(step, covariance, spread, which)
    chi = {cone.key: float(np.mean([b.chi(step, i) for b in blocks])) for i, cone in enumerate(observed.cones)}
    return Solved(unknowns.values + step, covariance, chi)


def normal_equations(
    observed: CampaignObserved, prior: Parameters, unknowns: Unknowns, blocks: Sequence[Block]
) -> tuple[Floats, Floats]:
    """Return precision and right side of the normal equations of a step.

    Parameters
    ----------
    observed : CampaignObserved
    prior : Parameters
    unknowns : Unknowns
        Where rows, masses and coupons were linearised.
    blocks : sequence of Block
        ln f and ln η, offsets eliminated.

    Returns
    -------
    precision : ndarray (unknowns, unknowns)
    right : ndarray (unknowns,)
    """
    precision = np.diag(prior.sd**-2.0)
    right = (prior.mean - unknowns.values) / prior.sd**2
    for gradient, residual, sd in weighings(observed, unknowns):
        precision += np.outer(gradient, gradient) / sd**2
        right += gradient * residual / sd**2
    for block in blocks:
        precision += block.precision
        right += block.right
    return precision, right


def posterior_covariance(
    observed: CampaignObserved,
    prior: Parameters,
    unknowns: Unknowns,
    rows: Residuals,
    spread: Spread,
    pulls: list[Pull] | None,
    strays: list[StrayPull] | None,
) -> Floats:
    """Return the covariance of all unknowns given rows, masses, callipers, coupons and priors, as the fit has it.

    Parameters
    ----------
    observed : CampaignObserved
    prior : Parameters
    unknowns : Unknowns
        Where masses and coupons are linearised.
    rows : Residuals
        Their values do not matter, their slopes and uncertainties do.
    spread : Spread
    pulls, strays : list of Pull or None
        One a cone.
    """
    blocks = [Block(observed, rows, which, spread, pulls, strays, None) for which in (0, 1)]
    precision, _ = normal_equations(observed, prior, unknowns, blocks)
    return np.asarray(np.linalg.inv(precision), dtype=np.float64)


def _bounded(precision: Floats, right: Floats, values: Floats, low: Floats) -> Floats:
    """The step to the minimum, unknowns that would leave their bounds held at them."""
    held = np.zeros(len(right), dtype=bool)
    step = np.zeros(len(right))
    for _ in range(4):
        free = ~held
        step = np.where(held, low - values, 0.0)
        force = right - precision @ step
        inside = cho_factor(precision[np.ix_(free, free)])
        step[free] = cho_solve(inside, force[free])
        out = free & (values + step < low)
        if not np.any(out):
            break
        held |= out
    return step


def weighings(observed: CampaignObserved, unknowns: Unknowns) -> list[tuple[Floats, float, float]]:
    """Return gradient (unknowns,), residual and sd of ln mass, of each wall that was gauged, of what coupons rang."""
    rows = []
    for cone in observed.cones:
        rows.append(_weighing(observed, cone, unknowns))
        rows += _gaugings(observed, cone, unknowns)
    for coupon in observed.coupons:
        rows += coupon_rows(coupon, unknowns)
    return rows


def _weighing(observed: CampaignObserved, cone: ConeObserved, unknowns: Unknowns) -> tuple[Floats, float, float]:
    index, drawn = unknowns.parameters.index, observed.profiles[cone.profile]
    gradient = np.zeros(len(unknowns.values))
    density = ("material", cone.material, "density_kg_m3")
    here = profile_of(unknowns, drawn, cone.profile, cone.key).volume_m3
    gradient[index[density]] = 1.0
    places: tuple[tuple[Name, float], ...] = (
        (("print", cone.key, "wall_m"), 1e-4),
        (("profile", cone.profile, "bow_m"), 1e-6),
        (("profile", cone.profile, "depth_m"), 1e-6),
        (("profile", cone.profile, "rim_radius_m"), 1e-6),
        (("profile", cone.profile, "wall_taper"), 1e-4),
    )
    for name, small in places:
        values = unknowns.values.copy()
        values[index[name]] += small
        ahead = profile_of(Unknowns(unknowns.parameters, values), drawn, cone.profile, cone.key).volume_m3
        gradient[index[name]] = (ahead / here - 1.0) / small
    expected = np.log(here) + unknowns.values[index[density]]
    return gradient, float(np.log(cone.mass_kg) - expected), cone.mass_u_kg / cone.mass_kg


GAUGE_SD_M = 0.03e-3
"""Of callipers on a curved wall."""


def _gaugings(observed: CampaignObserved, cone: ConeObserved, unknowns: Unknowns) -> list[tuple[Floats, float, float]]:
    index, drawn = unknowns.parameters.index, observed.profiles[cone.profile]
    printed = profile_of(unknowns, drawn, cone.profile, cone.key)
    taper = ("profile", cone.profile, "wall_taper")
    rows = []
    for place, gauged in ((0.0, cone.wall_neck_m), (1.0, cone.wall_rim_m)):
        if gauged is None:
            continue
        gradient = np.zeros(len(unknowns.values))
        gradient[index[("print", cone.key, "wall_m")]] = 1.0
        gradient[index[taper]] = (place - 0.5) / (1.0 + printed.wall_taper * (place - 0.5))
        expected = float(printed.thickness_m(place))
        rows.append((gradient, float(np.log(gauged / expected)), GAUGE_SD_M / expected))
    return rows


def print_keys(observed: CampaignObserved) -> list[str]:
    """Return the keys of everything that was printed: cones, then coupons."""
    return [cone.key for cone in observed.cones] + [coupon.key for coupon in observed.coupons]


def learned_scatter(observed: CampaignObserved, prior: Parameters, solved: Solved) -> tuple[float, float]:
    """Return the scatter of moduli and loss factor from print to print, relative, pooled over the campaign."""
    learned = []
    for figure, sd in (("modulus", PRINT_SCATTER), ("loss_factor", LOSS_SCATTER)):
        places = [prior.index[("print", key, figure)] for key in print_keys(observed)]
        values, variances = solved.values[places], np.diag(solved.covariance)[places]
        learned.append(float(np.sqrt(learned_variance(sd, SCATTER_WORTH, values, variances))))
    return learned[0], learned[1]


def with_scatter(prior: Parameters, observed: CampaignObserved, scatter: float, loss_scatter: float) -> Parameters:
    """Return a prior whose prints scatter by so much (relative, of moduli and of loss factors)."""
    sd = prior.sd.copy()
    for key in print_keys(observed):
        sd[prior.index[("print", key, "modulus")]] = scatter
        sd[prior.index[("print", key, "loss_factor")]] = loss_scatter
    return replace(prior, sd=sd)
