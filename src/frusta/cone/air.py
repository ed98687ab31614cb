"""The air on both faces of a free thin shell of revolution, Fourier order n.

How a structure uses it (order n, displacement w along the listener's normal, ``e^{jωt}``, k = ω/c)::

    mesh = air_mesh(profile.meridian)              # u -> (radius, height)
    air = screen_air(mesh, order)                  # frusta.cone.air_cache: on disk and in memory
    q = air.points                                 # quadrature points along the meridian, in metres
    normal = trace(q.parameter, q.normal_r, q.normal_z)        # (q, dof): w_n = normal @ dof, yours
    load = air.coupling(normal)                    # B (unknowns, dof) = ∫ φ_i w_n dS
    A = air.operator(k)                            # (unknowns, unknowns), symmetric, complex k allowed

With the structure's own matrices including ∫cos² nθ dθ (2π for n = 0, else π), the air enters as a mass::

    K − ω²(M + ρ Bᵀ A(k)⁻¹ B)

whose imaginary part is radiation. Pressure jump (front less rear): ``μ = −ω²ρ A⁻¹ B w``, in the same basis as
the rows of `frusta.cone.air_field`: pressure at a place = row @ μ. The power that goes into the air is
``−½ω³ Im(wᴴ ρBᵀA⁻¹B w)`` and equals the far field's.

Matrices depend on the shape alone (lengths over the largest radius) and on no medium.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from frusta.cone.air_mesh import AirMesh
from frusta.cone.entire import EntireMatrix, entire_from_samples, series_nodes, series_terms
from frusta.cone.screen_operator import azimuth_factor, dynamic_operator, static_operator
from frusta.cone.screen_points import ScreenPoints, gauss_points
from frusta.errors import ParameterError

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

POINTS_PER_ELEMENT = 4


@dataclass(frozen=True)
class ScreenAir:
    """The hypersingular operator of one shell and one order, ready for any wavenumber.

    Parameters
    ----------
    mesh : AirMesh
        The meridian.
    order : int
        Fourier order n ≥ 0.
    matrix : EntireMatrix
        Over k·scale, dimensionless; unknowns are the hats that may be non-zero.
    """

    mesh: AirMesh
    order: int
    matrix: EntireMatrix

    @property
    def unknowns(self) -> slice:
        """Nodes whose pressure jump is unknown: not at free edges, at the axis only for n = 0."""
        return unknown_nodes(self.mesh, self.order)

    @property
    def top_wavenumber(self) -> float:
        """Largest real part of k that `operator` takes, 1/m."""
        return self.matrix.top / self.mesh.scale_m

    @cached_property
    def points(self) -> ScreenPoints:
        """Quadrature points along the meridian, SI, neck to rim."""
        return gauss_points(self.mesh, POINTS_PER_ELEMENT)

    @cached_property
    def _weighted_hats(self) -> FloatArray:
        q = self.points
        area = azimuth_factor(self.order) * q.weight * q.radius
        return np.asarray((q.hats(self.mesh.parameter.size) * area[:, None])[:, self.unknowns])

    def operator(self, wavenumber: complex | FloatArray | ComplexArray) -> ComplexArray:
        """Return A(k), metres, shape (*wavenumber.shape, unknowns, unknowns), symmetric.

        Parameters
        ----------
        wavenumber : complex or ndarray
            k = ω/c, 1/m; poles with e^{jωt} have a small positive imaginary part.

        Raises
        ------
        ParameterError
            If |Re k| is beyond `top_wavenumber`, or |Im k| too large for the continuation.
        """
        k = self._within(wavenumber)
        return self.mesh.scale_m * self.matrix.at(k * self.mesh.scale_m)

    def operator_and_slope(self, wavenumber: ComplexArray) -> tuple[ComplexArray, ComplexArray]:
        """Return A(k) as `operator` does, and dA/dk, m²."""
        k = self._within(wavenumber)
        operator, slope = self.matrix.at_with_slope(k * self.mesh.scale_m)
        return self.mesh.scale_m * operator, self.mesh.scale_m**2 * slope

    def _within(self, wavenumber: complex | FloatArray | ComplexArray) -> ComplexArray:
        k = np.asarray(wavenumber, dtype=np.complex128)
        top = self.top_wavenumber
        if k.size and (np.max(np.abs(k.real)) > 1.0001 * top or np.max(np.abs(k.imag)) > 0.2 * top):
            raise ParameterError(
                f"wavenumber must stay within {top:.1f} 1/m, its imaginary part within a fifth of that "
                f"(got up to {np.max(np.abs(k.real)):.1f} and {np.max(np.abs(k.imag)):.1f}); "
                "ask screen_air for a higher top_wavenumber"
            )
        return k

    def coupling(self, normal: FloatArray) -> FloatArray:
        """Return B = ∫ φ_i w_n dS, m², shape (unknowns, columns).

        Parameters
        ----------
        normal : ndarray, shape (q,) or (q, columns)
            Displacement along the listener's normal at `points`, for each degree of freedom.
        """
        return np.asarray(self._weighted_hats.T @ normal)

    def axial_coupling(self) -> FloatArray:
        """Return B of a rigid motion by 1 m along the axis, shape (unknowns,)."""
        return self.coupling(self.points.normal_z)

    def mass_matrix(self, wavenumber: complex, coupling: FloatArray, density_kg_m3: float) -> ComplexArray:
        """Return the air's mass ρBᵀA(k)⁻¹B, kg, shape (columns, columns)."""
        solved = np.linalg.solve(self.operator(wavenumber), coupling)
        return np.asarray(density_kg_m3 * (coupling.T @ solved))


