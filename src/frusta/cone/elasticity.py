"""Elasticity of printed plastic: alike in every direction of the layer, different across the layers."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from frusta.errors import ParameterError

Floats = NDArray[np.float64]

ORTHOTROPIC = ("rr", "tt", "zz", "rt", "rz", "tz", "g_tz", "g_rz", "g_rt")
"""The nine constants of a body that is orthotropic in cylindrical axes: six of C, three shear moduli."""

TRANSVERSE = ("c11", "c12", "c13", "c33", "c44")
"""The five constants of a body whose axis of isotropy is z; every stiffness matrix is linear in them."""

TRANSVERSE_TO_ORTHOTROPIC: Floats = np.array(
    [
        [1.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.5],  # c11; the in-plane shear modulus is (c11 - c12)/2
        [0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, -0.5],
        [0.0, 0.0, 0.0, 0.0, 1.0, 1.0, 0.0, 0.0, 0.0],
        [0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 1.0, 0.0],
    ]
)


@dataclass(frozen=True)
class Elastic:
    """A transversely isotropic solid; the print axis z is its axis.

    Parameters
    ----------
    hoop_pa : float
        Young's modulus within the layers (along the hoop of a cone printed upright), Pa.
    axial_pa : float
        Young's modulus across the layers, Pa.
    layer_shear_pa : float
        Shear modulus between layers, Pa.
    poisson_plane : float
        Within the layer: contraction along one direction per stretch along the other.
    poisson_axial : float
        Contraction within the layer per stretch across the layers (−ε_r/ε_z under stress along z).
    density_kg_m3 : float
    loss_factor : float
        Of all five constants alike, constant with frequency.

    Raises
    ------
    ParameterError
        If a number is not finite or positive, or the solid would gain energy when strained.

    References
    ----------
    S. G. Lekhnitskii, Theory of Elasticity of an Anisotropic Body (1981), chapter 1.
    """

    combination: ClassVar[Floats] = TRANSVERSE_TO_ORTHOTROPIC
    """What each of the solid's constants is made of, in terms of `ORTHOTROPIC`."""

    hoop_pa: float
    axial_pa: float
    layer_shear_pa: float
    poisson_plane: float
    poisson_axial: float
    density_kg_m3: float
    loss_factor: float = 0.0

    def __post_init__(self) -> None:
        for field in fields(self):
            if not math.isfinite(getattr(self, field.name)):
                raise ParameterError(f"{field.name} must be a finite number (got {getattr(self, field.name)})")
        for name in ("hoop_pa", "axial_pa", "layer_shear_pa", "density_kg_m3"):
            if getattr(self, name) <= 0.0:
                raise ParameterError(f"{name} must be positive (got {getattr(self, name):g})")
        if self.loss_factor < 0.0:
            raise ParameterError(f"loss_factor must not be negative (got {self.loss_factor:g})")
        self._conserve()

    def _conserve(self) -> None:
        if abs(self.poisson_plane) >= 1.0 or self._dilation <= 0.0:
            raise ParameterError(
                "the Poisson ratios must keep the strain energy positive: |poisson_plane| < 1 and "
                "1 - poisson_plane - 2·poisson_axial²·hoop_pa/axial_pa > 0 "
                f"(got poisson_plane {self.poisson_plane:g}, the other sum {self._dilation:.3g}); lower them"
            )

    @classmethod
    def isotropic(cls, modulus_pa: float, poisson: float, density_kg_m3: float, loss_factor: float = 0.0) -> Elastic:
        """Return the solid that is alike in every direction."""
        shear = modulus_pa / (2.0 * (1.0 + poisson))
        return cls(modulus_pa, modulus_pa, shear, poisson, poisson, density_kg_m3, loss_factor)

    @property
    def _dilation(self) -> float:
        return 1.0 - self.poisson_plane - 2.0 * self.poisson_axial**2 * self.hoop_pa / self.axial_pa

    def constants_pa(self) -> Floats:
        """Return the five constants c11, c12, c13, c33, c44 of `TRANSVERSE`, Pa (shape (5,))."""
        ratio = self.hoop_pa / self.axial_pa * self.poisson_axial**2
        plane, common = self.poisson_plane, self.hoop_pa / self._dilation
        c11 = common * (1.0 - ratio) / (1.0 + plane)
        c12 = common * (plane + ratio) / (1.0 + plane)
        c13 = common * self.poisson_axial
        c33 = self.axial_pa * (1.0 - plane) / self._dilation
        return np.array([c11, c12, c13, c33, self.layer_shear_pa])

    def constants_gradient(self) -> Floats:
        """Return the derivatives of the five constants, shape (5 constants, 5 parameters).

        The parameters are hoop_pa, axial_pa, layer_shear_pa, poisson_plane, poisson_axial, in the
        order of the fields. From dC = −C dS C, exact.
        """
        c11, c12, c13, c33, _ = self.constants_pa()
        normal = np.array([[c11, c12, c13], [c12, c11, c13], [c13, c13, c33]])
        hoop, axial = self.hoop_pa, self.axial_pa
        plane, across = self.poisson_plane, self.poisson_axial
        compliance = np.zeros((5, 3, 3))
        compliance[0, :2, :2] = np.array([[-1.0, plane], [plane, -1.0]]) / hoop**2
        compliance[1] = np.array([[0.0, 0.0, across], [0.0, 0.0, across], [across, across, -1.0]]) / axial**2
        compliance[3, 0, 1] = compliance[3, 1, 0] = -1.0 / hoop
        compliance[4, :2, 2] = compliance[4, 2, :2] = -1.0 / axial
        change = -normal @ compliance @ normal
        gradient = np.zeros((5, 5))
        gradient[0], gradient[1] = change[:, 0, 0], change[:, 0, 1]
        gradient[2], gradient[3] = change[:, 0, 2], change[:, 2, 2]
        gradient[4, 2] = 1.0
        return gradient
