"""The air of a cone sealed at its rim into an infinite baffle, Fourier order n.

In front of the baffle the half-space integral (Rayleigh) holds over the mouth, the disc that the rim spans;
behind it the cone is a thin screen together with its image in the baffle, and the mouth a source. With the
jump μ over the cone and the slope q = ∂p/∂z over the mouth, equal pressure on both sides of the mouth gives::

    [ W + W_image   −2Kᵀ ] [μ]   [jωρ ∫φ v_n dS]
    [ −2K           −4S  ] [q] = [      0      ]

W as in `frusta.cone.screen_operator`, ``K = ∫∫ ψ φ ∂G/∂n'``, ``S = ∫∫ ψ ψ' G``. The neck may be open. All blocks
are entire in k, so that complex frequencies need nothing more. `BaffledAir` is used like `ScreenAir`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import jv

from frusta.cone.air import POINTS_PER_ELEMENT, ScreenAir, azimuth_points, longest_distance
from frusta.cone.air_mesh import AirMesh, graded_parameter
from frusta.cone.double_layer import double_layer_far_rows
from frusta.cone.entire import entire_from_samples, series_nodes, series_terms
from frusta.cone.ring_kernel import (
    azimuth_rule,
    ring_distances,
    static_ring_slopes,
    static_rings,
)
from frusta.cone.ring_series import dynamic_ring_series, dynamic_slope_series
from frusta.cone.screen_operator import azimuth_factor, dynamic_operator, static_operator
from frusta.cone.screen_points import ScreenPoints, gauss_points, points_at
from frusta.cone.singular_pairs import corner_rule, same_element_rule
from frusta.errors import ParameterError

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]
IntArray = NDArray[np.int64]

MOUTH_ELEMENTS = 24
_LEAST_DEPTH = 0.1  # of the largest radius: a flatter cone's mouth lies too close to it
_STATIC_POINTS = 6
_DYNAMIC_POINTS = 2


@dataclass(frozen=True)
class BaffledAir(ScreenAir):
    """A cone's air in a baffle; unknowns are the cone's hats (rim included), then the mouth's.

    The mouth's unknown is q times the mesh's scale, so that both kinds are pressures.
    """

    @property
    def unknowns(self) -> slice:
        """Nodes of the cone whose pressure jump is unknown: the sealed rim is one of them."""
        return _cone_nodes(self.mesh, self.order)

    @property
    def mouth(self) -> AirMesh:
        """The disc in the plane of the rim."""
        return mouth_mesh(self.mesh)

    @cached_property
    def mouth_hats(self) -> tuple[ScreenPoints, FloatArray]:
        """Points of the mouth and its hats times r dr/scale, (q, mouth unknowns)."""
        mouth = self.mouth
        q = gauss_points(mouth, POINTS_PER_ELEMENT)
        hats = q.hats(mouth.parameter.size) * (q.weight * q.radius / self.mesh.scale_m)[:, None]
        return q, hats[:, _mouth_nodes(mouth, self.order)]

    def coupling(self, normal: FloatArray) -> FloatArray:
        """Return B, shape (unknowns, columns): zero for the mouth, which has no structure."""
        cone = super().coupling(normal)
        return np.concatenate([cone, np.zeros((self.mouth_hats[1].shape[1], *cone.shape[1:]))])


def mouth_mesh(mesh: AirMesh) -> AirMesh:
    """Return the disc spanned by the rim, graded towards it."""
    u = graded_parameter(MOUTH_ELEMENTS, start_free=False, stop_free=True)
    return AirMesh(u, mesh.radius_m[-1] * u, np.full(u.size, mesh.height_m[-1]))


def compute_baffled_air(mesh: AirMesh, order: int, top_wavenumber: float) -> BaffledAir:
    """Compute the operator of a cone in a baffle (uncached; see `frusta.cone.air_cache`).

    Parameters
    ----------
    mesh : AirMesh
        The cone behind the plane of its rim.
    order : int
        Fourier order n ≥ 0.
    top_wavenumber : float
        Largest real k, 1/m.

    Raises
    ------
    ParameterError
        If the cone is not behind the plane of its rim, or too flat for the mouth to be kept apart from it.
    """
    scale = mesh.scale_m
    if np.any(mesh.height_m[:-1] >= mesh.height_m[-1]):
        raise ParameterError("a baffled cone must lie wholly behind the plane of its rim; use mounting free")
    if mesh.height_m[-1] - np.min(mesh.height_m) < _LEAST_DEPTH * scale:
        raise ParameterError(
            f"a baffled cone must be at least {_LEAST_DEPTH:g} of its rim radius deep "
            f"(got {(mesh.height_m[-1] - np.min(mesh.height_m)) / scale:.3f}); use mounting free"
        )
    top = top_wavenumber * scale
    longest = longest_distance(mesh) / scale
    longest_image = float(np.hypot(2.0, 2.0 * np.ptp(mesh.height_m) / scale))
    k = series_nodes(top, series_terms(top, longest_image))
    angles = azimuth_points(top * max(longest, longest_image))
    real, imaginary = _samples(mesh, order, k, angles)
    return BaffledAir(mesh, order, entire_from_samples(top, real, imaginary))


def _samples(mesh: AirMesh, order: int, k: FloatArray, angles: int) -> tuple[FloatArray, FloatArray]:
    mouth = mouth_mesh(mesh)
    cone_nodes, mouth_nodes = _cone_nodes(mesh, order), _mouth_nodes(mouth, order)
    cone, size = _length(cone_nodes), _length(cone_nodes) + _length(mouth_nodes)
    real = np.zeros((k.size, size, size))
    imaginary = np.zeros_like(real)
    for image in (False, True):
        curl, normal = static_operator(mesh, order, image=image)
        wave = dynamic_operator(mesh, order + 1, k, angles, image=image)
        static = curl - k[:, None, None] ** 2 * normal
        real[:, :cone, :cone] += (static + wave[0][order])[:, cone_nodes, cone_nodes]
        imaginary[:, :cone, :cone] += wave[1][order][:, cone_nodes, cone_nodes]
    single = _mouth_static(mouth, mesh.scale_m, order)
    slope = _slope_static(mesh, mouth, order)
    wave_single = _mouth_dynamic(mouth, mesh.scale_m, order, k, angles)
    wave_slope = _slope_dynamic(mesh, mouth, order, k, angles)
    for part, out in enumerate((real, imaginary)):
        single_part = wave_single[part] + (single if part == 0 else 0.0)
        slope_part = (wave_slope[part] + (slope if part == 0 else 0.0))[:, mouth_nodes, cone_nodes]
        out[:, cone:, cone:] = -4.0 * single_part[:, mouth_nodes, mouth_nodes]
        out[:, cone:, :cone] = -2.0 * slope_part
        out[:, :cone, cone:] = -2.0 * np.swapaxes(slope_part, 1, 2)
    return real, imaginary


def _cone_nodes(mesh: AirMesh, order: int) -> slice:
    return slice(0 if (mesh.closed and order == 0) else 1, mesh.parameter.size)


def _mouth_nodes(mouth: AirMesh, order: int) -> slice:
    return slice(0 if order == 0 else 1, mouth.parameter.size)


def _length(nodes: slice) -> int:
    return int(nodes.stop - nodes.start)


def half_space_integral(disc: AirMesh, order: int, wavenumbers: FloatArray) -> ComplexArray:
    """Return ``S = ∫∫ ψ ψ' G dS dS'`` over a flat disc, m³, shape (wavenumbers, nodes, nodes).

    A disc in a baffle that moves with normal velocity v = ψ @ nodes feels the force ``2jωρ·S v`` on one face
    (Rayleigh).

    Parameters
    ----------
    disc : AirMesh
        Flat, from the axis to the rim.
    order : int
        Fourier order n.
    wavenumbers : ndarray, shape (wavenumbers,)
        Real k, 1/m.
    """
    scale = disc.scale_m
    k = np.asarray(wavenumbers, dtype=np.float64) * scale
    real, imaginary = _mouth_dynamic(disc, scale, order, k, azimuth_points(2.0 * float(np.max(np.abs(k)))))
    return np.asarray(scale**3 * (_mouth_static(disc, scale, order) + real + 1j * imaginary))


def _mouth_static(mouth: AirMesh, scale: float, order: int) -> FloatArray:
    """Return ∫∫ψψ'G static over the mouth, (nodes, nodes)."""
    nodes = mouth.parameter.size
    q = gauss_points(mouth, _STATIC_POINTS, scale)
    same = q.element[:, None] == q.element
    shift = 1e-9 * same
    kernel = static_rings(
        q.radius[:, None], q.height[:, None], q.radius[None, :], q.height[None, :] + shift, order + 2
    )[order]
    near = np.abs(q.element[:, None] - q.element) <= 1
    area = q.hats(nodes) * (q.weight * q.radius)[:, None]
    out = area.T @ np.where(near, 0.0, kernel) @ area
    for one, two, weight in _touching(mouth, scale):
        rings = static_rings(one.radius, one.height, two.radius, two.height, order + 2)[order]
        _add(out, one, two, weight * one.radius * two.radius * rings)
    return azimuth_factor(order) * out


