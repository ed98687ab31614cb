"""The double layer: pressure off a thin shell from its pressure jump alone."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import jv, jvp

from frusta.cone.air import ScreenAir

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]


def _hats(air: ScreenAir) -> FloatArray:
    """Hats times r dl at the quadrature points, shape (q, unknowns)."""
    q = air.points
    return np.asarray((q.hats(air.mesh.parameter.size) * (q.weight * q.radius)[:, None])[:, air.unknowns])


def double_layer_axis_rows(
    air: ScreenAir, wavenumber: complex | FloatArray | ComplexArray, height_m: float
) -> ComplexArray:
    """Return the rows of pressure on the axis, n = 0, shape (*wavenumber.shape, unknowns).

    Parameters
    ----------
    air : ScreenAir
        Of order 0; on the axis higher orders are silent, and their rows are zero.
    wavenumber : complex or ndarray
        k, 1/m, complex allowed.
    height_m : float
        z of the place, in the mesh's own height (microphone: height of the rim + distance).
    """
    k = np.asarray(wavenumber, dtype=np.complex128)
    if air.order != 0:
        return np.zeros((*k.shape, air.unknowns.stop - air.unknowns.start), dtype=np.complex128)
    q = air.points
    gap = q.height - height_m
    distance = np.hypot(q.radius, gap)
    projection = q.normal_r * q.radius + q.normal_z * gap
    phase = 1j * k[..., None] * distance
    slope = -(1.0 + phase) * np.exp(-phase) / (4.0 * np.pi * distance**3)
    return np.asarray((2.0 * np.pi * slope * projection) @ _hats(air))


def place_rows(
    air: ScreenAir, wavenumber: complex, radius_m: float, height_m: float, azimuth_points: int = 96
) -> ComplexArray:
    """Return the row of pressure anywhere off the shell, at azimuth 0 (times cos nθ elsewhere).

    Parameters
    ----------
    air : ScreenAir
    wavenumber : complex
        k, 1/m.
    radius_m, height_m : float
        The place.
    azimuth_points : int
        Trapezoidal points around a ring.

    Returns
    -------
    ndarray, shape (unknowns,)
    """
    q = air.points
    angle = 2.0 * np.pi * np.arange(azimuth_points) / azimuth_points
    step_x = q.radius[:, None] * np.cos(angle) - radius_m
    step_y = q.radius[:, None] * np.sin(angle)
    gap = (q.height - height_m)[:, None]
    distance = np.sqrt(step_x**2 + step_y**2 + gap**2)
    projection = q.normal_r[:, None] * (step_x * np.cos(angle) + step_y * np.sin(angle)) + q.normal_z[:, None] * gap
    phase = 1j * wavenumber * distance
    slope = -(1.0 + phase) * np.exp(-phase) / (4.0 * np.pi * distance**3)
    ring = (slope * projection) @ np.cos(air.order * angle) * (2.0 * np.pi / azimuth_points)
    return np.asarray(ring @ _hats(air))


def double_layer_far_rows(
    air: ScreenAir, wavenumber: complex, angle_rad: FloatArray, *, image: bool = False
) -> ComplexArray:
    """Return the rows of the far field F, ``p → F(θ) cos(nφ) e^{-jkr}/r``, shape (angles, unknowns).

    Parameters
    ----------
    air : ScreenAir
    wavenumber : complex
        k, 1/m.
    angle_rad : ndarray, shape (angles,)
        From the axis on the listener's side, 0 … π. r counts from the origin of the mesh's heights.
    image : bool
        Of the shell's mirror image in the plane of its rim instead.
    """
    q = air.points
    n = air.order
    sine, cosine = np.sin(angle_rad)[:, None], np.cos(angle_rad)[:, None]
    argument = wavenumber * sine * q.radius
    height = 2.0 * air.mesh.height_m[-1] - q.height if image else q.height
    normal_z = -q.normal_z if image else q.normal_z
    along = normal_z * cosine * 1j**n * jv(n, argument)
    across = q.normal_r * sine * 1j ** (n - 1) * jvp(n, argument)
    wave = 1j * wavenumber * np.exp(1j * wavenumber * cosine * height) / (4.0 * np.pi)
    return np.asarray((2.0 * np.pi * wave * (along + across)) @ _hats(air))
