"""A second opinion: what the plastic would be if the walls were built of beads, and whether the recordings allow that.

A wall of two or three lines running round the cone may hold together side by side no better than layer to layer
(`frusta.cone.beads`). The first fit takes every layer for one piece. The campaign is fitted again under the other
hypothesis, the same modes and priors, and both are weighed by their evidence; if the second is worth anything, what is
told of a material is the mixture of both.
"""

from __future__ import annotations

import math
from copy import deepcopy
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from frusta.errors import ParameterError
from frusta.material.assignment import Assigned
from frusta.material.estimate import MaterialEstimate, coordinates_map
from frusta.material.evidence import Weighed, weigh
from frusta.material.forward import Computed, Unknowns, computed_modes
from frusta.material.knowledge import COORDINATES
from frusta.material.observations import CampaignObserved
from frusta.material.residuals import Residuals, residuals_of
from frusta.material.solve import LONGEST_STEP, MARGIN_HZ, Fit, solved_step, stray_pulls

Floats = NDArray[np.float64]

MOST_STEPS, SETTLED = 5, 0.3
"""Steps of the second fit, and the largest, in posterior standard deviations, that ends it: 0.3 moves no odds."""
HOPELESS_AT, HOPELESS = 2, 15.0
"""Step at which no further one is made if the log odds against the hypothesis are as large as this."""
LEARNING_FROM = 2
"""Step from which scales and weights are learned anew."""
NEGLIGIBLE = 0.01
"""Probability below which the second hypothesis is not spoken of."""
BETTER = 0.9
"""Probability above which one hypothesis is said to fit better than the other."""
HIGHER = 1.08
"""How much higher modes are computed than for the first fit: they move when the law changes."""


@dataclass(frozen=True)
class SecondOpinion:
    """A campaign fitted as if its walls were built of beads.

    Parameters
    ----------
    materials : frozenset of str
        Those of the cones.
    log_odds : float
        ln of its evidence over the first fit's.
    first, second : Weighed
        The two fits.
    """

    materials: frozenset[str]
    log_odds: float
    first: Weighed
    second: Weighed

    @property
    def probability(self) -> float:
        """Of the second hypothesis, if both were as likely beforehand."""
        return 1.0 / (1.0 + math.exp(min(max(-self.log_odds, -500.0), 500.0)))


def second_opinion(observed: CampaignObserved, fit: Fit) -> SecondOpinion | None:
    """Return the fit of a campaign under the second hypothesis, or None where it cannot be computed.

    Parameters
    ----------
    observed : CampaignObserved
    fit : Fit
        Under the first.
    """
    if not observed.cones:
        return None
    prior = replace(fit.prior, beads=frozenset(cone.material for cone in observed.cones))
    strays = stray_pulls(observed, fit.computed, fit.assigned)
    spread = deepcopy(fit.spread)
    unknowns = Unknowns(prior, _started(observed, fit))
    try:
        for step in range(MOST_STEPS):
            computed = _computed(observed, unknowns)
            pairs = _within(fit.assigned, computed)
            rows = residuals_of(observed, computed, pairs, len(prior))
            solved = solved_step(
                observed, prior, unknowns, rows, spread, fit.pulls, strays, None, step >= LEARNING_FROM
            )
            moved = solved.values - unknowns.values
            within = float(np.max(np.abs(moved) / np.sqrt(np.diag(solved.covariance))))
            last = within < SETTLED or step == MOST_STEPS - 1
            if last or step == HOPELESS_AT:
                first_rows = _first_rows(observed, fit, pairs)
                first = weigh(observed, fit.prior, fit.unknowns, first_rows, fit.spread, fit.pulls, strays, 1)
                second = weigh(observed, prior, unknowns, rows, spread, fit.pulls, strays)
                odds = second.log_evidence - first.log_evidence
                if last or odds < -HOPELESS:
                    return SecondOpinion(prior.beads, odds, first, second)
            share = min(1.0, LONGEST_STEP / float(np.max(np.abs(moved) / prior.sd)))
            unknowns = Unknowns(prior, np.maximum(unknowns.values + share * moved, prior.low))
    except ParameterError:
        return None
    return None


