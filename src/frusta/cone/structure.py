"""The elastic wall of one Fourier order: stiffness per elastic constant, mass, and its lowest modes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from frusta.cone import banded, element
from frusta.cone.edges import Edge, edge_motions
from frusta.cone.elasticity import TRANSVERSE_TO_ORTHOTROPIC, Elastic
from frusta.cone.element import Quadrature, components, turn
from frusta.cone.lanczos import lowest_eigenpairs
from frusta.cone.profile import ConeProfile
from frusta.cone.wall import ELEMENTS, Wall, layer_nodes, wall_of_profile
from frusta.errors import ParameterError

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Structure:
    """The wall's matrices, independent of the material.

    Unknowns that an edge takes away stay in place with unit stiffness and no mass: they read zero.

    Parameters
    ----------
    wall : Wall
    order : int
        Fourier order n.
    combination : ndarray (parts, 9)
        What each elastic constant is made of (see `elasticity.TRANSVERSE_TO_ORTHOTROPIC`).
    points : Quadrature
    motions : dict of int to ndarray
        For the columns that end at an edge: node displacements from their unknowns.
    parts : ndarray (parts, width, unknowns)
        Stiffness per constant, lower bands.
    held : ndarray (unknowns,) of bool
        Unknowns that the edges take away.
    unit_mass : ndarray (width, unknowns)
        Mass at density 1, lower band.
    neck_index : int
        Unknown that is the axial motion of the neck's middle.
    """

    wall: Wall
    order: int
    combination: Floats
    points: Quadrature
    motions: dict[int, Floats]
    parts: Floats
    held: NDArray[np.bool_]
    unit_mass: Floats
    neck_index: int

    @property
    def unknowns(self) -> int:
        """Number of unknowns, the held ones included."""
        return len(self.held)

    def stiffness(self, constants_pa: Floats) -> Floats:
        """Return the lower band of Σ constant × part, N/m."""
        band = np.tensordot(constants_pa, self.parts, axes=1)
        band[0, self.held] = float(np.max(band[0]))
        return np.asarray(band)

    def mass(self, density_kg_m3: float, ring_mass_kg: float = 0.0) -> Floats:
        """Return the lower band of the mass; `ring_mass_kg` moves with the neck's middle, along the axis.

        A held neck carries no ring mass: it does not move.
        """
        band = density_kg_m3 * self.unit_mass
        if not self.held[self.neck_index]:
            share = 1.0 if self.order == 0 else 0.5
            band[0, self.neck_index] += share * ring_mass_kg
        return band

    def displacements(self, vectors: NDArray[Any]) -> NDArray[Any]:
        """Return node displacements, shape (vectors, columns, 3, 2·layers + 1, c), of (vectors, unknowns)."""
        size, face = components(self.order), self.wall.nodes_m.shape[2]
        start = 2 * face * size * np.arange(self.wall.columns)[:, None] + np.arange(3 * face * size)
        local = np.asarray(vectors)[:, start]
        for column, motion in self.motions.items():
            local[:, column] = local[:, column] @ motion.T
        return local.reshape(len(local), self.wall.columns, 3, face, size)


def build_structure(
    wall: Wall,
    order: int,
    neck: Edge = "free",
    rim: Edge = "free",
    combination: Floats = TRANSVERSE_TO_ORTHOTROPIC,
) -> Structure:
    """Return the matrices of a wall.

    Parameters
    ----------
    wall : Wall
    order : int
        Fourier order n ≥ 0 (0 without torsion).
    neck, rim : Edge
        How the first and the last edge are held. A cap is closed on the axis and hangs on the ring.
    combination : ndarray (parts, 9)
        Elastic constants in terms of the nine of `elasticity.ORTHOTROPIC`; by default the five of a body
        whose axis of isotropy is z.

    Raises
    ------
    ParameterError
        If the order is negative, or a cap is asked to hang on something else than a ring or a clamp.
    """
    if order < 0 or order != int(order):
        raise ParameterError(f"the Fourier order must be a whole number, 0 or more (got {order})")
    if wall.capped and neck not in ("ring", "clamped"):
        raise ParameterError(f"a capped neck must be held as ring or clamped (got {neck!r})")
    points = element.quadrature(wall.element_nodes_m)
    motions, held, neck_index = _hold(wall, order, neck, rim)
    stiffness = _columns(element.stiffness_parts(points, order, combination), wall, order)
    mass = _columns(element.mass_matrices(points, order), wall, order)
    for column, motion in motions.items():
        stiffness[:, column] = motion.T @ stiffness[:, column] @ motion
        mass[column] = motion.T @ mass[column] @ motion
    overlap = wall.nodes_m.shape[2] * components(order)
    parts, unit_mass = banded.assemble(stiffness, overlap), banded.assemble(mass, overlap)
    return Structure(wall, order, combination, points, motions, parts, held, unit_mass, neck_index)


def clamp_ring(structure: Structure) -> Structure:
    """Return the same structure with the neck's ring held: cheaper than building it clamped."""
    index, width = structure.neck_index, structure.parts.shape[1]
    parts, unit_mass, held = structure.parts.copy(), structure.unit_mass.copy(), structure.held.copy()
    above = np.arange(1, min(width, index + 1))
    for band in (*parts, unit_mass):
        band[:, index] = 0.0
        band[above, index - above] = 0.0
    held[index] = True
    return replace(structure, parts=parts, unit_mass=unit_mass, held=held)


