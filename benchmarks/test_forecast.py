"""A forecast with its band, air cached; against a band drawn from whole models, each with its own poles."""

from __future__ import annotations

import numpy as np
from ratio import compare, say, slowness

from frusta.cone.driver import Bench, Coil, Motor, response
from frusta.cone.elasticity import Elastic
from frusta.cone.medium import air_at
from frusta.cone.poles import find_poles
from frusta.cone.profile import ConeProfile
from frusta.cone.trace import air_of_profile
from frusta.design.forecast import forecast
from frusta.design.possible import CloudOfCones
from frusta.design.responses import driver_of
from frusta.design.rig import ForecastRig
from frusta.material.knowledge import MaterialKnowledge, coordinates_of
from frusta.material.learned import JointKnowledge, ShapeKnowledge
from frusta.signal.smoothing import log_grid

RIG = ForecastRig(Motor(4.1, 3200.0, 0.75), Coil(0.003, 5.6, 1.3e-4), Bench("free", 0.13), air_at(20.0))
CONE = ConeProfile("straight", 0.0135, 0.043, 0.027, 0.0, 0.9e-3)
KNOWN = MaterialKnowledge(
    "any", None, coordinates_of(Elastic(2.4e9, 2.0e9, 0.75e9, 0.37, 0.34, 1200.0, 0.02)), np.diag(np.full(7, 1e-4))
)
JOINT, SHAPE = JointKnowledge(3e-8, 3e-9, 0.0, assumed=False), ShapeKnowledge()
LIMIT_S = 1.5


def whole_models() -> list[np.ndarray]:
    """Forty cones with all modes, each with its response and its poles."""
    grid, air = log_grid(20.0, 20e3), air_of_profile(CONE)
    out = []
    for cone in CloudOfCones(CONE, KNOWN, JOINT, SHAPE, RIG).draws():
        driver = driver_of(cone, RIG, air)
        out += [response(driver, grid), find_poles(driver).omega]
    return out


def test_forecast_with_its_band():
    found = compare(lambda: forecast(CONE, KNOWN, RIG, JOINT), whole_models, rounds=1)
    say("forecast with band", found, "forty whole models")
    assert found.ours_s <= LIMIT_S * slowness()
    assert found.times_faster > 1.5
