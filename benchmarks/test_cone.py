"""Ten modes of a cone, their gradient, its poles and its response; against scikit-fem with a sparse solver.

The named alternative assembles and solves the same body, order 0, the same elements: scikit-fem and eigsh.
"""

from __future__ import annotations

import time

import numpy as np
import pytest
from ratio import compare, least_s, say, slowness
from scipy.sparse.linalg import eigsh
from skfem import Basis, BilinearForm, ElementQuad2, ElementVector, MeshQuad

from frusta.cone.driver import Bench, Coil, Motor, build_driver, response
from frusta.cone.elasticity import Elastic
from frusta.cone.medium import air_at
from frusta.cone.poles import find_poles
from frusta.cone.profile import ConeProfile
from frusta.cone.sensitivity import pole_sensitivity
from frusta.cone.structure import energy_gradients, structure_modes, structure_of_profile
from frusta.cone.trace import air_of_profile
from frusta.cone.wall import ELEMENTS, SHAPE_PARAMETERS, node_velocities

PROFILE = ConeProfile("straight", 0.0135, 0.043, 0.027, 0.0, 0.9e-3)
PLASTIC = Elastic(2.4e9, 2.0e9, 0.75e9, 0.37, 0.34, 1200.0, 0.02)
MODES = 10


def scikit_fem_modes() -> np.ndarray:
    """The same cone, neck clamped, by general-purpose assembly and solution."""
    tensor = MeshQuad.init_tensor(np.linspace(0.0, 1.0, ELEMENTS + 1), np.array([-0.5, 0.5]))
    radius, height = PROFILE.meridian(tensor.p[0])
    normal, across = np.array(PROFILE.unit_normal(tensor.p[0])), tensor.p[1] * PROFILE.thickness_m(tensor.p[0])
    neck = tensor.facets_satisfying(lambda x: x[0] == 0.0)
    basis = Basis(MeshQuad(np.array([radius, height]) + across * normal, tensor.t), ElementVector(ElementQuad2()))
    c11, c12, c13, c33, c44 = PLASTIC.constants_pa()

    @BilinearForm
    def stiffness(u, v, w):
        r, g, h = w.x[0], u.grad, v.grad
        hoop, other = u[0] / r, v[0] / r
        energy = c11 * (g[0, 0] * h[0, 0] + hoop * other) + c12 * (g[0, 0] * other + hoop * h[0, 0])
        energy = energy + c13 * (g[1, 1] * (h[0, 0] + other) + h[1, 1] * (g[0, 0] + hoop)) + c33 * g[1, 1] * h[1, 1]
        return r * (energy + c44 * (g[0, 1] + g[1, 0]) * (h[0, 1] + h[1, 0]))

    @BilinearForm
    def mass(u, v, w):
        return PLASTIC.density_kg_m3 * w.x[0] * (u[0] * v[0] + u[1] * v[1])

    free = np.setdiff1d(np.arange(basis.N), basis.get_dofs(neck).all())
    a, b = stiffness.assemble(basis).tocsc()[free][:, free], mass.assemble(basis).tocsc()[free][:, free]
    return np.sqrt(np.sort(eigsh(a, MODES, b, sigma=0.0, return_eigenvectors=False))) / (2.0 * np.pi)


def our_modes() -> np.ndarray:
    """Build and solve."""
    return structure_modes(structure_of_profile(PROFILE, 0, "clamped"), PLASTIC, MODES).frequency_hz


@pytest.mark.parametrize(("order", "limit_ms"), [(0, 4.0), (2, 7.0), (4, 7.0)])
def test_ten_modes_of_one_order(order: int, limit_ms: float) -> None:
    structure = structure_of_profile(PROFILE, order, "clamped")
    took = 1e3 * least_s(lambda: structure_modes(structure, PLASTIC, MODES), 20, time.process_time)
    print(f"\nten modes, order {order}: {took:.2f} ms")
    assert took < limit_ms * slowness(time.process_time)


def test_modes_against_scikit_fem() -> None:
    # its grading differs, so only the physics is the same
    assert our_modes() == pytest.approx(scikit_fem_modes(), rel=2e-3)
    ratio = compare(our_modes, scikit_fem_modes)
    say("structure built and ten modes", ratio, "scikit-fem with eigsh")
    assert ratio.times_faster > 4.0


def test_gradient_costs_at_most_three_times_the_modes() -> None:
    structure, constants = structure_of_profile(PROFILE), PLASTIC.constants_pa()
    modes = structure_modes(structure, PLASTIC, MODES)

    def gradient() -> np.ndarray:
        _, by_node = energy_gradients(structure, constants, modes.vectors, modes.squared_rad_s, PLASTIC.density_kg_m3)
        return np.tensordot(by_node, node_velocities(PROFILE, SHAPE_PARAMETERS), axes=([1, 2, 3], [1, 2, 3]))

    ratio = compare(gradient, lambda: structure_modes(structure, PLASTIC, MODES))
    say("gradient over moduli and shape", ratio, "ten modes")
    assert ratio.times_faster > 1.0 / 3.0


def test_driver_response_and_poles() -> None:
    motor, coil, bench, air = Motor(4.2, 3000.0, 0.7), Coil(3e-3, 5.5, 0.1e-3), Bench("free", 0.12), air_at()
    matrices = air_of_profile(PROFILE)
    hertz = 1000.0 * 2.0 ** (np.arange(-541, 415) / 96.0)

    def build():
        return build_driver(PROFILE, PLASTIC, motor, coil, bench, air, air=matrices)

    driver = build()
    poles = find_poles(driver)
    for what, limit_ms, function in (
        ("response, 96 an octave, from the material on", 100.0, lambda: response(build(), hertz)),
        ("poles", 30.0, lambda: find_poles(driver)),
        ("their sensitivities", 10.0, lambda: pole_sensitivity(driver, poles, PROFILE, PLASTIC)),
    ):
        took = 1e3 * least_s(function, clock=time.process_time)
        print(f"\n{what}: {took:.1f} ms")
        assert took < limit_ms * slowness(time.process_time), what
