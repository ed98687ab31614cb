"""What a recorded mode is off the computed one besides noise: offsets with small priors, eliminated from the rows.

Three kinds add up. What the model lacks for a mode alike in every cone of a profile. What an even wall still differs
from the model, print by print. And the pull of bell modes on that mode (`frusta.material.bell_pull`): half of its
variance is common to all prints of a material and profile, for slicer and plastic make the same wall uneven in the same
way each time, half is a print's own. The pull has heavy tails, so that one mode that a bell mode has pulled far does
not drag the moduli along.

How uneven a material's walls are nobody knows beforehand: the fit learns it (expectation and maximisation), for the
lowest bell modes and for all others apart. It starts from walls far worse than usual, for a start from good ones stays
there: moduli swallow what the walls did, the offsets that are left look small, and the walls pass for even.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from frusta.material.bell_pull import FAMILIES, Pull, StrayPull
from frusta.material.observations import CampaignObserved
from frusta.material.residuals import Residuals
from frusta.material.scatter import heavy_tail_weight, learned_variance

Floats = NDArray[np.float64]

MODEL_FREQUENCY, MODEL_LOSS = 1.5e-4, 3e-3
"""What the model lacks alike in every cone of a profile (1 sd); one row of elements more at higher modes."""
MODEL_FIFTH, MODEL_POWER = 3e-4, 2.7
PRINT_FREQUENCY, PRINT_LOSS = 1.5e-4, 3e-3
"""What an even wall still differs from the model, print by print."""
FREEDOM = 4.0
"""Of Student's t, which the offsets follow."""
SEATED = 0.3
"""Share of a print's offset that differs from seating to seating: a joint that gives moves modes past bell modes."""
OFFSETS_WORTH = 6.0
"""How many offsets the prior scale of an even wall's, or of an ordinary unevenness, is worth."""
FIRST_UNEVEN = 2.0
"""Scale of the pulls from which learning starts."""
ALIKE = 0.5
"""Share of a pull's variance that all prints of a material and profile have in common."""


class Spread:
    """Variances that change from step to step: heavy-tailed weights, and the scales of offsets.

    The scales are a material's own: one filament strings and sags into an uneven wall where another does not.

    Attributes
    ----------
    scale : ndarray (2, materials)
        Of what an even wall differs, for ln f and ln η.
    uneven : ndarray (2, FAMILIES, materials)
        Of the pulls of bell modes.
    weights, wall_weights : list of dict
        For ln f and ln η: weights of the offsets of (cone, mode) and of (kind, mode).
    kind : ndarray of int (cones,)
        Which cones share material and profile.
    """

    def __init__(self, observed: CampaignObserved) -> None:
        keys = list(observed.materials)
        kinds = list(dict.fromkeys((cone.material, cone.profile) for cone in observed.cones))
        self.group = np.array([keys.index(cone.material) for cone in observed.cones], dtype=np.intp)
        self.kind = np.array([kinds.index((c.material, c.profile)) for c in observed.cones], dtype=np.intp)
        self.scale = np.ones((2, len(keys)))
        self.uneven = np.full((2, FAMILIES, len(keys)), FIRST_UNEVEN)
        self.weights: list[dict[tuple[int, int], float]] = [{}, {}]
        self.wall_weights: list[dict[tuple[int, int], float]] = [{}, {}]


def model_frequency_sd(mode: NDArray[np.intp]) -> Floats:
    """Return what the model lacks of ln f by number of the mode, from 0."""
    fine = MODEL_FIFTH * ((mode + 1.0) / 5.0) ** MODEL_POWER
    return np.asarray(np.hypot(MODEL_FREQUENCY, fine))