def structure_of_profile(
    profile: ConeProfile,
    order: int = 0,
    neck: Edge = "ring",
    elements: int = ELEMENTS,
    layers: int = 1,
    combination: Floats = TRANSVERSE_TO_ORTHOTROPIC,
) -> Structure:
    """Return the matrices of a cone with a free rim."""
    return build_structure(wall_of_profile(profile, elements, layers), order, neck, combination=combination)


def _columns(matrices: Floats, wall: Wall, order: int) -> Floats:
    """Sum the layers' element matrices (..., elements, 9c, 9c) into one block a column."""
    if wall.layers == 1:
        return matrices
    size, face = components(order), wall.nodes_m.shape[2]
    lead = matrices.shape[:-3]
    layered = matrices.reshape(*lead, wall.columns, wall.layers, 9 * size, 9 * size)
    blocks = np.zeros((*lead, wall.columns, 3 * face * size, 3 * face * size))
    for layer, nodes in enumerate(layer_nodes(wall.layers)):
        where = (face * np.arange(3)[:, None] + nodes).ravel()
        unknown = (size * where[:, None] + np.arange(size)).ravel()
        blocks[..., unknown[:, None], unknown] += layered[..., layer, :, :]
    return blocks


def _hold(wall: Wall, order: int, neck: Edge, rim: Edge) -> tuple[dict[int, Floats], NDArray[np.bool_], int]:
    """Motions of the columns at the edges, which unknowns are held, and the neck's axial unknown."""
    size, face = components(order), wall.nodes_m.shape[2]
    width, step = face * size, 2 * face * size
    motions: dict[int, Floats] = {}
    held = np.zeros(step * wall.columns + width, dtype=bool)
    edges: list[tuple[int, int, Edge]] = [(wall.capped, 0, neck), (wall.columns - 1, 2, rim)]
    if wall.capped:
        edges += [(0, 0, "axis"), (wall.capped - 1, 2, neck)]
    for column, station, edge in edges:
        motion = motions.setdefault(column, np.eye(3 * width))
        where = slice(station * width, (station + 1) * width)
        motion[where, where], kept = edge_motions(edge, wall.nodes_m[column, station], order)
        begin = step * column + station * width
        held[begin : begin + width] |= ~kept
    return motions, held, step * wall.capped + face // 2 * size + 1


@dataclass(frozen=True)
class FreeModes:
    """Undamped modes of a structure.

    Parameters
    ----------
    squared_rad_s : ndarray (modes,)
        ω², ascending; rigid motions read about 0.
    vectors : ndarray (modes, unknowns)
        Normalised to unit mass.
    """

    squared_rad_s: Floats
    vectors: Floats

    @property
    def frequency_hz(self) -> Floats:
        """Frequencies, Hz."""
        return np.asarray(np.sqrt(np.maximum(self.squared_rad_s, 0.0)) / (2.0 * np.pi))


