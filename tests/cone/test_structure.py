"""The element row: invariants of every element, scikit-fem as oracle, derivatives against differences."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.linalg import eigh
from scipy.sparse.linalg import eigsh
from skfem import Basis, BilinearForm, ElementQuad2, ElementVector, MeshQuad, MeshQuad2

from frusta.cone import banded, element
from frusta.cone.elasticity import TRANSVERSE_TO_ORTHOTROPIC, Elastic
from frusta.cone.lanczos import lowest_eigenpairs
from frusta.cone.profile import ConeProfile
from frusta.cone.structure import build_structure, clamp_ring, energy_gradients, structure_modes, structure_of_profile
from frusta.cone.wall import SHAPE_PARAMETERS, graded, node_velocities, wall_from_meridian, wall_of_profile
from frusta.errors import ParameterError

PROFILE = ConeProfile("convex", 0.0145, 0.039, 0.024, 2.4e-3, 0.8e-3, wall_taper=0.1)
PRINTED = Elastic(2.78e9, 2.0e9, 0.7e9, 0.37, 0.34, 1178.0, 0.021)


def test_shape_functions_are_a_partition_of_unity_and_interpolate() -> None:
    along, across = (a.ravel() for a in np.meshgrid(element.PLACES, element.PLACES, indexing="ij"))
    values, gradients = element.shape_functions(along, across)
    assert values == pytest.approx(np.eye(9))
    assert gradients.sum(axis=-1) == pytest.approx(np.zeros((9, 2)))
    step, place = 1e-6, np.array([0.3, -0.7])
    ahead, _ = element.shape_functions(place + step, place)
    behind, _ = element.shape_functions(place - step, place)
    _, slope = element.shape_functions(place, place)
    assert slope[:, 0] == pytest.approx((ahead - behind) / (2 * step), abs=1e-8)


@pytest.mark.parametrize("layers", [1, 2])
def test_rigid_motions_cost_no_energy_in_any_element(layers: int) -> None:
    # order 0: along the axis; order 1: sideways, and turning about a diameter
    wall = wall_of_profile(PROFILE, 7, layers)
    nodes = wall.element_nodes_m
    one, zero = np.ones(nodes.shape[:2]), np.zeros(nodes.shape[:2])
    radius, height = nodes[..., 0], nodes[..., 1]
    motions = {0: [(zero, one)], 1: [(one, zero, -one), (-height, radius, height)]}
    for order, fields in motions.items():
        parts = element.stiffness_parts(element.quadrature(nodes), order, TRANSVERSE_TO_ORTHOTROPIC)
        stiffness = np.tensordot(PRINTED.constants_pa(), parts, axes=1)
        for field in fields:
            u = np.stack(field, axis=-1).reshape(len(nodes), -1)
            energy = np.einsum("ei,eij,ej->e", u, stiffness, u)
            scale = np.einsum("ei,eij,ej->e", np.abs(u), np.abs(stiffness), np.abs(u))
            assert np.all(np.abs(energy) < 1e-12 * scale), f"order {order}: element {np.argmax(np.abs(energy))}"


def test_mass_weighs_the_cone() -> None:
    # axial unit motion: kinetic mass = ρ·V, V from the profile's own integral (independent route)
    structure = build_structure(wall_of_profile(PROFILE), 0)
    axial = np.tile([0.0, 1.0], structure.unknowns // 2)
    assert axial @ banded.multiply(structure.mass(1178.0), axial) == pytest.approx(1178.0 * PROFILE.volume_m3, rel=1e-9)


def test_band_storage_against_dense() -> None:
    rng = np.random.default_rng(3)
    blocks = rng.normal(size=(2, 5, 9, 9))
    blocks = blocks + blocks.transpose(0, 1, 3, 2)
    dense = np.zeros((2, 33, 33))
    for i in range(5):
        dense[:, 6 * i : 6 * i + 9, 6 * i : 6 * i + 9] += blocks[:, i]
    band = banded.assemble(blocks, 3)
    assert band.shape == (2, 9, 33)
    for k in range(2):
        assert banded.to_dense(band[k]) == pytest.approx(dense[k])
    vector = rng.normal(size=33)
    assert banded.multiply(band[0], vector) == pytest.approx(dense[0] @ vector)
    definite = band[0].copy()
    definite[0] += 60.0
    assert banded.solve(banded.factor(definite), vector) == pytest.approx(
        np.linalg.solve(banded.to_dense(definite), vector)
    )
    with pytest.raises(ParameterError, match="must be positive definite"):
        banded.factor(band[0])


@pytest.mark.parametrize(("order", "neck"), [(0, "ring"), (1, "ring"), (2, "clamped"), (3, "free")])
def test_lanczos_against_the_dense_solver(order: int, neck: str) -> None:
    structure = build_structure(wall_of_profile(PROFILE, 12), order, neck)  # type: ignore[arg-type]
    stiffness, mass = structure.stiffness(PRINTED.constants_pa()), structure.mass(1178.0, 2e-3)
    values, vectors = lowest_eigenpairs(stiffness, mass, 1e7, 10)
    free = ~structure.held
    dense, weight = banded.to_dense(stiffness)[np.ix_(free, free)], banded.to_dense(mass)[np.ix_(free, free)]
    assert values == pytest.approx(eigh(dense, weight, eigvals_only=True)[:10], rel=1e-9, abs=1e-2)
    gram = vectors @ banded.to_dense(mass) @ vectors.T
    assert gram == pytest.approx(np.eye(10), abs=1e-9)
    assert np.all(vectors[:, structure.held] == 0.0)
    with pytest.raises(ParameterError, match="count must not exceed"):
        lowest_eigenpairs(stiffness, mass, 1e7, int(free.sum()) + 5)


def scikit_fem_modes(order: int, elements: int, count: int) -> np.ndarray:
    """The same body by scikit-fem (own quadrature, own assembly, sparse solver); neck clamped, rim free."""
    u = graded(elements)
    tensor = MeshQuad.init_tensor(u[::2], np.array([-0.5, 0.5]))
    curved = MeshQuad2.from_mesh(tensor)
    place, through = curved.doflocs
    normal, (radius, height) = np.array(PROFILE.unit_normal(place)), np.array(PROFILE.meridian(place))
    across = through * PROFILE.thickness_m(place)
    mesh = MeshQuad2(np.array([radius, height]) + across * normal, curved.t)
    basis = Basis(mesh, ElementVector(ElementQuad2(), 3), intorder=5)
    c11, c12, c13, c33, c44 = PRINTED.constants_pa()
    c66 = 0.5 * (c11 - c12)

    def strains(u, r):  # type: ignore[no-untyped-def]
        g = u.grad
        return (
            g[0, 0], (u[0] + order * u[2]) / r, g[1, 1],
            g[2, 1] - order * u[1] / r, g[0, 1] + g[1, 0], g[2, 0] - (u[2] + order * u[0]) / r,
        )  # fmt: skip

    @BilinearForm
    def stiffness(u, v, w):  # type: ignore[no-untyped-def]
        r = w.x[0]
        a, b = strains(u, r), strains(v, r)
        normal_part = c11 * (a[0] * b[0] + a[1] * b[1]) + c33 * a[2] * b[2] + c12 * (a[0] * b[1] + a[1] * b[0])
        normal_part = normal_part + c13 * (a[2] * (b[0] + b[1]) + b[2] * (a[0] + a[1]))
        return r * (normal_part + c44 * (a[3] * b[3] + a[4] * b[4]) + c66 * a[5] * b[5])

    @BilinearForm
    def mass(u, v, w):  # type: ignore[no-untyped-def]
        return 1178.0 * w.x[0] * (u[0] * v[0] + u[1] * v[1] + u[2] * v[2])

    neck = [f for f in mesh.boundary_facets() if _is_neck(mesh, f)]
    held = basis.get_dofs(np.array(neck)).all()
    free = np.setdiff1d(np.arange(basis.N), held)
    a, b = stiffness.assemble(basis).tocsr()[free][:, free], mass.assemble(basis).tocsr()[free][:, free]
    squared = np.sort(eigsh(a, count, b, sigma=0.0, return_eigenvectors=False))
    return np.asarray(np.sqrt(squared) / (2.0 * np.pi))


def _is_neck(mesh, facet: int) -> bool:  # type: ignore[no-untyped-def]
    """Both ends of a facet lie on the normal through the neck."""
    normal_r, normal_z = PROFILE.unit_normal(0.0)
    ends = mesh.p[:, mesh.facets[:, facet]] - np.array([[PROFILE.neck_radius_m], [0.0]])
    return bool(np.all(np.abs(ends[0] * normal_z - ends[1] * normal_r) < 1e-9))


@pytest.mark.parametrize("order", [2, 3])
def test_modes_against_scikit_fem(order: int) -> None:
    # the same nine-node elements on the same nodes: equal to rounding
    structure = structure_of_profile(PROFILE, order, "clamped", 20)
    ours = structure_modes(structure, PRINTED, 6).frequency_hz
    assert ours == pytest.approx(scikit_fem_modes(order, 20, 6), rel=1e-8)


@pytest.mark.parametrize(("order", "neck", "layers"), [(0, "ring", 1), (2, "clamped", 1), (3, "free", 2)])
def test_gradients_against_differences(order: int, neck: str, layers: int) -> None:
    count, coil = 7, 2e-3 if order == 0 else 0.0

    def squared(profile: ConeProfile, material: Elastic) -> np.ndarray:
        structure = structure_of_profile(profile, order, neck, 16, layers)  # type: ignore[arg-type]
        return structure_modes(structure, material, count, coil).squared_rad_s

    structure = structure_of_profile(PROFILE, order, neck, 16, layers)  # type: ignore[arg-type]
    modes = structure_modes(structure, PRINTED, count, coil)
    by_constant, by_node = energy_gradients(
        structure, PRINTED.constants_pa(), modes.vectors, modes.squared_rad_s, PRINTED.density_kg_m3
    )
    scale = modes.squared_rad_s[-1]
    by_modulus = by_constant @ PRINTED.constants_gradient()
    for column, name in enumerate(("hoop_pa", "axial_pa", "layer_shear_pa", "poisson_plane", "poisson_axial")):
        value = getattr(PRINTED, name)
        ahead = dataclasses.replace(PRINTED, **{name: 1.0002 * value})
        behind = dataclasses.replace(PRINTED, **{name: 0.9998 * value})
        numeric = (squared(PROFILE, ahead) - squared(PROFILE, behind)) / 4e-4
        assert by_modulus[:, column] * value == pytest.approx(numeric, rel=1e-5, abs=1e-7 * scale), name
    velocities = node_velocities(PROFILE, SHAPE_PARAMETERS, 16, layers)
    ours = np.einsum("meib,peib->mp", by_node, velocities)
    for column, name in enumerate(SHAPE_PARAMETERS):
        step = 2e-4 if name == "wall_taper" else 2e-7
        value = getattr(PROFILE, name)
        ahead = dataclasses.replace(PROFILE, **{name: value + step})
        behind = dataclasses.replace(PROFILE, **{name: value - step})
        numeric = squared(ahead, PRINTED) - squared(behind, PRINTED)
        tolerance = 1e-5 * max(np.abs(numeric).max(), 1e-6 * scale)
        assert 2 * step * ours[:, column] == pytest.approx(numeric, rel=1e-4, abs=tolerance), name


def test_coil_and_ring_lower_the_modes_as_a_dense_model_says() -> None:
    # n = 0: a huge mass on the ring is a clamp (limit), no mass the free ring (DESIGN's "free")
    held = structure_modes(structure_of_profile(PROFILE, 0, "clamped"), PRINTED, 5).frequency_hz
    ring = structure_of_profile(PROFILE, 0, "ring")
    heavy = structure_modes(ring, PRINTED, 6, 1e3).frequency_hz[1:]
    assert heavy == pytest.approx(held, rel=1e-5)
    free = structure_modes(ring, PRINTED, 6).frequency_hz[1:]
    assert np.all(free > held)


def test_a_clamped_ring_is_a_clamped_neck() -> None:
    ring, clamped = structure_of_profile(PROFILE, 0, "ring"), structure_of_profile(PROFILE, 0, "clamped")
    constants = PRINTED.constants_pa()
    assert clamp_ring(ring).unit_mass == pytest.approx(clamped.unit_mass, rel=1e-12, abs=1e-18)
    assert clamp_ring(ring).stiffness(constants) == pytest.approx(clamped.stiffness(constants), rel=1e-9, abs=1e-3)


def test_a_rocking_ring_is_a_rigid_motion() -> None:
    # n = 1 with a ring that may only rock: one mode of zero frequency
    modes = structure_modes(structure_of_profile(PROFILE, 1, "ring"), PRINTED, 3)
    assert modes.frequency_hz[0] < 1.0 < modes.frequency_hz[1]


def test_flat_cap_is_a_clamped_disc_below_the_cone() -> None:
    # Clamped circular plate, λ² = 10.2158 (Leissa), a = neck radius; held neck, so cap and cone do not mix.
    capped = dataclasses.replace(PROFILE, cap="flat", wall_m=0.3e-3)
    material = Elastic.isotropic(2.78e9, 0.37, 1178.0)
    structure = structure_of_profile(capped, 0, "clamped")
    rigidity = 2.78e9 * 0.3e-3**3 / (12 * (1 - 0.37**2))
    expected = 10.2158 * np.sqrt(rigidity / (1178.0 * 0.3e-3)) / (2 * np.pi * 0.0145**2)
    hertz = structure_modes(structure, material, 8).frequency_hz
    assert np.min(np.abs(hertz / expected - 1.0)) < 4e-3
    alone = structure_modes(structure_of_profile(dataclasses.replace(capped, cap="none"), 0, "clamped"), material, 4)
    assert np.min(np.abs(hertz[:, None] / alone.frequency_hz - 1.0), axis=0) == pytest.approx(0.0, abs=1e-9)


def test_bad_requests_are_refused() -> None:
    wall = wall_of_profile(PROFILE, 4)
    with pytest.raises(ParameterError, match="the Fourier order must be a whole number"):
        build_structure(wall, -1)
    with pytest.raises(ParameterError, match="an edge must be one of free, clamped"):
        build_structure(wall, 0, "glued")  # type: ignore[arg-type]
    with pytest.raises(ParameterError, match="a capped neck must be held"):
        build_structure(wall_of_profile(dataclasses.replace(PROFILE, cap="flat"), 4), 0, "free")
    with pytest.raises(ParameterError, match="an odd number of stations"):
        wall_from_meridian([0.0, 1.0], 0.0, 0.0, 1.0, 0.1)
    with pytest.raises(ParameterError, match="layers must be at least 1"):
        wall_from_meridian([0.0, 1.0, 2.0], 0.0, 0.0, 1.0, 0.1, 0)
    with pytest.raises(ParameterError, match="a shape parameter must be one of"):
        node_velocities(PROFILE, ("colour",))