class Block:
    """The rows of ln f (0) or ln η (1), the offsets eliminated.

    Parameters
    ----------
    observed : CampaignObserved
    rows : Residuals
    which : {0, 1}
    spread : Spread
        As learned so far.
    pulls : list of Pull or None
        Of bell modes, one a cone.
    strays : list of StrayPull or None
        What strays betray, one a cone.
    tolerance : (float, float) or None
        More doubt (ln f, ln η) in the first steps of a fit.
    """

    def __init__(
        self,
        observed: CampaignObserved,
        rows: Residuals,
        which: int,
        spread: Spread,
        pulls: list[Pull] | None,
        strays: list[StrayPull] | None,
        tolerance: tuple[float, float] | None,
    ) -> None:
        self.value = rows.frequency if which == 0 else rows.loss
        if which == 0 and strays is not None:
            pushed = [_at(strays[i].push, m) for i, m in zip(rows.cone, rows.mode, strict=True)]
            self.value = self.value - np.array(pushed)
        self.slope = rows.frequency_slope if which == 0 else rows.loss_slope
        self.cone = rows.cone
        profiles = {key: i for i, key in enumerate(observed.profiles)}
        profile = np.array([profiles[observed.cones[i].profile] for i in rows.cone], dtype=np.intp)
        shared, shared_of = _kinds(profile, rows.mode)
        own, own_of = _kinds(rows.cone, rows.mode)
        walls, wall_of = _kinds(spread.kind[rows.cone], rows.mode)
        first_of = np.array([int(np.argmax(spread.kind == kind)) for kind in walls[0]], dtype=np.intp)
        self.own_keys = [(int(a), int(b)) for a, b in own.T]
        self.wall_keys = [(int(a), int(b)) for a, b in walls.T]
        self.group, self.wall_group = spread.group[own[0]], spread.group[first_of]
        even = PRINT_FREQUENCY if which == 0 else PRINT_LOSS
        self.even = np.array([np.hypot(even, _betrayed(strays, i, m, which)) for i, m in self.own_keys])
        self.pulled = np.sqrt(1.0 - ALIKE) * _foretold(pulls, own[0], own[1], which)
        self.walls = np.sqrt(ALIKE) * _foretold(pulls, first_of, walls[1], which)
        self.weight = np.array([spread.weights[which].get(key, 1.0) for key in self.own_keys])
        self.wall_weight = np.array([spread.wall_weights[which].get(key, 1.0) for key in self.wall_keys])
        even_sd, pulled_sd, walls_sd = self._scaled(spread, which)
        shared_variance = (model_frequency_sd(shared[1]) if which == 0 else np.full(shared.shape[1], MODEL_LOSS)) ** 2
        own_variance = (even_sd**2 + np.sum(pulled_sd**2, axis=0)) / self.weight
        self.variance = np.concatenate([shared_variance, own_variance, np.sum(walls_sd**2, axis=0) / self.wall_weight])
        self.shared_count = len(shared_variance)
        noise = rows.frequency_u if which == 0 else rows.loss_u
        if tolerance is not None:
            noise = np.hypot(noise, 0.25 * tolerance[which])
        seated = SEATED * np.sqrt(self.even**2 + np.sum(pulled_sd**2, axis=0))
        noise = np.hypot(noise, seated[own_of])
        self.design = np.zeros((len(self.value), len(self.variance)))
        places = (shared_of, self.shared_count + own_of, self.shared_count + len(own_variance) + wall_of)
        for place in places:
            self.design[np.arange(len(self.value)), place] = 1.0
        self.total = np.diag(noise**2) + (self.design * self.variance) @ self.design.T
        self.inverse = np.linalg.inv(self.total)
        weighed = self.inverse @ self.slope
        self.precision = self.slope.T @ weighed
        self.right = weighed.T @ self.value

    def _scaled(self, spread: Spread, which: int) -> tuple[Floats, Floats, Floats]:
        """1 sd of what an even wall differs and of the pulls that are a print's own or its kind's."""
        uneven = spread.uneven[which]
        even = spread.scale[which][self.group] * self.even
        return even, uneven[:, self.group] * self.pulled, uneven[:, self.wall_group] * self.walls

    def learn(self, step: Floats, covariance: Floats, spread: Spread, which: int) -> None:
        """Update weights and scales from the offsets as they now look.

        Parameters
        ----------
        step : ndarray (unknowns,)
            Of the unknowns from where the rows were linearised.
        covariance : ndarray (unknowns, unknowns)
        spread : Spread
            Changed in place.
        which : {0, 1}
        """
        square = self._expected_squares(step, covariance)
        own, walls = square[: len(self.own_keys)], square[len(self.own_keys) :]
        even_sd, pulled_sd, walls_sd = self._scaled(spread, which)
        own_total = even_sd**2 + np.sum(pulled_sd**2, axis=0)
        walls_total = np.sum(walls_sd**2, axis=0)
        weight, wall_weight = _weights(own, own_total), _weights(walls, walls_total)
        spread.weights[which] = dict(zip(self.own_keys, weight.tolist(), strict=True))
        spread.wall_weights[which] = dict(zip(self.wall_keys, wall_weight.tolist(), strict=True))
        parts = [(_part(own, weight, even_sd, own_total), self.even, self.group)]
        _learn_scale(spread.scale[which], parts)
        for family in range(FAMILIES):
            parts = [
                (_part(own, weight, pulled_sd[family], own_total), self.pulled[family], self.group),
                (_part(walls, wall_weight, walls_sd[family], walls_total), self.walls[family], self.wall_group),
            ]
            _learn_scale(spread.uneven[which, family], parts)

    def _expected_squares(self, step: Floats, covariance: Floats) -> Floats:
        """Expected squares of the offsets of prints and of kinds, given the rows."""
        left = self.value - self.slope @ step
        gain = ((self.variance[:, None] * self.design.T) @ self.inverse)[self.shared_count :]
        variance = self.variance[self.shared_count :]
        known = np.einsum("ij,ji->i", gain, self.design[:, self.shared_count :]) * variance
        moved = gain @ self.slope
        spread = np.einsum("ij,jk,ik->i", moved, covariance, moved)
        return np.asarray((gain @ left) ** 2 + variance - known + spread)

    def chi(self, step: Floats, cone: int) -> float:
        """Mean squared residual of a cone's rows in units of their expected variance."""
        mine = self.cone == cone
        if not np.any(mine):
            return float("nan")
        left = (self.value - self.slope @ step)[mine]
        return float(left @ np.linalg.solve(self.total[np.ix_(mine, mine)], left) / mine.sum())


