"""The fit of a whole campaign: every material, print, profile, rig and seating at once.

Maximum a posteriori by Gauss and Newton. The recorded ln f and ln η of a mode are the computed ones, plus what the
model lacks for that mode in every cone of a profile, plus what pulls that mode in one print (an uneven wall, bell
modes beside it), plus noise. Both offsets are unknowns too, with small priors; a print's has heavy tails, so that one
mode that a bell mode has pulled far does not drag the moduli along.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

from frusta.errors import ParameterError
from frusta.material.assignment import Assigned, assign
from frusta.material.bell_pull import Pull, bell_pull, stray_pull
from frusta.material.coupons import coupon_rows
from frusta.material.forward import Computed, Unknowns, computed_modes, profile_of
from frusta.material.observations import CampaignObserved, ConeObserved
from frusta.material.parameters import Name, Parameters
from frusta.material.scatter import heavy_tail_weight, learned_variance

Floats = NDArray[np.float64]

MODEL_FREQUENCY, MODEL_LOSS = 1.5e-4, 3e-3
"""What the model lacks alike in every cone of a profile (1 sd); one row of elements more at higher modes."""
MODEL_FIFTH, MODEL_POWER = 3e-4, 2.7
PRINT_FREQUENCY, PRINT_LOSS = 1.5e-4, 3e-3
"""What an even wall still differs from the model, print by print."""
FREEDOM = 4.0
SEATED = 0.3
"""Share of a print's offset that differs from seating to seating: a joint that gives moves modes past bell modes."""
OFFSETS_WORTH = 6.0
"""How many offsets the prior scale of an even wall's, or of an ordinary unevenness, is worth."""
PRINT_SCATTER, LOSS_SCATTER, SCATTER_WORTH = 0.013, 0.02, 5.0
"""Of moduli and loss factor from print to print before data speak, and how many prints that is worth."""
TOLERANCES = ((0.04, 0.35), (0.025, 0.25), (0.015, 0.15), (0.01, 0.1))
"""Tolerance of the assignment (ln f, ln η) in the first steps; the last one stays."""
MOST_STEPS, SETTLED = 16, 0.02
"""Steps of the fit, and the largest step, in posterior standard deviations, that ends it."""
PULLED_AT = (3, 7)
"""Steps before which the pull of bell modes is computed from the fit as it then stands."""
LEARNING_FROM = 5
"""Step from which scales and heavy-tailed weights are learned: before, a bad start would be taken for bad modes."""
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


@dataclass(frozen=True)
class Residuals:
    """All pairs of a fit as rows.

    Parameters
    ----------
    cone, seating, mode, recorded : ndarray of int (rows,)
        Places in the campaign's lists.
    frequency, loss : ndarray (rows,)
        ln recorded − ln computed.
    frequency_u, loss_u : ndarray (rows,)
        Noise, relative.
    frequency_slope, loss_slope : ndarray (rows, unknowns)
    """

    cone: NDArray[np.intp]
    seating: NDArray[np.intp]
    mode: NDArray[np.intp]
    recorded: NDArray[np.intp]
    frequency: Floats
    loss: Floats
    frequency_u: Floats
    loss_u: Floats
    frequency_slope: Floats
    loss_slope: Floats


def _assigned(
    observed: CampaignObserved, computed: dict[str, list[Computed]], tolerance: tuple[float, float]
) -> dict[str, list[Assigned]]:
    return {
        cone.key: [
            assign(c.frequency_hz, c.loss_factor, c.prominence_db, s.modes, *tolerance)
            for c, s in zip(computed[cone.key], cone.seatings, strict=True)
        ]
        for cone in observed.cones
    }


