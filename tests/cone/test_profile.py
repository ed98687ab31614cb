"""Geometry of a cone: closed forms for the straight one, polygons for the curved ones, refusals."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from frusta.cone.profile import ConeProfile
from frusta.errors import ParameterError

STRAIGHT = ConeProfile("straight", 0.0145, 0.045, 0.030, 0.0, 0.9e-3)
CONCAVE = ConeProfile("concave", 0.0145, 0.042, 0.029, -2.6e-3, 1.2e-3, "line", wall_taper=0.2)
CONVEX = ConeProfile("convex", 0.0145, 0.039, 0.024, 2.4e-3, 3e-3, wall_taper=-0.1)


def polygon_volume(profile: ConeProfile, points: int = 20001) -> float:
    """Volume swept by the polygon between both faces: Green's theorem, ∮ π r² dz (independent route)."""
    u = np.linspace(0.0, 1.0, points)
    (r, z), (nr, nz), half = profile.meridian(u), profile.unit_normal(u), 0.5 * profile.thickness_m(u)
    radius = np.concatenate([r - half * nr, (r + half * nr)[::-1], (r - half * nr)[:1]])
    height = np.concatenate([z - half * nz, (z + half * nz)[::-1], (z - half * nz)[:1]])
    square = (radius[1:] ** 2 + radius[1:] * radius[:-1] + radius[:-1] ** 2) / 3.0
    return abs(math.pi * float(np.sum(square * np.diff(height))))


def test_straight_cone_against_the_closed_form() -> None:
    # Pappus: the wall's centroid lies on the mid-surface; lateral area of a frustum.
    slant = math.hypot(0.030, 0.0305)
    area = math.pi * (0.0145 + 0.045) * slant
    assert STRAIGHT.arc_length_m == pytest.approx(slant, rel=1e-14)
    assert STRAIGHT.area_m2 == pytest.approx(area, rel=1e-14)
    assert STRAIGHT.volume_m3 == pytest.approx(area * 0.9e-3, rel=1e-14)


@pytest.mark.parametrize("profile", [CONCAVE, CONVEX], ids=["line", "thick"])
def test_curved_volume_against_the_polygon(profile: ConeProfile) -> None:
    assert profile.volume_m3 == pytest.approx(polygon_volume(profile), rel=1e-8)


@pytest.mark.parametrize("profile", [STRAIGHT, CONCAVE, CONVEX], ids=["straight", "concave", "convex"])
def test_slope_normal_and_curvature_against_differences(profile: ConeProfile) -> None:
    u, step = np.linspace(0.05, 0.95, 7), 1e-5
    (r1, z1), (r2, z2) = profile.meridian(u - step), profile.meridian(u + step)
    assert profile.slope(u) == pytest.approx((z2 - z1) / (r2 - r1), rel=1e-8)
    nr, nz = profile.unit_normal(u)
    assert nr**2 + nz**2 == pytest.approx(1.0)
    assert nr * (r2 - r1) + nz * (z2 - z1) == pytest.approx(0.0, abs=1e-14)
    angle = np.arctan(profile.slope(u + step)) - np.arctan(profile.slope(u - step))
    assert profile.curvature_per_m(u) * profile.arc_per_u_m(u) == pytest.approx(angle / (2 * step), abs=1e-7)


def test_edges_of_the_meridian_and_the_line_rule() -> None:
    (r, z) = CONCAVE.meridian([0.0, 0.5, 1.0])
    assert r == pytest.approx([0.0145, 0.02825, 0.042])
    assert z == pytest.approx([0.0, 0.5 * 0.029 - 2.6e-3, 0.029])
    # a horizontal slice through the wall is wall_m wide: thickness over |radial normal|
    u = np.array([0.1, 0.5, 0.9])
    width = CONCAVE.thickness_m(u) / np.abs(CONCAVE.unit_normal(u)[0])
    assert width == pytest.approx(1.2e-3 * (1 + 0.2 * (u - 0.5)))


def test_cap_adds_a_disc() -> None:
    capped = dataclasses.replace(STRAIGHT, cap="flat")
    assert capped.volume_m3 - STRAIGHT.volume_m3 == pytest.approx(math.pi * 0.0145**2 * 0.9e-3, rel=1e-12)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"shape": "square"}, "shape must be one of straight, concave, convex"),
        ({"wall_rule": "thick"}, "wall_rule must be one of normal, line"),
        ({"cap": "dome"}, "cap must be one of none, flat"),
        ({"depth_m": math.nan}, "depth_m must be a finite number"),
        ({"rim_radius_m": math.inf}, "rim_radius_m must be a finite number"),
        ({"neck_radius_m": 0.0}, "neck_radius_m must be positive"),
        ({"rim_radius_m": 0.010}, "rim_radius_m must exceed neck_radius_m"),
        ({"depth_m": -0.03}, "depth_m must be positive"),
        ({"wall_m": 0.0}, "wall_m must be positive"),
        ({"wall_m": 0.02}, "wall_m must be less than neck_radius_m"),
        ({"wall_taper": 2.5}, "wall_taper must lie between"),
        ({"bow_m": 0.012, "wall_rule": "line"}, "the meridian must rise everywhere"),
        ({"bow_m": 0.06, "wall_m": 0.008}, "the wall must not cross itself"),
    ],
)
def test_impossible_geometry_is_refused(change: dict[str, object], message: str) -> None:
    with pytest.raises(ParameterError, match=message):
        dataclasses.replace(STRAIGHT, **change)  # type: ignore[arg-type]