def _kinds(first: NDArray[np.intp], second: NDArray[np.intp]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """The different pairs, shape (2, pairs), and which of them each row is."""
    pairs, which = np.unique(np.stack([first, second]), axis=1, return_inverse=True)
    return pairs, which.reshape(-1)


def _foretold(pulls: list[Pull] | None, cones: NDArray[np.intp], modes: NDArray[np.intp], which: int) -> Floats:
    """1 sd of the pull on modes of cones by family of bell modes, shape (FAMILIES, modes)."""
    found = np.zeros((FAMILIES, len(modes)))
    if pulls is not None:
        for place, (cone, mode) in enumerate(zip(cones, modes, strict=True)):
            values = pulls[cone].frequency if which == 0 else pulls[cone].loss
            if mode < values.shape[1]:
                found[:, place] = values[:, mode]
    return found


def _betrayed(strays: list[StrayPull] | None, cone: int, mode: int, which: int) -> float:
    if strays is None:
        return 0.0
    return _at(strays[cone].frequency if which == 0 else strays[cone].loss, mode)


def _at(values: Floats, mode: int) -> float:
    """One mode's value, 0 beyond the last."""
    return float(values[mode]) if mode < len(values) else 0.0


def _weights(square: Floats, total: Floats) -> Floats:
    """Heavy-tailed weights of offsets; 1 where there can be none."""
    there = total > 0.0
    return np.where(there, heavy_tail_weight(square / np.where(there, total, 1.0), FREEDOM), 1.0)


def _part(square: Floats, weight: Floats, sd: Floats, total: Floats) -> Floats:
    """Expected weighted square of one part, of variance sd², of offsets of variance total."""
    share = sd**2 / np.where(total > 0.0, total, 1.0)
    return np.asarray(weight * share**2 * square + (1.0 - share) * sd**2)


def _learn_scale(scale: Floats, parts: list[tuple[Floats, Floats, NDArray[np.intp]]]) -> None:
    """Set each material's scale from the squares of its offsets, each with its unit and its material."""
    for group in range(len(scale)):
        mine = [(of == group) & (unit > 0.0) for _, unit, of in parts]
        values = np.concatenate([np.sqrt(p[0][m]) / p[1][m] for p, m in zip(parts, mine, strict=True)])
        if len(values):
            scale[group] = float(np.sqrt(learned_variance(1.0, OFFSETS_WORTH, values, np.zeros(len(values)))))