def _touching(mesh: AirMesh, scale: float) -> list[tuple[ScreenPoints, ScreenPoints, FloatArray]]:
    """Pairs of points on the same and on neighbouring elements, with weights."""
    elements = mesh.parameter.size - 1
    every = np.arange(elements)
    x, y, w = same_element_rule()
    a, b, v = corner_rule()
    lists = [
        (np.repeat(every, x.size), np.tile(x, elements), 0, np.tile(y, elements), np.tile(w, elements)),
        (
            np.repeat(every[:-1], a.size),
            np.tile(1.0 - a, elements - 1),
            1,
            np.tile(b, elements - 1),
            np.tile(v, elements - 1),
        ),
        (
            np.repeat(every[1:], a.size),
            np.tile(a, elements - 1),
            -1,
            np.tile(1.0 - b, elements - 1),
            np.tile(v, elements - 1),
        ),
    ]
    out = []
    for element, first, step, second, weight in lists:
        one = points_at(mesh, element, first, weight, scale)
        two = points_at(mesh, element + step, second, np.ones_like(second), scale)
        out.append((one, two, one.weight * two.weight))
    return out


def _add(out: FloatArray, one: ScreenPoints, two: ScreenPoints, value: FloatArray) -> None:
    """Add ``value`` times each hat of ``one`` and of ``two``."""
    for i, hat in enumerate((1.0 - one.fraction, one.fraction)):
        for j, hat2 in enumerate((1.0 - two.fraction, two.fraction)):
            np.add.at(out, (one.element + i, two.element + j), value * hat * hat2)


