"""What a campaign's recordings taught: its materials, the joint at the neck, and the shapes as printed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

from frusta.errors import ParameterError
from frusta.material.knowledge import MaterialKnowledge

PUSH_FIT_COMPLIANCE_M_N = 5e-8
"""Scale of a push fit that nobody measured: 20 N/µm, from memory; half of a normal distribution round rigid."""


@dataclass(frozen=True)
class JointKnowledge:
    """The joint between coil and neck, over the seatings of a rig.

    Parameters
    ----------
    compliance_m_n, compliance_u_m_n : float
        Mean and standard deviation over seatings of what one more seating may have, m/N; 0 is rigid.
    loss_factor : float
        Of the joint's stiffness.
    assumed : bool
        Whether no recording told it.
    """

    compliance_m_n: float = 0.0
    compliance_u_m_n: float = PUSH_FIT_COMPLIANCE_M_N
    loss_factor: float = 0.0
    assumed: bool = True

    def __post_init__(self) -> None:
        for name in ("compliance_m_n", "compliance_u_m_n", "loss_factor"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value >= 0.0):
                raise ParameterError(f"{name} of the joint must be a finite number, 0 or more (got {value})")


@dataclass(frozen=True)
class ShapeKnowledge:
    """How a printed cone differs from its drawing: means and standard deviations; the sd are assumed by default.

    Parameters
    ----------
    depth_m, bow_m, taper : float
        Printed less drawn.
    depth_u_m, bow_u_m, taper_u : float
    """

    depth_m: float = 0.0
    bow_m: float = 0.0
    taper: float = 0.0
    depth_u_m: float = 1.0e-4
    bow_u_m: float = 0.7e-4
    taper_u: float = 0.02

    def __post_init__(self) -> None:
        if not all(math.isfinite(value) for value in vars(self).values()):
            raise ParameterError("the differences between print and drawing must be finite numbers")
        if min(self.depth_u_m, self.bow_u_m, self.taper_u) < 0.0:
            raise ParameterError("standard deviations of a shape must not be negative")


@dataclass(frozen=True)
class Learned:
    """Everything a forecast takes from a campaign's estimates.

    Parameters
    ----------
    materials : mapping of str to MaterialKnowledge
        By group: ``material`` or ``material/recipe``.
    joint : JointKnowledge
    shapes : mapping of str to ShapeKnowledge
        By profile, of those recorded.
    """

    materials: Mapping[str, MaterialKnowledge] = field(default_factory=dict)
    joint: JointKnowledge = field(default_factory=JointKnowledge)
    shapes: Mapping[str, ShapeKnowledge] = field(default_factory=dict)

    def to_json(self) -> dict[str, Any]:
        """Return plain numbers and words, for `from_json`."""
        return {
            "materials": {key: known.to_json() for key, known in self.materials.items()},
            "joint": asdict(self.joint),
            "shapes": {key: asdict(shape) for key, shape in self.shapes.items()},
        }

    @classmethod
    def from_json(cls, stored: Mapping[str, Any]) -> Learned:
        """Return what `to_json` stored.

        Raises
        ------
        ParameterError
            If something is missing.
        """
        try:
            return cls(
                {key: MaterialKnowledge.from_json(known) for key, known in stored["materials"].items()},
                JointKnowledge(**stored["joint"]),
                {key: ShapeKnowledge(**shape) for key, shape in stored["shapes"].items()},
            )
        except (KeyError, TypeError, AttributeError) as error:
            raise ParameterError(f"stored estimates must be complete ({error}); estimate anew") from error
