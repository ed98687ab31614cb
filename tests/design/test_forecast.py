"""Forecasts: the band's coverage, propagation against drawn cones, the bare cone, assumptions, determinism.

Oracles: cones drawn from other seeds, Monte Carlo against linear propagation, Rayleigh's interlacing, central
differences.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from frusta.cone.driver import RIGID_JOINT, Bench, Coil, Driver, Motor, response
from frusta.cone.elasticity import Elastic
from frusta.cone.medium import air_at
from frusta.cone.poles import find_poles
from frusta.cone.profile import ConeProfile
from frusta.cone.reduction import reduce_cone
from frusta.cone.sensitivity import pole_sensitivity
from frusta.cone.trace import air_of_profile
from frusta.cone.wall import wall_of_profile
from frusta.design.cone_modes import axial_modes
from frusta.design.forecast import Forecast, forecast
from frusta.design.possible import CloudOfCones
from frusta.design.responses import driver_of
from frusta.design.rig import ForecastRig
from frusta.errors import ParameterError
from frusta.material.knowledge import MaterialKnowledge, coordinates_of, handbook_knowledge
from frusta.material.learned import JointKnowledge, ShapeKnowledge

RIG = ForecastRig(
    Motor(4.1, 3200.0, 0.75), Coil(0.003, 5.6, 1.3e-4), Bench("free", 0.13), air_at(20.0), 20.0, 20e3, 1.75
)
CONE = ConeProfile("straight", 0.0145, 0.040, 0.026, 0.0, 0.0009)
SOLID = Elastic(2.4e9, 1.9e9, 0.75e9, 0.37, 0.34, 1150.0, 0.03)
SD = np.array([0.01, 0.04, 0.06, 0.03, 0.03, 0.005, 0.02])
KNOWN = MaterialKnowledge("fir", "walls", coordinates_of(SOLID), np.diag(SD**2))
JOINT = JointKnowledge(3e-8, 3e-9, 0.0, assumed=False)
SHAPE = ShapeKnowledge()


@pytest.fixture(scope="module")
def told() -> Forecast:
    """One forecast for all tests."""
    return forecast(CONE, KNOWN, RIG, JOINT)


def test_mass_is_volume_times_density(told: Forecast):
    assert told.mass_g == pytest.approx(1e3 * CONE.volume_m3 * 1150.0, rel=1e-12)
    assert told.mass_g_u / told.mass_g == pytest.approx(np.sqrt(0.005**2 + 0.005**2 + 0.01**2), rel=1e-9)


def test_the_expected_response_is_the_driver_s(told: Forecast):
    cloud = CloudOfCones(CONE, KNOWN, JOINT, SHAPE, RIG)
    pressure = response(driver_of(cloud.expected, RIG), told.response.frequency_hz)
    level = 20.0 * np.log10(np.abs(pressure) * 1.75 / np.sqrt(2.0) / 20e-6)
    assert told.response.level_db == pytest.approx(level, abs=1e-9)


def test_the_band_holds_further_prints_as_often_as_it_says(told: Forecast):
    """60 prints drawn from another seed, modes not truncated: on average 95 % of each response, 90 to 99 %."""
    cloud = CloudOfCones(CONE, KNOWN, JOINT, SHAPE, RIG)
    places = np.arange(0, told.response.frequency_hz.size, 24)
    hertz = told.response.frequency_hz[places]
    middle = driver_of(cloud.expected, RIG)
    inside = []
    for cone in cloud.draws(60, seed=77):
        level = 20.0 * np.log10(np.abs(response(driver_of(cone, RIG, middle.air), hertz)) * 1.75 / np.sqrt(2.0) / 20e-6)
        level += cone.level_db
        inside.append((told.response.low_95_db[places] <= level) & (level <= told.response.high_95_db[places]))
    assert 0.90 <= np.mean(inside) <= 0.99


def test_mode_uncertainty_is_the_spread_of_drawn_cones(told: Forecast):
    """Linear propagation against Monte Carlo: standard deviations of 40 draws are good to 11 % (1 sd)."""
    cloud = CloudOfCones(CONE, KNOWN, JOINT, SHAPE, RIG)
    middle = driver_of(cloud.expected, RIG)
    first = []
    for cone in cloud.draws(40, seed=5):
        poles = find_poles(driver_of(cone, RIG, middle.air, 16), 1500.0, 9000.0)
        first.append((poles.frequency_hz[0], poles.frequency_hz[1], poles.loss_factor[0]))
    spread = np.std(np.array(first), axis=0)
    modes = [m for m in told.modes if m.circumferential_order == 0]
    expected = np.array([modes[0].frequency_hz_u, modes[1].frequency_hz_u, modes[0].loss_factor_u])
    assert spread / expected == pytest.approx(np.ones(3), abs=0.35)


def test_recorded_modes_lie_under_those_of_the_bare_cone(told: Forecast):
    """A mass and springs on one motion lower every mode, not below the next (Rayleigh); air lowers them further."""
    modes = [m for m in told.modes if m.circumferential_order == 0]
    assert len(modes) >= 5
    for lower, mode in zip([None, *modes], modes, strict=False):
        assert mode.frequency_hz < mode.free_frequency_hz
        if lower is not None:
            assert mode.frequency_hz > 0.97 * lower.free_frequency_hz


def test_bell_modes_of_four_orders_are_there(told: Forecast):
    for order in (1, 2, 3, 4):
        rows = [m for m in told.modes if m.circumferential_order == order]
        assert [m.mode_number for m in rows] == [1, 2]
        assert all(m.prominence_db is None and m.frequency_hz < m.free_frequency_hz for m in rows)


def test_an_unknown_filament_has_a_band_as_wide_as_that_deserves(told: Forecast):
    vague = forecast(CONE, handbook_knowledge("fir"), RIG)
    named = forecast(CONE, handbook_knowledge("fir", polymer="PETG", density_kg_m3=1270.0), RIG)

    def width(known: Forecast) -> float:
        return float(np.mean(known.response.high_95_db - known.response.low_95_db))

    def break_up_width(known: Forecast) -> float:
        return float(np.log(known.figures["breakup_hz"].high_95 / known.figures["breakup_hz"].low_95))

    assert width(vague) > 1.2 * width(named) > 2.0 * width(told)
    assert break_up_width(vague) > break_up_width(named) > 4.0 * break_up_width(told)
    assert any("handbook" in words for words in named.assumed)
    assert not any("handbook" in words for words in told.assumed)


def test_the_same_to_the_byte(told: Forecast):
    again = forecast(CONE, KNOWN, RIG, JOINT)
    assert again.response.low_95_db.tobytes() == told.response.low_95_db.tobytes()
    assert again.modes == told.modes
    assert again.figures == told.figures


def test_what_cannot_be_had_is_none_with_a_reason():
    short = replace(RIG, start_hz=400.0, stop_hz=2000.0, drive_peak_v=None)
    told = forecast(CONE, KNOWN, short, JOINT, draws=4)
    assert told.level_is == "relative"
    for key in ("breakup_hz", "level_db", "upper_limit_hz", "decay_2_percent_ms", "piston_limit_hz"):
        assert told.figures[key].value is None
        assert told.figures[key].reason


def test_a_capped_cone_is_forecast_too():
    capped = replace(CONE, cap="flat")
    cloud = CloudOfCones(capped, KNOWN, JOINT, SHAPE, RIG)
    driver = driver_of(cloud.expected, RIG)
    poles, modes = axial_modes(driver, cloud.expected, cloud)
    told = pole_sensitivity(driver, poles, capped, SOLID).of("wall_m")[:2] / poles.squared[:2]
    step = 1e-3 * capped.wall_m
    moved = [
        find_poles(
            driver_of(replace(cloud.expected, profile=replace(capped, wall_m=capped.wall_m + sign * step)), RIG),
            1000.0,
            12e3,
        ).squared[:2]
        for sign in (1.0, -1.0)
    ]
    assert len(modes) > 3
    assert told == pytest.approx((moved[0] - moved[1]) / (2.0 * step) / poles.squared[:2], rel=0.03)


def test_bell_sensitivity_is_the_central_difference():
    """For an order whose neck is held: the columns of material and wall that a forecast uses."""

    def poles(solid: Elastic, cone: ConeProfile):
        air = air_of_profile(CONE, 3, "free")
        reduced = reduce_cone(wall_of_profile(cone), solid, air, 6, neck_moves=False)
        driver = Driver(reduced, air, RIG.medium, RIG.motor, RIG.coil, RIGID_JOINT, RIG.bench, 0.026)
        return driver, find_poles(driver, 100.0, 3000.0)

    driver, found = poles(SOLID, CONE)
    told = pole_sensitivity(driver, found, CONE, SOLID)
    for name, value, change in (
        ("hoop_pa", SOLID.hoop_pa, lambda x: poles(replace(SOLID, hoop_pa=x), CONE)[1]),
        ("density_kg_m3", 1150.0, lambda x: poles(replace(SOLID, density_kg_m3=x), CONE)[1]),
        ("wall_m", CONE.wall_m, lambda x: poles(SOLID, replace(CONE, wall_m=x))[1]),
    ):
        ahead, behind = change(value * 1.001).squared[0], change(value * 0.999).squared[0]
        assert told.of(name)[0] * value / found.squared[0] == pytest.approx(
            (ahead - behind) / (0.002 * found.squared[0]), rel=0.01, abs=1e-4
        )


def test_one_draw_makes_no_band():
    with pytest.raises(ParameterError, match=r"2 or more \(got 1\)"):
        forecast(CONE, KNOWN, RIG, draws=1)
