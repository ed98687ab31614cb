"""Sound off a cone, free or in a baffle: on the axis, far away, and the power radiated.

All rows are in the basis of the air's operator; the exponent is ``e^{jωt}``. Pressure = row @ unknowns.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from frusta.cone.air import ScreenAir
from frusta.cone.baffle import BaffledAir, baffled_far_rows, front_axis_rows
from frusta.cone.double_layer import double_layer_axis_rows, double_layer_far_rows
from frusta.cone.screen_operator import azimuth_factor

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]


def axis_rows(air: ScreenAir, wavenumber: complex | FloatArray | ComplexArray, height_m: float) -> ComplexArray:
    """Return the rows of pressure on the axis, shape (*wavenumber.shape, unknowns).

    Parameters
    ----------
    air : ScreenAir or BaffledAir
        On the axis orders above 0 are silent: their rows are zero.
    wavenumber : complex or ndarray
        k, 1/m, complex allowed.
    height_m : float
        z of the place, in the mesh's own height (microphone: height of the rim + distance).
    """
    if isinstance(air, BaffledAir):
        return front_axis_rows(air, wavenumber, height_m)
    return double_layer_axis_rows(air, wavenumber, height_m)


def far_rows(air: ScreenAir, wavenumber: complex, angle_rad: FloatArray) -> ComplexArray:
    """Return the rows of the far field F, ``p → F(θ) cos(nφ) e^{-jkr}/r``, shape (angles, unknowns).

    Parameters
    ----------
    air : ScreenAir or BaffledAir
    wavenumber : complex
        k, 1/m.
    angle_rad : ndarray, shape (angles,)
        From the axis on the listener's side, 0 … π. r counts from the origin of the mesh's heights.
    """
    if isinstance(air, BaffledAir):
        return baffled_far_rows(air, wavenumber, angle_rad)
    return double_layer_far_rows(air, wavenumber, angle_rad)


def far_power(
    air: ScreenAir,
    wavenumber: float,
    jump: ComplexArray,
    impedance_pa_s_m: float,
    angles: int = 128,
) -> float:
    """Return the power in the far field, W, for a pressure jump (peak values, Pa).

    Parameters
    ----------
    air : ScreenAir
    wavenumber : float
        k, 1/m, real.
    jump : ndarray, shape (unknowns,)
        μ.
    impedance_pa_s_m : float
        ρc.
    angles : int
        Gauss–Legendre points in cos θ.
    """
    cosine, weight = np.polynomial.legendre.leggauss(angles)
    field = far_rows(air, wavenumber, np.arccos(cosine)) @ jump
    intensity = np.abs(field) ** 2 / (2.0 * impedance_pa_s_m)
    return float(azimuth_factor(air.order) * np.sum(weight * intensity))
