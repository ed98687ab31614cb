"""Which mode is the break-up may differ from print to print: oracle is prints drawn from another seed, each asked."""

from __future__ import annotations

import numpy as np
import pytest

from frusta.campaign.forecast_file import forecast_lines
from frusta.cone.driver import Bench, Coil, Driver, Motor
from frusta.cone.elasticity import Elastic
from frusta.cone.medium import air_at
from frusta.cone.poles import break_up, find_poles, prominences_db
from frusta.cone.profile import ConeProfile
from frusta.design.cone_modes import axial_modes
from frusta.design.forecast import Forecast, forecast
from frusta.design.possible import CloudOfCones
from frusta.design.responses import driver_of
from frusta.design.rig import ForecastRig
from frusta.material.knowledge import MaterialKnowledge, coordinates_of
from frusta.material.learned import JointKnowledge, ShapeKnowledge

RIG = ForecastRig(
    Motor(4.1, 3200.0, 0.75), Coil(0.003, 5.6, 1.3e-4), Bench("free", 0.13), air_at(20.0), 20.0, 20e3, 1.75
)
FLAT = ConeProfile("convex", 0.0145, 0.040, 0.018, 0.0042, 0.0009)
"""Its lowest mode contributes about as little as a break-up may."""
PLAIN = ConeProfile("straight", 0.0145, 0.040, 0.022, 0.0, 0.0009)
"""Its lowest mode contributes 10 dB more."""
SD = np.array([0.01, 0.04, 0.06, 0.03, 0.03, 0.005, 0.05])
KNOWN = MaterialKnowledge("fir", "walls", coordinates_of(Elastic(2.4e9, 1.9e9, 0.75e9, 0.37, 0.34, 1150.0, 0.043)),
                          np.diag(SD**2))  # fmt: skip
JOINT, SHAPE = JointKnowledge(3e-8, 3e-9, 0.0, assumed=False), ShapeKnowledge()


def cloud(profile: ConeProfile) -> CloudOfCones:
    return CloudOfCones(profile, KNOWN, JOINT, SHAPE, RIG)


def asked(profile: ConeProfile, count: int) -> np.ndarray:
    """Break-up of prints drawn from another seed, all modes kept."""
    held = cloud(profile)
    middle = driver_of(held.expected, RIG)
    found = []
    for cone in held.draws(count, seed=91):
        own = driver_of(cone, RIG, middle.air)
        poles = find_poles(own, 300.0, 12e3)
        found.append(float(poles.frequency_hz[break_up(own, poles)]))
    return np.array(found)


@pytest.fixture(scope="module")
def told() -> Forecast:
    return forecast(FLAT, KNOWN, RIG, JOINT)


def test_the_interval_holds_prints_whose_break_up_is_another_mode(told: Forecast):
    found = told.figures["breakup_hz"]
    prints = asked(FLAT, 30)
    assert prints.max() > 1.5 * prints.min(), "the cone must be one whose break-up jumps"
    assert np.mean((found.low_95 <= prints) & (prints <= found.high_95)) >= 0.9
    pole = next(m for m in told.modes if m.circumferential_order == 0 and m.frequency_hz == found.value)
    alone = np.abs(prints / pole.frequency_hz - 1.0) <= 1.96 * pole.frequency_hz_u / pole.frequency_hz
    assert np.mean(alone) < 0.9, "one pole's own uncertainty does not hold them"


def test_how_many_prints_have_another_break_up_is_said(told: Forecast):
    reason = told.figures["breakup_hz"].reason
    assert reason is not None
    assert "another mode breaks up first in" in reason
    assert reason in next(line for line in forecast_lines(told, "flat") if line.startswith("  breaks up"))
    assert told.figures["breakup_prominence_db"].low_95 < told.figures["breakup_prominence_db"].high_95


def test_where_no_mode_is_near_to_changing_sides_the_pole_s_own_uncertainty_stands():
    held = cloud(PLAIN)
    driver: Driver = driver_of(held.expected, RIG)
    poles, modes = axial_modes(driver, held.expected, held)
    assert prominences_db(driver, poles)[0] > -6.0
    found = forecast(PLAIN, KNOWN, RIG, JOINT, draws=2).figures["breakup_hz"]
    assert found.value == pytest.approx(modes[0].frequency_hz, rel=1e-9)
    assert np.log(found.high_95 / found.value) == pytest.approx(1.96 * modes[0].frequency_hz_u / found.value, rel=1e-9)
    assert found.reason is None
