"""Quadrature points on a meridian polygon: places, directions, weights and hat functions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frusta.cone.air_mesh import AirMesh

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class ScreenPoints:
    """Points of a meridian polygon, SI or dimensionless alike.

    Parameters
    ----------
    parameter : ndarray, shape (q,)
        Meridian parameter u.
    radius, height : ndarray, shape (q,)
        Place.
    tangent_r, tangent_z : ndarray, shape (q,)
        Unit tangent from neck to rim. The unit normal is (−tangent_z, tangent_r): to the listener.
    weight : ndarray, shape (q,)
        Quadrature weight along the meridian (without the factor r).
    element : ndarray of int, shape (q,)
        Element of the point; its hats are those of nodes ``element`` and ``element + 1``.
    fraction : ndarray, shape (q,)
        Place within the element, 0 … 1.
    length : ndarray, shape (q,)
        Length of that element.
    """

    parameter: FloatArray
    radius: FloatArray
    height: FloatArray
    tangent_r: FloatArray
    tangent_z: FloatArray
    weight: FloatArray
    element: IntArray
    fraction: FloatArray
    length: FloatArray

    @property
    def normal_r(self) -> FloatArray:
        """Radial part of the unit normal, shape (q,)."""
        return -self.tangent_z

    @property
    def normal_z(self) -> FloatArray:
        """Axial part of the unit normal, shape (q,)."""
        return self.tangent_r

    def hats(self, nodes: int) -> FloatArray:
        """Return the hat functions at the points, shape (q, nodes)."""
        out = np.zeros((self.element.size, nodes))
        row = np.arange(self.element.size)
        out[row, self.element] = 1.0 - self.fraction
        out[row, self.element + 1] = self.fraction
        return out

    def slopes(self, nodes: int) -> FloatArray:
        """Return the hats' derivatives along the meridian, shape (q, nodes)."""
        out = np.zeros((self.element.size, nodes))
        row = np.arange(self.element.size)
        out[row, self.element] = -1.0 / self.length
        out[row, self.element + 1] = 1.0 / self.length
        return out


def points_at(mesh: AirMesh, element: IntArray, fraction: FloatArray, weight: FloatArray, scale: float) -> ScreenPoints:
    """Return the points at given fractions of given elements; lengths are divided by ``scale``.

    ``weight`` is on the unit interval and is multiplied by the element's length.
    """
    radius, height = mesh.radius_m / scale, mesh.height_m / scale
    step_r, step_z = np.diff(radius)[element], np.diff(height)[element]
    length = np.hypot(step_r, step_z)
    return ScreenPoints(
        parameter=mesh.parameter[element] + fraction * np.diff(mesh.parameter)[element],
        radius=radius[element] + fraction * step_r,
        height=height[element] + fraction * step_z,
        tangent_r=step_r / length,
        tangent_z=step_z / length,
        weight=weight * length,
        element=element,
        fraction=fraction,
        length=length,
    )


def gauss_points(mesh: AirMesh, per_element: int, scale: float = 1.0) -> ScreenPoints:
    """Return Gauss–Legendre points on every element, neck to rim, lengths divided by ``scale``."""
    node, weight = np.polynomial.legendre.leggauss(per_element)
    elements = mesh.parameter.size - 1
    return points_at(
        mesh,
        np.repeat(np.arange(elements), per_element),
        np.tile(0.5 * (node + 1.0), elements),
        np.tile(0.5 * weight, elements),
        scale,
    )
