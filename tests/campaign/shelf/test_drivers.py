"""Size-free figures. Oracle: their definitions, worked by hand; Chebyshev identities for distortion and drive."""

from __future__ import annotations

import math

import numpy as np
import pytest

from frusta.campaign.findings import Reading
from frusta.campaign.package import open_package
from frusta.campaign.shelf.drivers import distortion_at_pressure, incomparable, standing_lines, standings
from frusta.errors import ParameterError

NO_GROUP = {"material": None, "recipe": None, "profile": None}


@pytest.fixture
def rows(maker_package):
    specimens = maker_package / "specimens.csv"
    text = specimens.read_text().replace("coil_mass_g\n", "coil_mass_g,rim_radius_mm\n")
    specimens.write_text(text.replace("oak-2,cone,oak,walls,cv80,,9.5,\n", "oak-2,driver,,,,,12.0,,65\n"))
    with (maker_package / "takes.csv").open("a") as file:
        file.write("d,oak-2,s1,,short,1,recordings/b.flac,,,\n")
    package = open_package(maker_package)
    figures = {"breakup_hz": 2500.0, "upper_limit_hz": 9000.0, "decay_2_percent_ms": 2.0}
    readings = [
        Reading(
            take=t,
            specimen=s,
            kind=k,
            material=None,
            recipe=None,
            profile=None,
            session="s1",
            seating=1,
            quality="ok",
            **f,
        )
        for t, s, k, f in (
            ("a", "fir-1", "cone", {**figures, "breakup_hz": 4000.0}),
            ("b", "oak-1", "cone", {"reasons": {"breakup_hz": "too noisy"}}),
            ("d", "oak-2", "driver", figures),
        )
    ]
    return {row.specimen: row for row in standings(package, readings)}


def test_figures_by_hand(rows):
    """c = 343.2·√((273.15 + 21.5)/293.15) m/s (ISO 9613-1); radius 40 mm from the profile, 65 mm as given."""
    c = 343.2 * math.sqrt(294.65 / 293.15)
    cone, driver = rows["fir-1"], rows["oak-2"]
    assert cone.breakup_ka == pytest.approx(2 * math.pi * 4000 * 0.040 / c, rel=1e-3)
    assert driver.breakup_ka == pytest.approx(2 * math.pi * 2500 * 0.065 / c, rel=1e-3)
    assert driver.breakup_radius_hz_m == pytest.approx(162.5)
    assert cone.mass_per_area_kg_m2 == pytest.approx((7.5e-3 + 3e-3) / (math.pi * 0.04**2))
    assert driver.mass_per_area_kg_m2 == pytest.approx(12e-3 / (math.pi * 0.065**2))
    assert driver.decay_2_percent_cycles == pytest.approx(5.0)


def test_what_is_missing_has_its_reason(rows):
    assert rows["oak-1"].breakup_ka is None
    assert rows["oak-1"].reasons["breakup_hz"] == "too noisy"


def test_what_cannot_be_compared_is_said(rows):
    from dataclasses import replace

    said = incomparable(rows["fir-1"], replace(rows["oak-2"], mounting="baffle", rig="other"))
    assert len(said) == 3
    assert "fir-1 was measured free, oak-2 in a baffle" in said[0]
    assert incomparable(rows["fir-1"], rows["oak-1"]) == ()
    lines = standing_lines(list(rows.values()))
    assert lines[0].startswith("oak-2 (driver): break-up at ka 2.97")
    assert any(line.startswith("Not comparable: decay and distortion") for line in lines)


def test_distortion_at_equal_pressure_follows_the_polynomial():
    """y = x + a2·x² + a3·x³ with a3·A² ≪ 1: h2 = a2·A/2, h3 = a3·A²/4; played 6 dB louder, A doubles."""
    a2, a3, amplitude = 0.02, 0.01, 0.1
    level = 20 * np.log10(np.array([amplitude, 2 * amplitude]))
    h = {
        2: 20 * np.log10(a2 * amplitude * np.array([1, 2]) / 2),
        3: 20 * np.log10(a3 * (amplitude * np.array([1, 2])) ** 2 / 4),
    }
    louder = distortion_at_pressure(np.array([500.0, 500.0]), level, h, float(level[1]))
    assert louder[0] == pytest.approx(louder[1], rel=1e-9)
    assert louder[1] == pytest.approx(100 * math.hypot(a2 * 0.2 / 2, a3 * 0.04 / 4), rel=1e-9)
    assert np.isnan(distortion_at_pressure(np.array([500.0]), level[:1], {2: h[2][:1]}, float(level[0]) + 10.1))
    with pytest.raises(ParameterError, match="orders must be at least 2"):
        distortion_at_pressure(np.array([500.0]), level[:1], {1: level[:1]}, 0.0)
