"""The hypersingular operator of a thin screen, Fourier order n, in weakly singular Galerkin form.

With μ the pressure jump over the screen (listener's side less the other), hats φ_i cos nθ on the meridian and
``G = e^{-jkR}/(4πR)``::

    A_ij(k) = ∫∫ [curl φ_i · curl φ_j − k² n·n' φ_i φ_j] G dS dS'

(Maue's regularisation, boundary terms vanish as φ = 0 on free edges), and ``A μ = jωρ ∫ φ v_n dS``.
Everything here is dimensionless: lengths over the largest radius.

References
----------
A. W. Maue, Z. Phys. 126 (1949) 601; J.-C. Nédélec, Comput. Methods Appl. Mech. Eng. 8 (1982) 61 (from memory);
the azimuth sums over rings are written out below.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frusta.cone.air_mesh import AirMesh
from frusta.cone.ring_kernel import azimuth_rule, ring_distances, static_rings
from frusta.cone.ring_series import dynamic_ring_series
from frusta.cone.screen_points import ScreenPoints, gauss_points, points_at
from frusta.cone.singular_pairs import corner_rule, same_element_rule

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_STATIC_POINTS = 4
_DYNAMIC_POINTS = 2


@dataclass(frozen=True)
class _Mirror:
    """Signs of the source's side: itself, or its image in the plane of the rim (a baffle)."""

    height: float  # factor on the source's height over the rim plane
    curl: float  # factor on curl φ'


_ITSELF = _Mirror(1.0, 1.0)
_IMAGE = _Mirror(-1.0, -1.0)


def azimuth_factor(order: int) -> float:
    """Return ∫cos² nθ dθ: 2π for n = 0, else π."""
    return 2.0 * np.pi if order == 0 else np.pi


def static_operator(mesh: AirMesh, order: int, *, image: bool = False) -> tuple[FloatArray, FloatArray]:
    """Return (curl part, normal part) with the static kernel, each (nodes, nodes).

    ``A(k) = curl − k²·normal`` for k → 0. With ``image`` the source is the mirror image of the mesh in the plane
    of its last node.
    """
    scale = mesh.scale_m
    nodes = mesh.parameter.size
    rim = mesh.height_m[-1] / scale
    mirror = _IMAGE if image else _ITSELF
    points = gauss_points(mesh, _STATIC_POINTS, scale)
    kernel = _static_between(points, points, rim, mirror, order, outer=True)
    gap = np.abs(points.element[:, None] - points.element[None, :])
    last = nodes - 2
    if image:
        own = (points.element[:, None] == last) & (points.element[None, :] == last)
    else:
        own = gap <= 1
    kernel = np.where(own, 0.0, kernel)
    curl, normal = _contract(points, kernel, nodes, order, mirror)
    special = _image_pairs(last) if image else _touching_pairs(nodes - 1)
    for element, x, source, y, weight in special:
        _add_pairs(mesh, (element, x, source, y, weight), order, mirror, (curl, normal))
    factor = azimuth_factor(order)
    return factor * curl, factor * normal


def dynamic_operator(
    mesh: AirMesh, orders: int, wavenumbers: FloatArray, azimuth_points: int, *, image: bool = False
) -> tuple[FloatArray, FloatArray]:
    """Return what the wavenumber adds to the kernel, for every order at once.

    Parameters
    ----------
    mesh : AirMesh
    orders : int
        Orders 0 … ``orders`` − 1.
    wavenumbers : ndarray, shape (w,)
        k times the mesh's scale.
    azimuth_points : int
        Points of the azimuth rule.
    image : bool
        Source is the mirror image in the plane of the rim.

    Returns
    -------
    tuple of two ndarrays, shape (orders, w, nodes, nodes)
        Real and imaginary part, curl and −k² normal together.
    """
    scale = mesh.scale_m
    nodes = mesh.parameter.size
    rim = mesh.height_m[-1] / scale
    mirror = _IMAGE if image else _ITSELF
    points = gauss_points(mesh, _DYNAMIC_POINTS, scale)
    upper = np.triu_indices(points.radius.size)
    source_height = rim + mirror.height * (points.height - rim)
    angle, weight = azimuth_rule(azimuth_points)
    distance = ring_distances(
        points.radius[upper[0]], points.height[upper[0]], points.radius[upper[1]], source_height[upper[1]], angle
    )
    table = (weight * np.cos(np.arange(orders + 1)[:, None] * angle) / (2.0 * np.pi)).T
    real = np.empty((orders, wavenumbers.size, nodes, nodes))
    imaginary = np.empty_like(real)
    square = np.empty((orders + 1, points.radius.size, points.radius.size))
    rings = dynamic_ring_series(distance, wavenumbers, table)
    for i, k in enumerate(wavenumbers):
        for part, out in zip(rings, (real, imaginary), strict=True):
            square[:, upper[0], upper[1]] = part[i].T
            square[:, upper[1], upper[0]] = part[i].T
            for n in range(orders):
                kernel = np.stack([square[abs(n - 1)], square[n], square[n + 1]])
                curl, normal = _contract(points, kernel, nodes, n, mirror)
                out[n, i] = azimuth_factor(n) * (curl - k**2 * normal)
    return real, imaginary


