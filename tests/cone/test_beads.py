"""The bead-built wall against the inverse of its compliance, closed forms of rings and tubes, and scikit-fem."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.sparse.linalg import eigsh
from skfem import Basis, BilinearForm, ElementQuad2, ElementVector, MeshQuad, MeshQuad2

from frusta.cone.beads import BeadBuilt
from frusta.cone.driver import Bench, Coil, Motor, build_driver
from frusta.cone.elasticity import Elastic
from frusta.cone.medium import air_at
from frusta.cone.poles import find_poles
from frusta.cone.profile import ConeProfile
from frusta.cone.sensitivity import pole_sensitivity
from frusta.cone.structure import build_structure, structure_modes, structure_of_profile
from frusta.cone.wall import graded, wall_from_meridian
from frusta.errors import ParameterError

PROFILE = ConeProfile("convex", 0.0145, 0.039, 0.024, 2.4e-3, 0.8e-3, wall_taper=0.1)
PRINTED = BeadBuilt(2.78e9, 1.9e9, 0.7e9, 0.37, 0.31, 1178.0, 0.021)
MODULI = ("hoop_pa", "axial_pa", "layer_shear_pa", "poisson_plane", "poisson_axial")


def stiffness_matrix(solid: BeadBuilt) -> np.ndarray:
    """Stress per strain in r, θ, z, θz, rz, rθ: the compliance written out and inverted."""
    along, across = solid.hoop_pa, solid.axial_pa
    table = np.zeros((6, 6))
    table[1, 1], table[0, 0], table[2, 2] = 1.0 / along, 1.0 / across, 1.0 / across
    table[0, 1] = table[1, 0] = table[1, 2] = table[2, 1] = -solid.poisson_plane / along
    table[0, 2] = table[2, 0] = -solid.poisson_axial / across
    backwards = solid.poisson_plane * across / along
    mean = np.sqrt(along * across)
    table[3, 3] = table[5, 5] = 2.0 * (1.0 + np.sqrt(solid.poisson_plane * backwards)) / mean  # Huber
    table[4, 4] = 1.0 / solid.layer_shear_pa
    return np.asarray(np.linalg.inv(table))


@given(st.floats(0.5, 5.0), st.floats(0.3, 5.0), st.floats(0.1, 2.0), st.floats(0.0, 0.5), st.floats(-0.2, 0.5))
def test_constants_invert_the_compliance(hoop: float, axial: float, shear: float, plane: float, across: float) -> None:
    assume(1.0 - across - 2.0 * plane**2 * axial / hoop > 0.02)
    solid = BeadBuilt(hoop, axial, shear, plane, across, 1.0)
    c = stiffness_matrix(solid)
    expected = [c[i, j] for i, j in ((0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2), (3, 3), (4, 4), (5, 5))]
    assert solid.constants_pa() @ solid.combination == pytest.approx(expected, rel=1e-9, abs=1e-9)


def test_gradient_against_differences() -> None:
    gradient = PRINTED.constants_gradient()
    for column, name in enumerate(MODULI):
        value = getattr(PRINTED, name)
        ahead = dataclasses.replace(PRINTED, **{name: value * (1 + 1e-5)}).constants_pa()
        behind = dataclasses.replace(PRINTED, **{name: value * (1 - 1e-5)}).constants_pa()
        numeric = (ahead - behind) / (2e-5 * value)
        assert gradient[:, column] == pytest.approx(numeric, rel=1e-7, abs=1e-9 * abs(numeric).max()), name


@pytest.mark.parametrize("order", [0, 1, 2, 3])
def test_a_solid_alike_in_all_directions_is_the_same_under_both_laws(order: int) -> None:
    layers, beads = Elastic.isotropic(2.2e9, 0.37, 1200.0), BeadBuilt.isotropic(2.2e9, 0.37, 1200.0)
    assert isinstance(beads, BeadBuilt)
    first = structure_of_profile(PROFILE, order, combination=layers.combination).stiffness(layers.constants_pa())
    second = structure_of_profile(PROFILE, order, combination=beads.combination).stiffness(beads.constants_pa())
    assert second == pytest.approx(first, rel=1e-12, abs=1e-12 * first.max())


def tube_hz(solid: Elastic, radius: float, height: float, wall: float, order: int, elements: int) -> np.ndarray:
    """The lowest modes of a free tube of unit density, rigid motions included."""
    meridian = np.full(2 * elements + 1, radius)
    row = wall_from_meridian(meridian, height * graded(elements), -1.0, 0.0, wall)
    structure = build_structure(row, order, combination=solid.combination)
    return structure_modes(structure, solid, 6).frequency_hz


def test_a_thin_ring_breathes_and_bends_by_its_hoop_modulus_alone() -> None:
    # breathing ω² = E_θ/(ρR²); in-plane bending ω² = n²(n²−1)²/(n²+1)·E_θI/(ρAR⁴) (Love, Hoppe; from memory), shear
    # and rotation lower it by about 5 (h/R)² = 5e-4
    radius, wall = 1.0, 0.01
    solid = BeadBuilt(2.0, 1.1, 0.35, 0.35, 0.3, 1.0)
    breathing = np.sqrt(solid.hoop_pa) / radius / (2.0 * np.pi)
    assert np.min(np.abs(tube_hz(solid, radius, 0.01, wall, 0, 1) / breathing - 1.0)) < 1e-4
    inertia = wall**2 / 12.0 / radius**4
    bending = np.sqrt(solid.hoop_pa * inertia * 36.0 / 5.0) / (2.0 * np.pi)
    assert np.min(np.abs(tube_hz(solid, radius, 0.01, wall, 2, 1) / bending - 1.0)) < 1e-3


def test_a_long_tube_stretches_by_its_axial_modulus() -> None:
    # f = √(E_z/ρ)/2L less the inertia of its rim that contracts: (1 − ½(πνR/L)²), Love 1927 (from memory)
    radius, height = 0.05, 2.0
    solid = BeadBuilt(2.0, 1.1, 0.35, 0.35, 0.3, 1.0)
    contraction = solid.poisson_plane * solid.axial_pa / solid.hoop_pa  # along the hoop per stretch along z
    expected = np.sqrt(solid.axial_pa) / (2.0 * height) * (1.0 - 0.5 * (np.pi * contraction * radius / height) ** 2)
    assert np.min(np.abs(tube_hz(solid, radius, height, 1e-3, 0, 40) / expected - 1.0)) < 1e-5


def scikit_fem_modes(order: int, elements: int, count: int) -> np.ndarray:
    """The same body by scikit-fem from the full 6 × 6 matrix; neck clamped, rim free."""
    u = graded(elements)
    curved = MeshQuad2.from_mesh(MeshQuad.init_tensor(u[::2], np.array([-0.5, 0.5])))
    place, through = curved.doflocs
    normal, middle = np.array(PROFILE.unit_normal(place)), np.array(PROFILE.meridian(place))
    mesh = MeshQuad2(middle + through * PROFILE.thickness_m(place) * normal, curved.t)
    basis = Basis(mesh, ElementVector(ElementQuad2(), 3), intorder=5)
    c = stiffness_matrix(PRINTED)

    def strains(u, r):  # type: ignore[no-untyped-def]
        g = u.grad
        return (
            g[0, 0], (u[0] + order * u[2]) / r, g[1, 1],
            g[2, 1] - order * u[1] / r, g[0, 1] + g[1, 0], g[2, 0] - (u[2] + order * u[0]) / r,
        )  # fmt: skip

    @BilinearForm
    def stiffness(u, v, w):  # type: ignore[no-untyped-def]
        a, b = strains(u, w.x[0]), strains(v, w.x[0])
        return w.x[0] * sum(c[i, j] * a[i] * b[j] for i in range(6) for j in range(6) if c[i, j] != 0.0)

    @BilinearForm
    def mass(u, v, w):  # type: ignore[no-untyped-def]
        return PRINTED.density_kg_m3 * w.x[0] * (u[0] * v[0] + u[1] * v[1] + u[2] * v[2])

    normal_r, normal_z = PROFILE.unit_normal(0.0)
    ends = mesh.p[:, mesh.facets[:, mesh.boundary_facets()]] - np.array([[[PROFILE.neck_radius_m]], [[0.0]]])
    at_neck = np.all(np.abs(ends[0] * normal_z - ends[1] * normal_r) < 1e-9, axis=0)
    neck = mesh.boundary_facets()[at_neck]
    free = np.setdiff1d(np.arange(basis.N), basis.get_dofs(neck).all())
    a, b = stiffness.assemble(basis).tocsr()[free][:, free], mass.assemble(basis).tocsr()[free][:, free]
    return np.asarray(np.sqrt(np.sort(eigsh(a, count, b, sigma=0.0, return_eigenvectors=False))) / (2.0 * np.pi))


@pytest.mark.parametrize("order", [2, 3])
def test_modes_against_scikit_fem(order: int) -> None:
    # the same nine-node elements on the same nodes: equal to rounding
    structure = structure_of_profile(PROFILE, order, "clamped", 20, combination=PRINTED.combination)
    ours = structure_modes(structure, PRINTED, 6).frequency_hz
    assert ours == pytest.approx(scikit_fem_modes(order, 20, 6), rel=1e-8)


def test_breathing_modes_do_not_feel_the_shear_along_the_beads() -> None:
    # the stated reason why `along_shear_pa` is no unknown of a fit
    parts = structure_of_profile(PROFILE, 0, combination=PRINTED.combination).parts
    assert not np.any(parts[5])
    assert np.any(structure_of_profile(PROFILE, 2, combination=PRINTED.combination).parts[5])


def test_poles_move_as_differences_say() -> None:
    motor, coil, bench = Motor(4.2, 2500.0, 0.7), Coil(2.5e-3, 4.0, 1.5e-4), Bench("free", 0.1)

    def poles_of(solid: BeadBuilt) -> np.ndarray:
        return find_poles(build_driver(PROFILE, solid, motor, coil, bench, air_at()), 900.0, 8e3).squared

    driver = build_driver(PROFILE, PRINTED, motor, coil, bench, air_at())
    found = find_poles(driver, 900.0, 8e3)
    slopes = pole_sensitivity(driver, found, PROFILE, PRINTED)
    for name in MODULI:
        value = getattr(PRINTED, name)
        ahead = poles_of(dataclasses.replace(PRINTED, **{name: 1.0005 * value}))
        behind = poles_of(dataclasses.replace(PRINTED, **{name: 0.9995 * value}))
        numeric = (ahead - behind) / 1e-3
        largest = 1e-3 * float(np.abs(PRINTED.hoop_pa * slopes.of("hoop_pa")).max())  # what 24 modes leave
        assert value * slopes.of(name) == pytest.approx(numeric, rel=1e-3, abs=largest), name


@pytest.mark.parametrize(
    "change", [{"hoop_pa": 0.0}, {"poisson_axial": 1.0}, {"poisson_plane": 0.75}, {"loss_factor": -0.1}]
)
def test_impossible_solids_are_refused(change: dict[str, float]) -> None:
    with pytest.raises(ParameterError, match=r"must be positive|must keep the strain energy|must not be negative"):
        dataclasses.replace(PRINTED, **change)
