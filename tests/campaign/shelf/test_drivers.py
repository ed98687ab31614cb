"""Size-free figures. Oracle: their definitions, worked by hand; Chebyshev identities for distortion and drive."""

from __future__ import annotations

import math

import numpy as np
import pytest

from frusta.campaign.findings import Reading
from frusta.campaign.package import open_package
from frusta.campaign.shelf.drivers import (
    distortion_at_equal_level,
    distortion_at_pressure,
    incomparable,
    standing_lines,
    standings,
)
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


def test_distortion_is_told_at_the_level_that_all_series_reach(rows):
    """Oracle: second order alone doubles with each 6.02 dB; a straight line in decibels gives it exactly."""
    from dataclasses import replace

    def law(level, at_80):
        return at_80 * 10 ** ((level - 80.0) / 20.0)

    quiet = replace(rows["fir-1"], series=tuple((level, law(level, 0.5)) for level in (70.0, 76.0, 82.0)))
    loud = replace(rows["oak-2"], series=tuple((level, law(level, 0.2)) for level in (75.0, 81.0, 90.0)))
    level, percent = distortion_at_equal_level([quiet, loud, rows["oak-1"]])
    assert level == 82.0
    assert percent == pytest.approx({"fir-1": law(82.0, 0.5), "oak-2": law(82.0, 0.2)}, rel=1e-12)
    words = standing_lines([quiet, loud])
    assert any(line.startswith("Distortion at equal sound pressure (82.0 dB") for line in words)
    assert distortion_at_equal_level([quiet, rows["oak-1"]]) is None
    far = replace(loud, series=((83.0, 0.1), (90.0, 0.2)))
    assert distortion_at_equal_level([quiet, far]) is None, "never beyond a series"
    assert any("not had; it takes two" in line for line in standing_lines([quiet, far]))


def test_a_series_is_read_from_takes_at_several_drive_gains(maker_package):
    """Oracle: level as played is level_db, brought to a gain of 0 dB, plus the gain."""
    text = (maker_package / "takes.csv").read_text().splitlines()
    row = dict(zip(text[0].split(","), text[1].split(","), strict=True))
    row.pop("drive_gain_db", None)
    rows = [",".join([*row, "drive_gain_db"])]
    for name, gain in (("p", "0"), ("q", "-6"), ("r", "-6")):
        rows.append(",".join((row | {"take": name, "specimen": "fir-1", "drive_gain_db": gain}).values()))
    (maker_package / "takes.csv").write_text("\n".join(rows) + "\n")
    package = open_package(maker_package)
    common = {"specimen": "fir-1", "kind": "cone", "session": "s1", "seating": 1, "quality": "ok", **NO_GROUP}
    readings = [
        Reading(take=take, level_db=80.0, input_thd_peak_percent=percent, **common)
        for take, percent in (("p", 0.8), ("q", 0.3), ("r", 0.5))
    ]
    assert standings(package, readings)[0].series == ((74.0, 0.4), (80.0, 0.8))
    assert standings(package, readings[1:])[0].series == ()
