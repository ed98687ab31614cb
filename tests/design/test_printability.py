"""Printability. Oracle: closed forms of the lean of a straight wall and of a parabola's ends."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import pytest

from frusta.cone.profile import ConeProfile
from frusta.design.printability import OverhangLimit, printable
from frusta.errors import ParameterError

STRAIGHT = ConeProfile("straight", 0.015, 0.045, 0.030, 0.0, 0.0009)


def test_a_straight_cone_leans_as_its_sides_say():
    made = printable(STRAIGHT)
    assert made.verdict == "yes"
    assert made.steepest_overhang_deg == pytest.approx(45.0, abs=1e-9)
    assert printable(replace(STRAIGHT, depth_m=0.060)).steepest_overhang_deg == pytest.approx(
        math.degrees(math.atan(0.5))
    )


def test_a_convex_cone_overhangs_at_its_rim_and_a_concave_one_at_its_neck():
    """Slope at the ends: (depth ∓ 4·bow)/span."""
    convex = printable(replace(STRAIGHT, shape="convex", bow_m=0.003))
    assert convex.steepest_overhang_deg == pytest.approx(90.0 - math.degrees(math.atan(18.0 / 30.0)), abs=1e-6)
    assert convex.at_radius_percent == pytest.approx(100.0)
    concave = printable(replace(STRAIGHT, shape="concave", bow_m=-0.003))
    assert concave.at_radius_percent == pytest.approx(100.0 * 15.0 / 45.0)
    assert concave.steepest_overhang_deg == pytest.approx(convex.steepest_overhang_deg)


def test_where_it_fails_and_what_mends_it():
    limit = OverhangLimit(48.0, 55.0, assumed=False)
    cone = replace(STRAIGHT, shape="convex", bow_m=0.004)
    made = printable(cone, limit)
    assert made.verdict == "no"
    assert made.assumed == ()
    start = re.search(r"from (\d+) % of the radius", made.reasons[0])
    u = 0.5 * (1.0 - (math.tan(math.radians(35.0)) * 0.030 - 0.030) / (4.0 * 0.004))
    assert float(start.group(1)) == pytest.approx(100.0 * (0.015 + 0.030 * u) / 0.045, abs=0.6)
    bow_mm = float(re.search(r"bring the bow to (-?[\d.]+) mm", made.reasons[0]).group(1))
    assert 0.0 < bow_mm < 4.0
    assert printable(replace(cone, bow_m=1e-3 * bow_mm), limit).verdict != "no"
    assert printable(replace(cone, bow_m=1e-3 * (bow_mm + 0.15)), limit).verdict == "no"


def test_a_flat_cone_is_told_how_deep_it_must_be():
    made = printable(replace(STRAIGHT, depth_m=0.012))
    assert made.verdict == "no"
    depth_mm = float(re.search(r"at least ([\d.]+) mm deep", made.reasons[0]).group(1))
    assert printable(replace(STRAIGHT, depth_m=1e-3 * depth_mm)).verdict != "no"


def test_a_wall_under_one_line_cannot_be_printed():
    made = printable(replace(STRAIGHT, wall_m=0.00025))
    assert made.verdict == "no"
    assert "0.35 mm wide" in made.reasons[-1]  # 0.25 mm along the normal of a 45° wall
    assert printable(replace(STRAIGHT, wall_m=0.0003)).verdict == "yes"


def test_limits_must_be_in_order():
    with pytest.raises(ParameterError, match="clean_to_deg ≤ failed_at_deg"):
        OverhangLimit(60.0, 50.0)