def _slope_static(mesh: AirMesh, mouth: AirMesh, order: int) -> FloatArray:
    """Return ∫∫ψφ ∂G/∂n' static, (mouth nodes, cone nodes); the corner at the rim on its own."""
    scale = mesh.scale_m
    one, two = gauss_points(mouth, _STATIC_POINTS, scale), gauss_points(mesh, _STATIC_POINTS, scale)
    kernel = static_ring_slopes(
        one.radius[:, None],
        one.height[:, None],
        two.radius,
        two.height,
        two.normal_r,
        two.normal_z,
        order,
    )
    rim_one, rim_two = mouth.parameter.size - 2, mesh.parameter.size - 2
    corner = (one.element[:, None] == rim_one) & (two.element == rim_two)
    left = one.hats(mouth.parameter.size) * (one.weight * one.radius)[:, None]
    right = two.hats(mesh.parameter.size) * (two.weight * two.radius)[:, None]
    out = left.T @ np.where(corner, 0.0, kernel) @ right
    a, b, w = corner_rule()
    near = points_at(mouth, np.full(a.size, rim_one), 1.0 - a, w, scale)
    cone = points_at(mesh, np.full(b.size, rim_two), 1.0 - b, np.ones_like(b), scale)
    slopes = static_ring_slopes(near.radius, near.height, cone.radius, cone.height, cone.normal_r, cone.normal_z, order)
    _add(out, near, cone, near.weight * cone.weight * near.radius * cone.radius * slopes)
    return azimuth_factor(order) * out