def _started(observed: CampaignObserved, fit: Fit) -> Floats:
    """The first fit's values, turned so that the wall is as stiff along the meridian as before.

    At a slope β the compliance along the meridian is c⁴/E_r + s⁴/E_z + c²s²(1/G − 2ν_zr/E_z), c = cos β, s = sin β; the
    radial modulus changes from the hoop's to the axial one, and shear modulus and Poisson's ratio make up for it.
    """
    values = fit.unknowns.values.copy()
    drawn = [observed.profiles[cone.profile] for cone in observed.cones]
    rise = np.array([[p.depth_m, p.rim_radius_m - p.neck_radius_m] for p in drawn])
    upright = float(np.mean(rise[:, 0] ** 2 / np.sum(rise**2, axis=1)))  # sin² of the slope
    for material in {cone.material for cone in observed.cones}:
        place = fit.prior.names("material", material)
        axial, shear = (math.exp(values[place[name]]) for name in ("axial_ratio", "shear_ratio"))
        compliance = 1.0 / shear + (1.0 - upright) / upright * (1.0 - 1.0 / axial)
        values[place["shear_ratio"]] = -math.log(max(compliance, 0.5 / shear))
        plane, across = values[place["poisson_plane"]], values[place["poisson_axial"]]
        values[place["poisson_plane"]] = (1.0 - upright) * plane + upright * across / axial
    return values


def _computed(observed: CampaignObserved, unknowns: Unknowns) -> dict[str, list[Computed]]:
    def high(key: str) -> float:
        cone = next(c for c in observed.cones if c.key == key)
        return HIGHER * MARGIN_HZ * max(float(s.modes.frequency_hz.max()) for s in cone.seatings)

    return {cone.key: computed_modes(observed, cone, unknowns, high(cone.key)) for cone in observed.cones}


def _within(assigned: dict[str, list[Assigned]], computed: dict[str, list[Computed]]) -> dict[str, list[Assigned]]:
    """The pairs of the first fit whose modes the second one has, too."""
    kept = {}
    for key, seats in assigned.items():
        there = [a.computed < len(c.frequency_hz) for a, c in zip(seats, computed[key], strict=True)]
        kept[key] = [Assigned(a.computed[t], a.recorded[t], a.strays) for a, t in zip(seats, there, strict=True)]
    return kept


def _first_rows(observed: CampaignObserved, fit: Fit, pairs: dict[str, list[Assigned]]) -> Residuals:
    if all(
        len(a.computed) == len(p.computed) for key in pairs for a, p in zip(fit.assigned[key], pairs[key], strict=True)
    ):
        return fit.residuals
    return residuals_of(observed, fit.computed, pairs, len(fit.prior))


def mixed(fit: Fit, opinion: SecondOpinion | None) -> Fit:
    """Return the fit with value and covariance of both hypotheses' mixture, or as it was where the second is unlikely.

    Parameters
    ----------
    fit : Fit
        Under the first hypothesis.
    opinion : SecondOpinion or None

    Notes
    -----
    First and second moment of the mixture of two normal distributions.
    """
    if opinion is None or opinion.probability < NEGLIGIBLE:
        return fit
    share = opinion.probability
    apart = opinion.second.values - fit.unknowns.values
    covariance = (1.0 - share) * fit.covariance + share * opinion.second.covariance
    covariance += share * (1.0 - share) * np.outer(apart, apart)
    return replace(fit, unknowns=Unknowns(fit.prior, fit.unknowns.values + share * apart), covariance=covariance)


def doubted(
    estimates: dict[str, MaterialEstimate], fit: Fit, opinion: SecondOpinion | None
) -> dict[str, MaterialEstimate]:
    """Return estimates with what the second hypothesis would make of each material among their notes."""
    if opinion is None or opinion.probability < NEGLIGIBLE:
        return estimates
    return {
        key: replace(estimate, notes=(*estimate.notes, _note(fit, key, opinion)))
        if key in opinion.materials
        else estimate
        for key, estimate in estimates.items()
    }


def _note(fit: Fit, material: str, opinion: SecondOpinion) -> str:
    told = coordinates_map(fit.prior, material) @ opinion.second.values
    hoop, shear, axial = (
        1e-9 * math.exp(told[COORDINATES.index(name)]) for name in ("hoop_pa", "layer_shear_pa", "axial_pa")
    )
    share = opinion.probability
    how = "better than" if share > BETTER else "as well as" if share > 1.0 - BETTER else "less well than"
    return (
        "if the lines of its wall hold together side by side no better than layer to layer (a wall built of beads), "
        f"its hoop modulus is {hoop:.2f} GPa, its layer shear modulus (layers that slide in and out) {shear:.2f} GPa "
        f"and its axial modulus {axial:.2f} GPa; the recordings fit that {how} a wall whose layers are whole "
        f"(probability {100.0 * share:.0f} %), and value and u are those of both together"
    )