def _static_between(
    points: ScreenPoints, sources: ScreenPoints, rim: float, mirror: _Mirror, order: int, *, outer: bool
) -> FloatArray:
    """Return the static G of orders |n − 1|, n, n + 1, shape (3, …)."""
    radius, height = points.radius, points.height
    source_radius = sources.radius
    source_height = rim + mirror.height * (sources.height - rim)
    if outer:
        radius, height = radius[:, None], height[:, None]
        source_radius, source_height = source_radius[None, :], source_height[None, :]
        if mirror.height > 0.0:  # rings that coincide are replaced by the singular rules
            source_height = source_height + 1e-9 * (points.element[:, None] == sources.element[None, :])
    rings = static_rings(radius, height, source_radius, source_height, order + 2)
    return np.stack([rings[abs(order - 1)], rings[order], rings[order + 1]])


def _contract(
    points: ScreenPoints, kernel: FloatArray, nodes: int, order: int, mirror: _Mirror
) -> tuple[FloatArray, FloatArray]:
    """Sum the Galerkin integrals over a tensor grid of points; kernel (3, q, q)."""
    below, same, above = kernel
    cosine, sine = 0.5 * (below + above), 0.5 * (below - above)
    radius = (points.radius * points.weight)[:, None]
    slope = points.slopes(nodes) * radius
    hat = points.hats(nodes)
    outward = hat * radius
    normal_r, normal_z = outward * points.normal_r[:, None], outward * points.normal_z[:, None]
    curl = slope.T @ cosine @ slope
    if order:
        flat = hat * points.weight[:, None]
        flat_r, flat_z = flat * points.tangent_r[:, None], flat * points.tangent_z[:, None]
        cross = slope.T @ sine @ flat_r
        back = flat_r.T @ sine @ slope
        curl += order**2 * (flat_r.T @ cosine @ flat_r + mirror.height * (flat_z.T @ same @ flat_z))
        curl += order * (cross + back)
    normal = normal_r.T @ cosine @ normal_r + mirror.height * (normal_z.T @ same @ normal_z)
    return mirror.curl * curl, normal


_Pairs = tuple[IntArray, FloatArray, IntArray, FloatArray, FloatArray]


def _touching_pairs(elements: int) -> list[_Pairs]:
    x, y, w = same_element_rule()
    every = np.arange(elements)
    same = np.repeat(every, x.size)
    own = (same, np.tile(x, elements), same, np.tile(y, elements), np.tile(w, elements))
    a, b, w = corner_rule()
    left = np.repeat(every[:-1], a.size)
    a, b, w = np.tile(a, elements - 1), np.tile(b, elements - 1), np.tile(w, elements - 1)
    return [own, (left, 1.0 - a, left + 1, b, w), (left + 1, b, left, 1.0 - a, w)]


def _image_pairs(last: int) -> list[_Pairs]:
    a, b, w = corner_rule()
    rim = np.full(a.size, last)
    return [(rim, 1.0 - a, rim, 1.0 - b, w)]


def _add_pairs(mesh: AirMesh, pairs: _Pairs, order: int, mirror: _Mirror, sums: tuple[FloatArray, FloatArray]) -> None:
    """Add the integrals over listed pairs of points to (curl, normal)."""
    element, x, source, y, weight = pairs
    scale = mesh.scale_m
    rim = mesh.height_m[-1] / scale
    one = points_at(mesh, element, x, weight, scale)
    two = points_at(mesh, source, y, np.ones_like(y), scale)
    below, same, above = _static_between(one, two, rim, mirror, order, outer=False)
    cosine, sine = 0.5 * (below + above), 0.5 * (below - above)
    area = one.weight * two.weight
    tangent = one.tangent_r * two.tangent_r * cosine + mirror.height * one.tangent_z * two.tangent_z * same
    normal = one.normal_r * two.normal_r * cosine + mirror.height * one.normal_z * two.normal_z * same
    radii = one.radius * two.radius
    for i, (hat, slope) in enumerate(_local(one)):
        for j, (hat2, slope2) in enumerate(_local(two)):
            curl = slope * slope2 * radii * cosine
            if order:
                curl = curl + order**2 * hat * hat2 * tangent
                curl = curl + order * sine * (
                    slope * one.radius * hat2 * two.tangent_r + hat * one.tangent_r * slope2 * two.radius
                )
            place = (element + i, source + j)
            np.add.at(sums[0], place, mirror.curl * area * curl)
            np.add.at(sums[1], place, area * hat * hat2 * radii * normal)


def _local(points: ScreenPoints) -> list[tuple[FloatArray, FloatArray]]:
    return [(1.0 - points.fraction, -1.0 / points.length), (points.fraction, 1.0 / points.length)]