def structure_modes(structure: Structure, material: Elastic, count: int, ring_mass_kg: float = 0.0) -> FreeModes:
    """Return the lowest modes of a structure in vacuo, rigid motions included.

    Parameters
    ----------
    structure : Structure
        With the constants of the material's law (`Elastic.combination`).
    material : Elastic
    count : int
        Number of modes, rigid motions included.
    ring_mass_kg : float
        Mass that moves along the axis with the neck's middle.

    Returns
    -------
    FreeModes
    """
    constants = material.constants_pa()
    shift = 0.02 * constants[0] / material.density_kg_m3 / float(structure.wall.nodes_m[..., 0].max()) ** 2
    values, vectors = lowest_eigenpairs(
        structure.stiffness(constants), structure.mass(material.density_kg_m3, ring_mass_kg), shift, count
    )
    return FreeModes(values, vectors)


def energy_gradients(
    structure: Structure, constants: NDArray[Any], vectors: NDArray[Any], squared: NDArray[Any], density: float
) -> tuple[NDArray[Any], NDArray[Any]]:
    """Return the derivatives of x(K − λM)xᵀ with respect to elastic constants and node places.

    With x normalised to unit mass these are the derivatives of λ; complex vectors are taken without
    conjugation, as a complex symmetric problem needs.

    Parameters
    ----------
    structure : Structure
    constants : ndarray (parts,)
        Elastic constants, Pa.
    vectors : ndarray (modes, unknowns)
    squared : ndarray (modes,)
        λ = ω².
    density : float
        kg/m³.

    Returns
    -------
    by_constant : ndarray (modes, parts)
    by_node : ndarray (modes, elements, 9, 2)
        Per metre of each element's own node; contract with `wall.node_velocities`.

    Notes
    -----
    Exact: with nodes moving at velocity v, a gradient at a fixed material point changes by −(∇v)·∇u and
    the weight by div v. The edges' conditions must not change with the shape (ring, clamped, free).
    """
    points, order = structure.points, structure.order
    weights = turn(order) * points.weights
    moved = structure.displacements(vectors)[:, :, :, layer_nodes(structure.wall.layers)]
    moved = moved.transpose(0, 1, 3, 2, 4, 5).reshape(len(moved), -1, 9, components(order))
    table = element.strain_table(order)
    gradient = np.einsum("egai,meic->megac", points.operators, moved, optimize=True)
    strain = gradient.reshape(*gradient.shape[:3], -1) @ table.reshape(6, -1).T
    pairs = element.STRAIN_PAIRS
    products = np.stack([strain[..., p] * strain[..., q] * (1.0 if p == q else 2.0) for p, q in pairs], axis=-1)
    by_constant = np.einsum("eg,megk->mk", weights, products, optimize=True) @ structure.combination.T
    nine = constants @ structure.combination
    elastic = np.zeros((6, 6), dtype=constants.dtype)
    for value, (p, q) in zip(nine, pairs, strict=True):
        elastic[p, q] = elastic[q, p] = value
    stress = (strain @ elastic) @ table.reshape(6, -1)
    stress = stress.reshape(gradient.shape)
    place = np.einsum("gi,meic->megc", points.values, moved, optimize=True)
    inertia = density * squared[:, None, None] * (place**2).sum(axis=-1)
    energy = products @ nine - inertia
    flow = -2.0 * np.einsum("megac,megbc->megab", stress, gradient, optimize=True)
    flow[..., 0, 0] += energy
    flow[..., 1, 1] += energy
    flow[..., 2, 2] += energy
    flow[..., 2, :2] = 0.0
    flow[..., 2, 0] = flow[..., 2, 2]
    by_node = np.einsum("eg,egai,megab->meib", weights, points.operators, flow[..., :2], optimize=True)
    return by_constant, by_node