def _mouth_dynamic(
    mouth: AirMesh, scale: float, order: int, k: FloatArray, angles: int
) -> tuple[FloatArray, FloatArray]:
    q = gauss_points(mouth, _DYNAMIC_POINTS, scale)
    i, j = np.triu_indices(q.radius.size)
    angle, weight = azimuth_rule(angles)
    distance = ring_distances(q.radius[i], q.height[i], q.radius[j], q.height[j], angle)
    table = (weight * np.cos(order * angle) / (2.0 * np.pi))[:, None]
    area = q.hats(mouth.parameter.size) * (q.weight * q.radius)[:, None]
    square = np.empty((2, k.size, q.radius.size, q.radius.size))
    for part, values in enumerate(dynamic_ring_series(distance, k, table)):
        square[part][:, i, j] = square[part][:, j, i] = values[..., 0]
    out = azimuth_factor(order) * (area.T @ square @ area)
    return out[0], out[1]


def _slope_dynamic(
    mesh: AirMesh, mouth: AirMesh, order: int, k: FloatArray, angles: int
) -> tuple[FloatArray, FloatArray]:
    scale = mesh.scale_m
    one, two = gauss_points(mouth, _DYNAMIC_POINTS, scale), gauss_points(mesh, _DYNAMIC_POINTS, scale)
    angle, weight = azimuth_rule(angles)
    distance = ring_distances(one.radius[:, None], one.height[:, None], two.radius, two.height, angle)
    projection = two.normal_r[:, None] * (two.radius[:, None] - one.radius[:, None, None] * np.cos(angle))
    projection = projection + (two.normal_z * (two.height - one.height[:, None]))[..., None]
    table = weight * np.cos(order * angle) / (2.0 * np.pi)
    left = one.hats(mouth.parameter.size) * (one.weight * one.radius)[:, None]
    right = two.hats(mesh.parameter.size) * (two.weight * two.radius)[:, None]
    real, imaginary = (left.T @ part @ right for part in dynamic_slope_series(distance, projection, k, table))
    return azimuth_factor(order) * real, azimuth_factor(order) * imaginary


def front_axis_rows(air: BaffledAir, wavenumber: complex | FloatArray | ComplexArray, height_m: float) -> ComplexArray:
    """Return the rows of pressure on the axis before the baffle, ``−2∫ G q dS``, n = 0.

    Parameters
    ----------
    air : BaffledAir
    wavenumber : complex or ndarray
        k, 1/m.
    height_m : float
        z of the place in the mesh's own height, before the rim.

    Returns
    -------
    ndarray, shape (*wavenumber.shape, unknowns)
    """
    k = np.asarray(wavenumber, dtype=np.complex128)
    q, hats = air.mouth_hats
    cone = _length(air.unknowns)
    out = np.zeros((*k.shape, cone + hats.shape[1]), dtype=np.complex128)
    if air.order == 0:
        distance = np.hypot(q.radius, q.height - height_m)
        out[..., cone:] = -(np.exp(-1j * k[..., None] * distance) / distance) @ hats
    return out


def baffled_far_rows(air: BaffledAir, wavenumber: complex, angle_rad: FloatArray) -> ComplexArray:
    """Return the rows of the far field, ``p → F(θ) cos(nφ) e^{-jkr}/r``, before and behind the baffle.

    Parameters
    ----------
    air : BaffledAir
    wavenumber : complex
        k, 1/m.
    angle_rad : ndarray, shape (angles,)
        From the axis on the listener's side; below π/2 before the baffle, above behind it.

    Returns
    -------
    ndarray, shape (angles, unknowns)
    """
    n = air.order
    q, hats = air.mouth_hats
    sine, cosine = np.sin(angle_rad)[:, None], np.cos(angle_rad)[:, None]
    wave = np.exp(1j * wavenumber * cosine * q.height) * 1j**n * jv(n, wavenumber * sine * q.radius)
    side = np.where(cosine > 0.0, -1.0, 1.0)
    mouth = side * (wave @ hats)
    behind = np.where(cosine > 0.0, 0.0, 1.0)
    cone = behind * (double_layer_far_rows(air, wavenumber, angle_rad, image=False))
    cone = cone + behind * double_layer_far_rows(air, wavenumber, angle_rad, image=True)
    return np.asarray(np.concatenate([cone, mouth], axis=1))