def unknown_nodes(mesh: AirMesh, order: int) -> slice:
    """Return the nodes whose pressure jump is not zero by an edge or the axis."""
    start = 0 if (mesh.closed and order == 0) else 1
    stop = mesh.parameter.size - (0 if (mesh.closed_at_end and order == 0) else 1)
    return slice(start, stop)


def compute_screen_air(mesh: AirMesh, orders: int, top_wavenumber: float) -> tuple[ScreenAir, ...]:
    """Compute the operators of orders 0 … ``orders`` − 1 (uncached; see `frusta.cone.air_cache`).

    Parameters
    ----------
    mesh : AirMesh
    orders : int
        How many orders, at least 1.
    top_wavenumber : float
        Largest real k, 1/m.

    Returns
    -------
    tuple of ScreenAir

    Raises
    ------
    ParameterError
        If the arguments are not positive.
    """
    if orders < 1 or not top_wavenumber > 0.0:
        raise ParameterError(f"orders must be at least 1 and top_wavenumber > 0 (got {orders} and {top_wavenumber:g})")
    top = top_wavenumber * mesh.scale_m
    longest = longest_distance(mesh) / mesh.scale_m
    nodes = series_nodes(top, series_terms(top, longest))
    real, imaginary = dynamic_operator(mesh, orders, nodes, azimuth_points(top * longest))
    out = []
    for n in range(orders):
        curl, normal = static_operator(mesh, n)
        keep = unknown_nodes(mesh, n)
        samples = real[n] + curl - nodes[:, None, None] ** 2 * normal
        matrix = entire_from_samples(top, samples[:, keep, keep], imaginary[n][:, keep, keep])
        out.append(ScreenAir(mesh, n, matrix))
    return tuple(out)


def longest_distance(mesh: AirMesh) -> float:
    """Return the largest distance between two points of the shell, m."""
    gap = mesh.height_m[:, None] - mesh.height_m
    return float(np.sqrt(np.max((mesh.radius_m[:, None] + mesh.radius_m) ** 2 + gap**2)))


def azimuth_points(phase: float) -> int:
    """Return how many azimuth points resolve e^{-jkR} with kR up to ``phase`` radians on half a ring."""
    return 16 + int(np.ceil(0.6 * phase))
