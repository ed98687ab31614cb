"""A wall built of beads that run round the cone: stiff along the hoop, alike and weaker across the beads."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from frusta.cone.elasticity import Elastic
from frusta.errors import ParameterError

Floats = NDArray[np.float64]

BEADS = ("c11", "c12", "c13", "c33", "g_across", "g_along")
"""The constants of a body built of beads: 1, 2 across them (r and z), 3 along; two shear moduli."""

BEADS_TO_ORTHOTROPIC: Floats = np.array(
    [  # rr, tt, zz, rt, rz, tz, g_tz, g_rz, g_rt
        [1.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        [0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0],
        [0.0, 0.0, 0.0, 1.0, 0.0, 1.0, 0.0, 0.0, 0.0],
        [0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0],
        [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 1.0],
    ]
)


@dataclass(frozen=True)
class BeadBuilt(Elastic):
    """A solid of parallel beads along the hoop: the second hypothesis of what a printed wall is.

    `Elastic` says that the lines of one layer are fused as if they were one piece, and only layers are bonded less
    well. Here a line is bonded to the line beside it no better than to the one above it. Both laws have the same
    named figures; in order 0, which is all that the axis hears, they differ in what happens across the wall: the
    radial modulus is the hoop modulus there and the axial modulus here.

    Parameters
    ----------
    hoop_pa : float
        Young's modulus along the beads, Pa.
    axial_pa : float
        Young's modulus across them, alike upwards (axially) and outwards (radially), Pa.
    layer_shear_pa : float
        Shear modulus in the section of the beads (rz), Pa: of layers that slide inwards and outwards over each
        other, as they do when a cone breathes. It is free, since beads packed in squares are not alike in all
        directions of their section. That of layers that slide along the hoop is `along_shear_pa`, which no
        breathing mode feels.
    poisson_plane : float
        Contraction outwards (and upwards) per stretch along the hoop.
    poisson_axial : float
        Contraction outwards per stretch upwards.
    density_kg_m3 : float
    loss_factor : float
        Of all constants alike, constant with frequency.

    Raises
    ------
    ParameterError
        If a number is not finite or positive, or the solid would gain energy when strained.

    References
    ----------
    J. F. Rodríguez, J. P. Thomas, J. E. Renaud, Rapid Prototyping Journal 9 (2003) 219 (abstract): the moduli of
    unidirectional deposits follow from their section, for which homogenisation agrees with measurement within 10 %.
    That the two directions across the beads are alike (their approach by strength of materials: modulus along
    (1 − ρ)E, across (1 − √ρ)E with ρ the share of voids) is from memory.
    """

    combination: ClassVar[Floats] = BEADS_TO_ORTHOTROPIC

    @classmethod
    def of(cls, solid: Elastic) -> BeadBuilt:
        """Return the solid of beads that has the same named figures."""
        return cls(**{field.name: getattr(solid, field.name) for field in fields(Elastic)})

    def _conserve(self) -> None:
        if abs(self.poisson_axial) >= 1.0 or self._dilation <= 0.0:
            raise ParameterError(
                "the Poisson ratios must keep the strain energy positive: |poisson_axial| < 1 and "
                "1 - poisson_axial - 2·poisson_plane²·axial_pa/hoop_pa > 0 "
                f"(got poisson_axial {self.poisson_axial:g}, the other sum {self._dilation:.3g}); lower them"
            )

    @property
    def _dilation(self) -> float:
        return 1.0 - self.poisson_axial - 2.0 * self.poisson_plane**2 * self.axial_pa / self.hoop_pa

    @property
    def along_shear_pa(self) -> float:
        """Shear modulus of beads that slide along each other, Pa: no figure of its own, but Huber's mean.

        √(E₁E₂)/(2(1 + √(ν₁₂ν₂₁))), exact for a solid that is alike in all directions (M. T. Huber 1923, from memory).
        """
        return math.sqrt(self.hoop_pa * self.axial_pa) / (2.0 * self._huber)

    @property
    def _huber(self) -> float:
        return 1.0 + self.poisson_plane * math.sqrt(self.axial_pa / self.hoop_pa)

    def _turned(self) -> Elastic:
        """The same normal stiffnesses with the beads' direction laid along z."""
        return Elastic(
            self.axial_pa, self.hoop_pa, self.layer_shear_pa, self.poisson_axial, self.poisson_plane, self.density_kg_m3
        )

    def constants_pa(self) -> Floats:
        """Return the six constants of `BEADS`, Pa (shape (6,))."""
        return np.append(self._turned().constants_pa(), self.along_shear_pa)

    def constants_gradient(self) -> Floats:
        """Return the derivatives of the six constants, shape (6 constants, 5 parameters).

        The parameters are hoop_pa, axial_pa, layer_shear_pa, poisson_plane, poisson_axial, in the
        order of the fields.
        """
        turned = self._turned().constants_gradient()
        gradient = np.zeros((6, 5))
        gradient[:5] = turned[:, [1, 0, 2, 4, 3]]
        ratio, shear = math.sqrt(self.axial_pa / self.hoop_pa), self.along_shear_pa
        lost = 0.5 * self.poisson_plane * ratio / self._huber
        gradient[5, 0] = shear * (0.5 + lost) / self.hoop_pa
        gradient[5, 1] = shear * (0.5 - lost) / self.axial_pa
        gradient[5, 3] = -shear * ratio / self._huber
        return gradient