def _residuals(
    observed: CampaignObserved, computed: dict[str, list[Computed]], assigned: dict[str, list[Assigned]], width: int
) -> Residuals:
    parts: list[tuple[NDArray[Any], ...]] = []
    for i, cone in enumerate(observed.cones):
        for j, seating in enumerate(cone.seatings):
            c, a, r = computed[cone.key][j], assigned[cone.key][j], seating.modes
            k, m = a.recorded, a.computed
            parts.append(
                (
                    np.full(len(k), i),
                    np.full(len(k), j),
                    m,
                    k,
                    np.log(r.frequency_hz[k] / c.frequency_hz[m]),
                    np.log(r.loss_factor[k] / c.loss_factor[m]),
                    r.frequency_hz_u[k] / r.frequency_hz[k],
                    r.loss_factor_u[k] / r.loss_factor[k],
                    c.frequency_slope[m],
                    c.loss_slope[m],
                )
            )
    if not observed.cones:  # tapped coupons alone
        none, unknowns = np.zeros(0), np.zeros((0, width))
        parts = [(none, none, none, none, none, none, none, none, unknowns, unknowns)]
    elif sum(len(p[0]) for p in parts) == 0:
        raise ParameterError("no recorded mode fits any computed one; check profiles, masses and coils in the tables")
    columns = [np.concatenate(column) for column in zip(*parts, strict=True)]
    places = [np.asarray(column, dtype=np.intp) for column in columns[:4]]
    return Residuals(places[0], places[1], places[2], places[3], *columns[4:])


