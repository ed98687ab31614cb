"""Cones, cylinders, spheres and NAFEMS benchmarks (the tables of CHECKS; sources beside each)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import eigh

from frusta.cone import banded
from frusta.cone.edges import Edge
from frusta.cone.elasticity import Elastic
from frusta.cone.lanczos import lowest_eigenpairs
from frusta.cone.structure import FreeModes, build_structure, structure_modes
from frusta.cone.wall import Wall, graded, wall_from_meridian

STEEL = Elastic.isotropic(1.0, 0.3, 1.0)


def cone(half_angle_deg: float, neck: float, thickness: float, elements: int = 48, layers: int = 1) -> Wall:
    """A straight cone of rim radius 1, semi-vertex angle from the axis."""
    angle = np.radians(half_angle_deg)
    radius = neck + (1.0 - neck) * graded(elements)
    height = (radius - neck) / np.tan(angle)
    return wall_from_meridian(radius, height, -np.cos(angle), np.sin(angle), thickness, layers)


def numbers(wall: Wall, order: int, neck: Edge, rim: Edge, count: int, material: Elastic = STEEL) -> np.ndarray:
    """Ω = ω·R2·√(ρ/E) of the elastic modes."""
    modes = structure_modes(build_structure(wall, order, neck, rim), material, count + 2)
    return elastic(modes, count)


def elastic(modes: FreeModes, count: int) -> np.ndarray:
    """Drop the rigid motions (below 1e-3; the lowest bell mode lies at 8e-3)."""
    values = np.sqrt(np.maximum(modes.squared_rad_s, 0.0))
    return np.asarray(values[values > 1e-3][:count])


IRIE_SHORT = {
    # Irie, Yamada, Tanaka, J. Sound Vib. 92(3), 1984 (memory, confirmed): V-V, L·sin α/R2 = .25, n = 2..9
    30: (0.7910, 0.7284, 0.6352, 0.5531, 0.4949, 0.4653, 0.4645, 0.4892),
    45: (0.6879, 0.6973, 0.6664, 0.6304, 0.6032, 0.5918, 0.5992, 0.6257),
    60: (0.5722, 0.6001, 0.6054, 0.6077, 0.6159, 0.6343, 0.6650, 0.7084),
}


@pytest.mark.parametrize("angle", [30, 45, 60])
def test_cone_on_shear_diaphragms(angle: int) -> None:
    # 1.5 % for a solid held at one mid-surface node (CHECKS)
    wall = cone(angle, 0.75, 0.01)
    ours = [numbers(wall, n, "diaphragm", "diaphragm", 1)[0] for n in range(2, 10)]
    assert np.array(ours) * np.sqrt(0.91) == pytest.approx(IRIE_SHORT[angle], rel=1.2e-2)


@pytest.mark.parametrize(
    ("neck", "rim", "expected", "tolerance"),
    [
        # same source, L·sin α/R2 = .5, α 45°, n = 0..9; solid within .45 % (V-V), .5 % (the rest)
        ("diaphragm", "diaphragm",
         (0.2233, 0.5463, 0.6309, 0.5061, 0.3942, 0.3340, 0.3239, 0.3514, 0.4023, 0.4676), 6e-3),
        ("clamped", "clamped",
         (0.8731, 0.8120, 0.6696, 0.5430, 0.4570, 0.4095, 0.3970, 0.4151, 0.4577, 0.5177), 5e-3),
        ("clamped", "free",
         (0.6529, 0.3822, 0.2250, 0.1496, 0.1177, 0.1188, 0.1438, 0.1829, 0.2311, 0.2864), 5e-3),
        ("free", "clamped",
         (0.8696, 0.7634, 0.5290, 0.3632, 0.2818, 0.2763, 0.3180, 0.3761, 0.4398, 0.5103), 5e-3),
    ],
)  # fmt: skip
def test_cone_of_45_degrees(neck: Edge, rim: Edge, expected: tuple[float, ...], tolerance: float) -> None:
    wall = cone(45, 0.5, 0.01)
    for order, value in enumerate(expected):
        ours = numbers(wall, order, neck, rim, 1)[0] * np.sqrt(0.91)
        assert ours == pytest.approx(value, rel=tolerance), f"order {order}"


@pytest.mark.parametrize(
    ("angle", "expected"),
    [
        (30, (0.4831, 0.3551, 0.2748, 0.2284, 0.2106, 0.2184, 0.2467, 0.2901)),
        (45, (0.5039, 0.4041, 0.3339, 0.2898, 0.2690, 0.2701, 0.2907, 0.3277)),
        (60, (0.4059, 0.3479, 0.3061, 0.2823, 0.2762, 0.2870, 0.3132, 0.3527)),
    ],
)
def test_short_cone_held_at_the_neck(angle: int, expected: tuple[float, ...]) -> None:
    wall = cone(angle, 0.75, 0.01)
    ours = [numbers(wall, n, "clamped", "free", 1)[0] * np.sqrt(0.91) for n in range(2, 10)]
    assert ours == pytest.approx(expected, rel=5e-3)


BELLS = {
    # solid of revolution, two methods (CHECKS): F-F, neck/rim .25, h/R2 .01, first two at n = 2, 3, 4; 0.5 %
    45: ((0.01570, 0.0861), (0.04068, 0.1999), (0.07199, 0.2853)),
    60: ((0.01634, 0.1051), (0.04156, 0.2149), (0.07264, 0.2923)),
    70: ((0.01652, 0.1189), (0.04136, 0.2121), (0.07137, 0.2729)),
}
FREE_LOW = {45: (0.7612, 0.7754), 60: (0.5651, 0.5799), 70: (0.4048, 0.4187)}
HELD = {
    # C-F, first two at n = 0 .. 4
    45: ((0.5931, 0.7946), (0.1651, 0.7617), (0.0815, 0.5859), (0.0599, 0.4070), (0.0757, 0.3312)),
    60: ((0.4410, 0.6037), (0.1574, 0.5817), (0.0808, 0.5034), (0.0618, 0.3878), (0.0770, 0.3357)),
    70: ((0.3068, 0.4412), (0.1233, 0.4245), (0.0658, 0.3775), (0.0559, 0.3150), (0.0744, 0.2988)),
}


@pytest.mark.parametrize("angle", [45, 60, 70])
def test_bell_modes_and_a_held_neck(angle: int) -> None:
    wall = cone(angle, 0.25, 0.01)
    for order, pair in zip((2, 3, 4), BELLS[angle], strict=True):
        assert numbers(wall, order, "free", "free", 2) == pytest.approx(pair, rel=5e-3), f"bell {order}"
    for order, value in enumerate(FREE_LOW[angle]):
        assert numbers(wall, order, "free", "free", 1)[0] == pytest.approx(value, rel=5e-3)
    for order, pair in enumerate(HELD[angle]):
        assert numbers(wall, order, "clamped", "free", 2) == pytest.approx(pair, rel=5e-3), f"held {order}"


COIL = {
    # ring mass q × cone mass on the neck edge, all displacements, neck .25, h .01 (CHECKS): n = 0; n = 2
    45: {0.25: ((0.5283, 0.7607), (0.0157, 0.0579)), 1.0: ((0.2967, 0.7418), (0.0157, 0.0355))},
    60: {0.25: ((0.4416, 0.5718), (0.0163, 0.0713)), 1.0: ((0.2691, 0.5613), (0.0162, 0.0439))},
}


@pytest.mark.parametrize("angle", [45, 60])
@pytest.mark.parametrize("share", [0.25, 1.0])
def test_coil_on_the_neck(angle: int, share: float) -> None:
    wall = cone(angle, 0.25, 0.01)
    volume = np.pi * (1.0 - 0.25**2) / np.sin(np.radians(angle)) * 0.01
    for order, expected in zip((0, 2), COIL[angle][share], strict=True):
        structure = build_structure(wall, order)
        mass = structure.mass(1.0)
        size = 2 if order == 0 else 3
        weight = share * volume * (1.0 if order == 0 else 0.5)
        for node, part in enumerate((1 / 6, 4 / 6, 1 / 6)):  # Simpson: evenly over the edge
            mass[0, node * size : (node + 1) * size] += weight * part
        squared, vectors = lowest_eigenpairs(structure.stiffness(STEEL.constants_pa()), mass, 0.02, 4)
        tolerance = 5e-3 if order == 0 else 1e-2
        assert elastic(FreeModes(squared, vectors), 2) == pytest.approx(expected, rel=tolerance), f"order {order}"


PRINTED = [
    # cone 60°, neck .25, h .02, F-F (CHECKS, 3-D elasticity, 0.3 %): E_z, G_z; n = 0 (3), n = 2 (2), n = 3 (1)
    (1.0, 0.3676, (0.5928, 0.8416, 1.1528), (0.0322, 0.2003), 0.0798),
    (0.8, 0.2, (0.5790, 0.7949, 1.0664), (0.0311, 0.1901), 0.0773),
    (0.5, 0.1, (0.5592, 0.7348, 0.9590), (0.0296, 0.1771), 0.0737),
]


@pytest.mark.parametrize(("axial", "shear", "breathing", "second", "third"), PRINTED)
def test_isotropic_and_printed_cone(
    axial: float, shear: float, breathing: tuple[float, ...], second: tuple[float, ...], third: float
) -> None:
    wall, material = cone(60, 0.25, 0.02, layers=3), Elastic(1.0, axial, shear, 0.36, 0.36 * axial, 1.0)
    assert numbers(wall, 0, "free", "free", 3, material) == pytest.approx(breathing, rel=3e-3)
    # two printed figures of four digits: half a unit in the last place is up to 0.17 %
    assert numbers(wall, 2, "free", "free", 2, material) == pytest.approx(second, rel=4e-3)
    assert numbers(wall, 3, "free", "free", 1, material)[0] == pytest.approx(third, rel=3e-3)


@pytest.mark.parametrize(("angle", "ratios"), [(45, (1.105, 1.077, 1.056)), (70, (1.266, 1.184, 1.129))])
def test_break_up_tends_to_the_rim_ringing(angle: int, ratios: tuple[float, ...]) -> None:
    # Frankort, J. Audio Eng. Soc. 26(9), 1978 (memory): from above towards cos α
    ours = [
        numbers(cone(angle, 0.25, h, 72), 0, "free", "free", 1)[0] / np.cos(np.radians(angle))
        for h in (0.02, 0.01, 0.005)
    ]
    assert ours == pytest.approx(ratios, rel=2e-3)
    assert ours[0] > ours[1] > ours[2] > 1.0


def test_free_short_cylinder() -> None:
    # Rayleigh and Love modes, L = R, h/R .01 (CHECKS: thin shell, two routes; 1 %)
    height = graded(40)
    wall = wall_from_meridian(1.0, height, -1.0, 0.0, 0.01)
    for order, pair in zip((2, 3, 4), ((0.008063, 0.014609), (0.022806, 0.036404), (0.04373, 0.061421)), strict=True):
        assert numbers(wall, order, "free", "free", 2) == pytest.approx(pair, rel=1e-2), f"order {order}"


def test_thin_ring() -> None:
    # Hoppe; Love: in its plane n(n²−1)/√(n²+1)·√(EI/ρA)/R²; breathing √(E/ρ)/R
    width = 0.02
    wall = wall_from_meridian(1.0, width * np.linspace(0.0, 1.0, 9), -1.0, 0.0, 0.02)
    breathing = numbers(wall, 0, "free", "free", 3)  # among them the section's own turning, √(1/2) of it
    assert np.min(np.abs(breathing - 1.0)) < 1e-4
    for order in (2, 3, 4):
        flexural = order * (order**2 - 1) / np.sqrt(order**2 + 1) * 0.02 / np.sqrt(12.0)
        closest = numbers(wall, order, "free", "free", 4)
        assert np.min(np.abs(closest / flexural - 1.0)) < 5e-3, f"order {order}"


def sphere(angle_deg: float, thickness: float, elements: int) -> Wall:
    """A spherical cap of radius 1, closed on the axis."""
    angle = np.radians(angle_deg) * np.linspace(0.0, 1.0, 2 * elements + 1)
    return wall_from_meridian(np.sin(angle), np.cos(angle), np.sin(angle), np.cos(angle), thickness)


def test_free_hemisphere() -> None:
    # 3-D elasticity, h/R .02 (CHECKS; 1 %); Rayleigh's inextensional figures lie 5 % above
    wall = sphere(90, 0.02, 40)
    for order, value in zip((2, 3, 4), (0.02537, 0.06884, 0.12835), strict=True):
        assert numbers(wall, order, "axis", "free", 1)[0] == pytest.approx(value, rel=5e-3)


def test_clamped_spherical_cap() -> None:
    # 60°, h/R .05 (CHECKS, 3-D elasticity; 1 %; Kalnins, JASA 36, 1964, thin shell, 0.6 % above)
    wall = sphere(60, 0.05, 30)
    expected = ((0.9999, 1.3703, 1.6752, 2.2612), (0.8987, 1.2089), (1.0781, 1.4773), (1.2133, 1.7707))
    for order, values in enumerate(expected):
        ours = numbers(wall, order, "axis", "clamped", len(values))
        assert ours == pytest.approx(values, rel=1e-2), f"order {order}"


def test_nafems_fv41_thick_cylinder() -> None:
    # Abbassian, Dawswell, Knowles, Free Vibration Benchmarks vol. 3, NAFEMS 1987; dimensions from memory.
    # 0.05 % against the printed figures where these are converged (the first two), 3-D elasticity for the rest.
    height = 10.0 * graded(40, 0.0)
    wall = wall_from_meridian(2.0, height, -1.0, 0.0, 0.4, 3)
    material = Elastic.isotropic(200e9, 0.3, 8000.0)
    hertz = structure_modes(build_structure(wall, 0), material, 6).frequency_hz[1:]
    assert hertz[:2] == pytest.approx([243.53, 377.41], rel=5e-4)
    assert hertz == pytest.approx([243.50, 377.39, 394.21, 397.84, 405.32], rel=5e-4)


def test_nafems_fv42_thick_sphere() -> None:
    # Radial modes of a hollow sphere, 1.8 to 6 m (same source; memory, confirmed). The row runs along a radius
    # at the equator, its faces are cones ±δ, and every node may move along its own radius only.
    half_angle, elements = 1e-3, 30
    radius = 1.8 + 4.2 * np.linspace(0.0, 1.0, 2 * elements + 1)
    wall = wall_from_meridian(radius, 0.0, 0.0, 1.0, 2.0 * radius * np.tan(half_angle))
    material = Elastic.isotropic(200e9, 0.3, 8000.0)
    structure = build_structure(wall, 0)
    unit = np.tile([[1.0, -np.tan(half_angle)], [1.0, 0.0], [1.0, np.tan(half_angle)]], (len(radius), 1))
    unit /= np.hypot(*unit.T)[:, None]
    radial = np.zeros((structure.unknowns, len(radius)))
    station = np.repeat(np.arange(len(radius)), 3)
    for part in (0, 1):  # all three nodes of a station move alike
        radial[2 * np.arange(len(unit)) + part, station] = unit[:, part]
    stiffness = radial.T @ banded.to_dense(structure.stiffness(material.constants_pa())) @ radial
    mass = radial.T @ banded.to_dense(structure.mass(8000.0)) @ radial
    hertz = np.sqrt(eigh(stiffness, mass, eigvals_only=True)[:5]) / (2.0 * np.pi)
    assert hertz == pytest.approx([369.94, 838.03, 1451.19, 2116.96, 2795.81], rel=5e-5)
