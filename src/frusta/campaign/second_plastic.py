"""Two materials under one name: whether the cones that an estimate left out are, by themselves, of another plastic."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from frusta.campaign.estimate_notes import listed
from frusta.errors import ParameterError
from frusta.material.estimate import MaterialEstimate
from frusta.material.infer import Inferred, infer
from frusta.material.observations import CampaignObserved, ConeObserved

APART = 0.08
"""|ln| of two hoop moduli that no scatter between prints explains: five times 1.5 %."""
SIGMAS = 2.6
"""Standard deviations of the difference; beyond them two moduli are not one."""


@dataclass(frozen=True)
class SecondPlastic:
    """The cones of a group that fit another plastic than the rest of it.

    Parameters
    ----------
    cones, others : tuple of str
        Those, and the ones that the estimate stands on.
    hoop_pa, hoop_u_pa : float
        Hoop modulus that those have by themselves.
    rest_pa : float
        Hoop modulus of the others.
    like : str or None
        Another group of the campaign whose modulus it is.
    """

    cones: tuple[str, ...]
    others: tuple[str, ...]
    hoop_pa: float
    hoop_u_pa: float
    rest_pa: float
    like: str | None

    @property
    def outnumbers(self) -> bool:
        """Whether no majority says which of the two the name belongs to."""
        return len(self.cones) >= len(self.others)

    def told(self) -> str:
        """Return it in words."""
        like = f" (as {self.like})" if self.like else ""
        return (
            f"two materials under one name: {listed(self.cones)} by themselves have a hoop modulus of "
            f"{1e-9 * self.hoop_pa:.2f} ± {1e-9 * self.hoop_u_pa:.2f} GPa{like}, and {listed(self.others)} one of "
            f"{1e-9 * self.rest_pa:.2f} GPa; give them different materials in specimens.csv"
        )


def second_plastics(observed: CampaignObserved, inferred: Inferred) -> dict[str, SecondPlastic]:
    """Return, by group, the cones that were left out and are of one other plastic by themselves.

    Parameters
    ----------
    observed : CampaignObserved
        All that was recorded.
    inferred : Inferred
        The fit that left cones out.
    """
    strangers = tuple(
        _quick(cone)
        for cone in observed.cones
        if cone.key in inferred.left_out
        and cone.material in inferred.estimates
        and cone.profile in inferred.observed.profiles  # else it is its drawing that is doubted
    )
    if not strangers:
        return {}
    groups = {cone.material for cone in strangers}
    shapes = {cone.profile for cone in strangers}
    alone = CampaignObserved(
        {key: given for key, given in observed.materials.items() if key in groups},
        {key: profile for key, profile in observed.profiles.items() if key in shapes},
        observed.rigs,
        strangers,
    )
    try:
        found = infer(alone)
    except ParameterError:
        return {}  # they are of no plastic in their profile: nothing more can be said
    second = {}
    for group, estimate in found.estimates.items():
        cones = tuple(c.key for c in strangers if c.material == group and c.key not in found.left_out)
        others = tuple(c.key for c in inferred.observed.cones if c.material == group)
        rest = inferred.estimates[group]
        if cones and others and not _one_plastic(estimate, rest):
            hoop, u = _hoop(estimate)
            like = _like(estimate, group, inferred.estimates)
            second[group] = SecondPlastic(cones, others, hoop, u * hoop, _hoop(rest)[0], like)
    return second


def _quick(cone: ConeObserved) -> ConeObserved:
    """The cone by its modes alone."""
    return replace(cone, seatings=tuple(replace(seating, response=None) for seating in cone.seatings))


def _hoop(estimate: MaterialEstimate) -> tuple[float, float]:
    """Hoop modulus, Pa, and its relative uncertainty."""
    known = estimate.knowledge
    return math.exp(float(known.mean[0])), known.standard_deviation("hoop_pa")


def _one_plastic(a: MaterialEstimate, b: MaterialEstimate) -> bool:
    (first, u), (second, v) = _hoop(a), _hoop(b)
    return abs(math.log(first / second)) < max(APART, SIGMAS * math.hypot(u, v))


def _like(estimate: MaterialEstimate, group: str, known: Mapping[str, MaterialEstimate]) -> str | None:
    """The only other group of this modulus."""
    alike = [key for key, other in known.items() if key != group and _one_plastic(estimate, other)]
    return alike[0] if len(alike) == 1 else None