def model_frequency_sd(mode: NDArray[np.intp]) -> Floats:
    """Return what the model lacks of ln f by number of the mode, from 0."""
    fine = MODEL_FIFTH * ((mode + 1.0) / 5.0) ** MODEL_POWER
    return np.asarray(np.hypot(MODEL_FREQUENCY, fine))


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
        assigned = _assigned(observed, computed, tolerance)
        rows = _residuals(observed, computed, assigned, len(prior))
        if step in PULLED_AT:
            pulls = _pulls(observed, unknowns, high)
        strays = None if step < PULLED_AT[0] else stray_pulls(observed, computed, assigned)
        solved = _solve(
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
        scatter, loss_scatter = _learn(observed, prior, solved)
        moved = solved.values - unknowns.values
        within = np.abs(moved) / np.sqrt(np.diag(solved.covariance))
        prior = _with_scatter(prior, observed, scatter, loss_scatter)
        unknowns, computed = _advance(observed, unknowns, moved, prior, high, computed)
        if step > len(TOLERANCES) and float(within.max()) < SETTLED:
            break
    assigned = _assigned(observed, computed, TOLERANCES[-1])
    rows = _residuals(observed, computed, assigned, len(prior))
    strays = stray_pulls(observed, computed, assigned)
    solved = _solve(observed, prior, unknowns, rows, spread, pulls, strays, None, True)
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
) -> list[Pull]:
    """Return the pull that each cone's strays betray, in the seating where they are loudest."""
    found = []
    for cone in observed.cones:
        seats = zip(computed[cone.key], cone.seatings, assigned[cone.key], strict=True)
        pulls = [stray_pull(c, s.modes, a.strays) for c, s, a in seats]
        count = min(len(p.frequency) for p in pulls)
        found.append(
            Pull(
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
class _Solved:
    values: Floats
    covariance: Floats
    chi_square: dict[str, float]


class Spread:
    """Variances that change from step to step: heavy-tailed weights, and the scale of the prints' offsets.

    The scale is a material's own: one filament strings and sags into an uneven wall where another does not.
    """

    def __init__(self, observed: CampaignObserved) -> None:
        keys = list(observed.materials)
        self.group = np.array([keys.index(cone.material) for cone in observed.cones], dtype=np.intp)
        self.scale = np.ones((2, len(keys)))
        self.uneven = np.ones((2, len(keys)))
        self.weights: list[dict[tuple[int, int], float]] = [{}, {}]


def _solve(
    observed: CampaignObserved,
    prior: Parameters,
    unknowns: Unknowns,
    rows: Residuals,
    spread: Spread,
    pulls: list[Pull] | None,
    strays: list[Pull] | None,
    tolerance: tuple[float, float] | None,
    learning: bool,
) -> _Solved:
    """One linear step: all unknowns and offsets from the rows, the masses, the callipers and the priors."""
    blocks = [_Block(observed, rows, which, spread, pulls, strays, tolerance) for which in (0, 1)]
    precision, right = _normal_equations(observed, prior, unknowns, blocks)
    step = _bounded(precision, right, unknowns.values, prior.low)
    covariance = np.asarray(np.linalg.inv(precision), dtype=np.float64)
    for which, block in enumerate(blocks):
        if learning:
            block.learn(step, covariance, spread, which)
    chi = {cone.key: float(np.mean([b.chi(step, i) for b in blocks])) for i, cone in enumerate(observed.cones)}
    return _Solved(unknowns.values + step, covariance, chi)


def _normal_equations(
    observed: CampaignObserved, prior: Parameters, unknowns: Unknowns, blocks: Sequence[_Block]
) -> tuple[Floats, Floats]:
    precision = np.diag(prior.sd**-2.0)
    right = (prior.mean - unknowns.values) / prior.sd**2
    for gradient, residual, sd in _weighings(observed, unknowns):
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
    strays: list[Pull] | None,
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
    blocks = [_Block(observed, rows, which, spread, pulls, strays, None) for which in (0, 1)]
    precision, _ = _normal_equations(observed, prior, unknowns, blocks)
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


class _Block:
    """The rows of ln f (0) or ln η (1), the offsets eliminated."""

    def __init__(
        self,
        observed: CampaignObserved,
        rows: Residuals,
        which: int,
        spread: Spread,
        pulls: list[Pull] | None,
        strays: list[Pull] | None,
        tolerance: tuple[float, float] | None,
    ) -> None:
        self.value = rows.frequency if which == 0 else rows.loss
        if which == 0 and strays is not None:
            self.value = self.value - np.array(
                [_at(strays[i].push, m) for i, m in zip(rows.cone, rows.mode, strict=True)]
            )
        self.slope = rows.frequency_slope if which == 0 else rows.loss_slope
        noise = rows.frequency_u if which == 0 else rows.loss_u
        if tolerance is not None:
            noise = np.hypot(noise, 0.25 * tolerance[which])
        self.cone = rows.cone
        profiles = {key: i for i, key in enumerate(observed.profiles)}
        profile = np.array([profiles[observed.cones[i].profile] for i in rows.cone])
        shared, self.shared = np.unique(np.stack([profile, rows.mode]), axis=1, return_inverse=True)
        own, self.own = np.unique(np.stack([rows.cone, rows.mode]), axis=1, return_inverse=True)
        self.own_keys = [(int(a), int(b)) for a, b in own.T]
        shared_sd = model_frequency_sd(shared[1]) if which == 0 else np.full(shared.shape[1], MODEL_LOSS)
        even = PRINT_FREQUENCY if which == 0 else PRINT_LOSS
        self.group = spread.group[np.array([i for i, _ in self.own_keys], dtype=np.intp)]
        self.even = np.array([np.hypot(even, _pull(strays, i, m, which)) for i, m in self.own_keys])
        self.pulled = np.array([_pull(pulls, i, m, which) for i, m in self.own_keys])
        weight = np.array([spread.weights[which].get(key, 1.0) for key in self.own_keys])
        even_sd, pulled_sd = self._scaled(spread, which)
        own_sd = np.hypot(even_sd, pulled_sd) / np.sqrt(weight)
        noise = np.hypot(noise, SEATED * np.hypot(self.even, pulled_sd)[self.own])
        rows_of = np.arange(len(self.value))
        design = np.zeros((len(self.value), len(shared_sd) + len(own_sd)))
        design[rows_of, self.shared] = 1.0
        design[rows_of, len(shared_sd) + self.own] = 1.0
        variance = np.concatenate([shared_sd, own_sd]) ** 2
        total = np.diag(noise**2) + (design * variance) @ design.T
        self.inverse = np.linalg.inv(total)
        self.total = total
        self.design, self.variance = design, variance
        weighed = self.inverse @ self.slope
        self.precision = self.slope.T @ weighed
        self.right = weighed.T @ self.value
        self.shared_count = len(shared_sd)

    def _scaled(self, spread: Spread, which: int) -> tuple[Floats, Floats]:
        return spread.scale[which][self.group] * self.even, spread.uneven[which][self.group] * self.pulled

    def learn(self, step: Floats, covariance: Floats, spread: Spread, which: int) -> None:
        """Update weights and scale from the prints' offsets as they now look."""
        left = self.value - self.slope @ step
        gain = (self.variance[:, None] * self.design.T) @ self.inverse
        offset = (gain @ left)[self.shared_count :]
        lost = gain[self.shared_count :] @ self.design[:, self.shared_count :]
        variance = self.variance[self.shared_count :] * (1.0 - np.diag(lost))
        moved = gain[self.shared_count :] @ self.slope
        variance = variance + np.einsum("ij,jk,ik->i", moved, covariance, moved)
        even_sd, pulled_sd = self._scaled(spread, which)
        total = even_sd**2 + pulled_sd**2
        weight = heavy_tail_weight((offset**2 + variance) / total, FREEDOM)
        spread.weights[which] = dict(zip(self.own_keys, weight.tolist(), strict=True))
        for scale, sd, unit in ((spread.scale, even_sd, self.even), (spread.uneven, pulled_sd, self.pulled)):
            share = sd**2 / total
            square = weight * (share**2 * (offset**2 + variance) + (1.0 - share) * sd**2 / weight)
            for group in np.unique(self.group):
                mine = (self.group == group) & (unit > 0.0)
                if np.any(mine):
                    values = np.sqrt(square[mine]) / unit[mine]
                    learned = learned_variance(1.0, OFFSETS_WORTH, values, np.zeros(len(values)))
                    scale[which, group] = float(np.sqrt(learned))

    def chi(self, step: Floats, cone: int) -> float:
        """Mean squared residual of a cone's rows in units of their expected variance."""
        mine = self.cone == cone
        if not np.any(mine):
            return float("nan")
        left = (self.value - self.slope @ step)[mine]
        return float(left @ np.linalg.solve(self.total[np.ix_(mine, mine)], left) / mine.sum())


def _pull(pulls: list[Pull] | None, cone: int, mode: int, which: int) -> float:
    if pulls is None:
        return 0.0
    return _at(pulls[cone].frequency if which == 0 else pulls[cone].loss, mode)


def _at(values: Floats, mode: int) -> float:
    """One mode's value, 0 beyond the last."""
    return float(values[mode]) if mode < len(values) else 0.0


def _weighings(observed: CampaignObserved, unknowns: Unknowns) -> list[tuple[Floats, float, float]]:
    """Gradient, residual and sd of ln mass, of each wall that was gauged, and of what coupons rang."""
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


def _prints(observed: CampaignObserved) -> list[str]:
    return [cone.key for cone in observed.cones] + [coupon.key for coupon in observed.coupons]


def _learn(observed: CampaignObserved, prior: Parameters, solved: _Solved) -> tuple[float, float]:
    """Print scatter of moduli and loss factor, pooled over the campaign."""
    learned = []
    for figure, sd in (("modulus", PRINT_SCATTER), ("loss_factor", LOSS_SCATTER)):
        places = [prior.index[("print", key, figure)] for key in _prints(observed)]
        values, variances = solved.values[places], np.diag(solved.covariance)[places]
        learned.append(float(np.sqrt(learned_variance(sd, SCATTER_WORTH, values, variances))))
    return learned[0], learned[1]


def _with_scatter(prior: Parameters, observed: CampaignObserved, scatter: float, loss_scatter: float) -> Parameters:
    sd = prior.sd.copy()
    for key in _prints(observed):
        sd[prior.index[("print", key, "modulus")]] = scatter
        sd[prior.index[("print", key, "loss_factor")]] = loss_scatter
    return replace(prior, sd=sd)
