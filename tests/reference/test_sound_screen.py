"""Free thin shells in air against CHECKS 'More on sound' (closed forms and independent numerics named there)."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import iv, ivp, jv, jvp

from frusta.cone.air import ScreenAir, compute_screen_air
from frusta.cone.air_field import axis_rows, far_power, far_rows
from frusta.cone.air_mesh import AirMesh, air_mesh
from frusta.cone.double_layer import place_rows
from frusta.cone.screen_operator import azimuth_factor

Array = NDArray[np.float64]
DENSITY, SPEED = 1.2, 343.0


def disc(elements: int = 56, power: float = 2.5) -> AirMesh:
    return air_mesh(lambda u: (u, 0.0 * u), elements=elements, power=power)


@pytest.fixture(scope="module")
def disc_air() -> tuple[ScreenAir, ...]:
    return compute_screen_air(disc(), 5, 10.5)


def rigid_impedance(air: ScreenAir, ka: float) -> complex:
    """Z/(ρc πa²) of axial rigid motion, largest radius 1 m."""
    load = air.axial_coupling()
    mass = air.mass_matrix(ka, load[:, None], 1.0)[0, 0]
    return complex(1j * ka * mass / np.pi)


def rigid_jump(air: ScreenAir, ka: float) -> NDArray[np.complex128]:
    """Pressure jump over ρc·u for unit axial velocity u."""
    return np.asarray(np.linalg.solve(air.operator(ka), air.axial_coupling()) * 1j * ka)


def added_mass(mesh: AirMesh, shape: Callable[[Array], Array] | None = None, order: int = 0) -> float:
    """Added mass over ρ at k = 0."""
    air = compute_screen_air(mesh, order + 1, 0.2 / mesh.scale_m)[order]
    q = air.points
    motion = q.normal_z if shape is None else shape(q.radius)
    return float(air.mass_matrix(0.0, air.coupling(motion)[:, None], 1.0)[0, 0].real)


# rigid disc in free space, Galerkin in j_{2m+1}, CHECKS "unbaffled rigid disc, both faces", 0.5 %
DISC = [
    (0.1, 6e-6, 0.08505),
    (0.2, 0.000097, 0.17113),
    (0.5, 0.004065, 0.44611),
    (1.0, 0.08212, 1.02914),
    (1.5, 0.5669, 1.80770),
    (2.0, 1.8435, 2.00206),
    (3.0, 2.2836, 0.45227),
    (4.0, 1.7869, 0.32417),
    (5.0, 1.9153, 0.62116),
    (7.0, 1.9298, 0.19228),
    (10.0, 1.9743, 0.13785),
]


@pytest.mark.parametrize(("ka", "resistance", "reactance"), DISC)
def test_rigid_disc_impedance(disc_air: tuple[ScreenAir, ...], ka: float, resistance: float, reactance: float) -> None:
    z = rigid_impedance(disc_air[0], ka)
    assert z.real == pytest.approx(resistance, rel=5e-3, abs=5e-7)  # printed to 1e-6
    assert z.imag == pytest.approx(reactance, rel=1e-3)


def test_rigid_disc_low_frequency_closed_form(disc_air: tuple[ScreenAir, ...]) -> None:
    # X → 8ka/3π, R → 16(ka)⁴/27π²
    z = rigid_impedance(disc_air[0], 0.05)
    assert z.imag == pytest.approx(8 * 0.05 / (3 * np.pi), rel=1e-3)
    assert z.real == pytest.approx(16 * 0.05**4 / (27 * np.pi**2), rel=2e-3)


def test_rigid_disc_on_axis_far_away(disc_air: tuple[ScreenAir, ...]) -> None:
    # CHECKS "same, on axis far away", 0.1 dB
    rows = {0.5: 0.05577, 1: 0.25810, 2: 1.36078, 3: 1.74595, 5: 2.51683, 10: 4.94776}
    for ka, want in rows.items():
        jump = rigid_jump(disc_air[0], ka)
        far = abs(far_rows(disc_air[0], ka, np.array([0.0]))[0] @ jump)
        assert 20 * np.log10(far / want) == pytest.approx(0.0, abs=0.02)
        near = abs(axis_rows(disc_air[0], ka, 500.0) @ jump) * 500.0
        assert 20 * np.log10(near / want) == pytest.approx(0.0, abs=0.02)


def test_rigid_disc_directivity(disc_air: tuple[ScreenAir, ...]) -> None:
    # CHECKS "same, dB re axis at 30°, 60°", 0.2 dB
    rows = {0.5: (-1.30, -6.18), 1: (-1.46, -6.67), 2: (-2.08, -8.60), 3: (-3.01, -11.60), 5: (-8.63, -17.56)}
    for ka, want in rows.items():
        field = np.abs(far_rows(disc_air[0], ka, np.radians([0.0, 30.0, 60.0])) @ rigid_jump(disc_air[0], ka))
        np.testing.assert_allclose(20 * np.log10(field[1:] / field[0]), want, atol=0.02)


@pytest.mark.parametrize("order", range(5))
def test_far_field_carries_the_power_the_screen_gives(disc_air: tuple[ScreenAir, ...], order: int) -> None:
    # invariant: energy; the two sides share no step after the jump
    air = disc_air[order]
    load = air.coupling(air.points.radius**order)
    for ka in (0.3, 2.0, 9.0):
        jump = np.linalg.solve(air.operator(ka), load) * -(ka**2)
        given = -0.5 * ka**3 * air.mass_matrix(ka, load[:, None], 1.0)[0, 0].imag
        assert far_power(air, ka, jump, 1.0) == pytest.approx(given, rel=5e-5)


def test_place_rows_meet_axis_and_far_field(disc_air: tuple[ScreenAir, ...]) -> None:
    on_axis = place_rows(disc_air[0], 3.0, 0.0, 1.7)
    np.testing.assert_allclose(on_axis, axis_rows(disc_air[0], 3.0, 1.7), atol=1e-12)
    for n in (0, 1, 3):
        jump = np.ones(far_rows(disc_air[n], 2.0, np.array([0.6])).shape[1])
        far = far_rows(disc_air[n], 2.0, np.array([0.6]))[0] @ jump
        there = place_rows(disc_air[n], 2.0, 3000 * np.sin(0.6), 3000 * np.cos(0.6)) @ jump
        assert there * 3000 * np.exp(2j * 3000) == pytest.approx(far, rel=2e-3)


def test_added_mass_of_disc_converges_with_the_square_of_the_element() -> None:
    # closed form 8/3 ρa³ (Lamb); grading 2; slope 2 ± 0.1
    sizes = np.array([10, 20, 40])
    errors = [abs(added_mass(disc(n, power=2.0)) / (8 / 3) - 1) for n in sizes]
    slope = np.polyfit(np.log(1.0 / sizes), np.log(errors), 1)[0]
    assert slope == pytest.approx(2.0, abs=0.1)
    assert abs(added_mass(disc()) / (8 / 3) - 1) < 2e-4


def test_rocking_disc() -> None:
    # 16/45 ρa⁵, both faces (Lamb, Hydrodynamics)
    assert added_mass(disc(), lambda r: r, order=1) == pytest.approx(16 / 45, rel=2e-4)


@pytest.mark.parametrize("degrees", [30, 60, 90, 120])
def test_spherical_bowl(degrees: int) -> None:
    # ρR³(2α + sin α − sin 2α − ⅓ sin 3α)
    angle = np.radians(degrees)
    mesh = air_mesh(lambda u: (np.sin(angle * u), -np.cos(angle * u)), elements=80)
    want = 2 * angle + np.sin(angle) - np.sin(2 * angle) - np.sin(3 * angle) / 3
    assert added_mass(mesh) == pytest.approx(want, rel=1e-3)


@pytest.mark.parametrize(
    ("half_angle", "open_mass", "closed_mass"), [(45, 1.9669, 3.1234), (60, 1.8618, 2.8379), (70, 1.8259, 2.7378)]
)
def test_rigid_cone(half_angle: float, open_mass: float, closed_mass: float) -> None:
    # vortex-ring analogy, CHECKS "thin rigid cone", 0.5 %
    slope = 1.0 / np.tan(np.radians(half_angle))
    opened = air_mesh(lambda u: (0.25 + 0.75 * u, 0.75 * slope * u))
    closed = air_mesh(lambda u: (u, slope * u))
    assert added_mass(opened) == pytest.approx(open_mass, rel=5e-4)
    assert added_mass(closed) == pytest.approx(closed_mass, rel=5e-4)


@pytest.mark.parametrize(("hole", "want"), [(0.1, 2.3310), (0.25, 1.8007), (0.5, 0.9394)])
def test_flat_annulus(hole: float, want: float) -> None:
    assert added_mass(air_mesh(lambda u: (hole + (1 - hole) * u, 0.0 * u))) == pytest.approx(want, rel=5e-4)


def test_any_rigid_shell_radiates_as_a_dipole_of_its_added_mass() -> None:
    # R = M²ω⁴/(12πρc³) at low frequency
    mesh = air_mesh(lambda u: (0.25 + 0.75 * u, 0.6 * u))
    air = compute_screen_air(mesh, 1, 0.2)[0]
    mass = air.mass_matrix(0.05, air.axial_coupling()[:, None], 1.0)[0, 0]
    assert -mass.imag * 0.05 == pytest.approx(mass.real**2 * 0.05**4 / (12 * np.pi), rel=3e-3)


def free_plate_shape(order: int, number: int, poisson: float) -> Callable[[Array], Array]:
    """In-vacuo mode of a free thin disc: J_n(λr) + C I_n(λr); moment and shear vanish at r = 1."""

    def moment(lam: float, kind: int) -> float:
        f, d1, d2 = values(lam, kind)
        return d2 + poisson * (d1 - order**2 * f)

    def shear(lam: float, kind: int) -> float:
        f, d1, _ = values(lam, kind)
        sign = -1.0 if kind == 0 else 1.0
        return sign * lam**2 * d1 - (1 - poisson) * order**2 * (d1 - f)

    def values(lam: float, kind: int) -> tuple[float, float, float]:
        if kind == 0:
            return jv(order, lam), lam * jvp(order, lam), lam**2 * jvp(order, lam, 2)
        return iv(order, lam), lam * ivp(order, lam), lam**2 * ivp(order, lam, 2)

    def determinant(lam: float) -> float:
        return (moment(lam, 0) * shear(lam, 1) - moment(lam, 1) * shear(lam, 0)) * np.exp(-lam)

    grid = np.arange(1.5, 12.0, 0.05)
    signs = [determinant(x) for x in grid]
    roots = [
        brentq(determinant, a, b)
        for a, b, fa, fb in zip(grid[:-1], grid[1:], signs[:-1], signs[1:], strict=True)
        if fa * fb < 0
    ]
    lam = roots[number - 1]
    share = -moment(lam, 0) / moment(lam, 1)
    return lambda r: jv(order, lam * r) + share * iv(order, lam * r)


@pytest.mark.parametrize(
    ("order", "number", "at_30", "at_33"),
    [
        (0, 1, 0.43616, 0.43649),
        (0, 2, 0.27419, 0.27400),
        (1, 1, 0.34549, 0.34561),
        (2, 1, 0.32234, 0.32183),
        (3, 1, 0.25506, 0.25434),
        (4, 1, 0.21301, 0.21222),
    ],
)
def test_flexible_free_disc(order: int, number: int, at_30: float, at_33: float) -> None:
    # CHECKS "free flexible disc in air", in-vacuo mode shapes, 1 %
    mesh = disc()
    for poisson, want in ((0.3, at_30), (0.33, at_33)):
        shape = free_plate_shape(order, number, poisson)
        r, w = np.polynomial.legendre.leggauss(60)
        r, w = 0.5 * (r + 1.0), 0.5 * w
        square = azimuth_factor(order) * np.sum(w * r * shape(r) ** 2)
        assert added_mass(mesh, shape, order) / square == pytest.approx(want, rel=3e-3)


def sphere(elements: int = 80) -> ScreenAir:
    u = np.linspace(0.0, 1.0, elements + 1)
    radius = np.sin(np.pi * u)
    radius[[0, -1]] = 0.0
    return compute_screen_air(AirMesh(u, radius, -np.cos(np.pi * u)), 1, 5.5)[0]


def test_pulsating_and_oscillating_spheres() -> None:
    # exterior resistance: (ka)²/(1 + (ka)²) and (ka)⁴/[3(4 + (ka)⁴)] of ρc·4πa² (Kinsler; Lamb); the fluid
    # inside gives no resistance. 0.3 %: a polygon of 80 sides
    air = sphere()
    q = air.points
    out = -(q.normal_r * q.radius + q.normal_z * q.height)  # the listener's normal points inwards here
    for ka in (0.5, 1.0, 2.0, 5.0):
        pulsating = -air.mass_matrix(ka, air.coupling(out)[:, None], 1.0)[0, 0].imag * ka / (4 * np.pi)
        oscillating = -air.mass_matrix(ka, air.axial_coupling()[:, None], 1.0)[0, 0].imag * ka / (4 * np.pi)
        assert pulsating == pytest.approx(ka**2 / (1 + ka**2), rel=3e-3)
        assert oscillating == pytest.approx(ka**4 / (3 * (4 + ka**4)), rel=3e-3)
