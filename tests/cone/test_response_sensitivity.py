"""Derivatives of a driver's response.

Oracle: central differences of the response of drivers built anew, which share only the forward model.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from frusta.cone.driver import Bench, Coil, Joint, Motor, build_driver, build_rigid_driver, response
from frusta.cone.elasticity import Elastic
from frusta.cone.medium import air_at
from frusta.cone.profile import ConeProfile
from frusta.cone.response_sensitivity import RESPONSE_PARAMETERS, response_sensitivity
from frusta.cone.sensitivity import BENCH_FIELDS
from frusta.errors import ParameterError

HERTZ = np.geomspace(320.0, 9e3, 40)
PARTS = {
    "profile": ConeProfile("convex", 0.0125, 0.036, 0.022, 0.0018, 0.0008, wall_taper=0.02),
    "material": Elastic(2.1e9, 1.8e9, 0.65e9, 0.36, 0.33, 1200.0, 0.02),
    "motor": Motor(4.0, 3000.0, 0.8),
    "coil": Coil(0.0025, 5.0, 1.5e-4),
    "bench": Bench("free", 0.15),
    "medium": air_at(20.0, 50.0),
    "joint": Joint(4e-8, 0.01),
}


@pytest.fixture(scope="module")
def driver():
    return build_driver(**PARTS)


@pytest.fixture(scope="module")
def found(driver):
    return response_sensitivity(driver, PARTS["profile"], PARTS["material"], HERTZ)


def place_of(name: str) -> tuple[str, str, float]:
    """Part, field and scale of a parameter."""
    if name == "air_density_scale":
        return "medium", "density_kg_m3", PARTS["medium"].density_kg_m3
    if name in BENCH_FIELDS:
        return (*BENCH_FIELDS[name], 1.0)
    part = next(key for key in ("material", "profile", "bench") if hasattr(PARTS[key], name))
    return part, name, 1.0


def test_the_response_is_the_drivers_own(driver, found):
    assert found.pressure == pytest.approx(response(driver, HERTZ), rel=1e-12)
    assert found.names == RESPONSE_PARAMETERS


@pytest.mark.parametrize("name", RESPONSE_PARAMETERS)
def test_every_derivative_is_that_of_finite_differences(driver, found, name):
    part, field, scale = place_of(name)
    value = getattr(PARTS[part], field)
    step = 1e-4 * value

    def at(moved: float) -> np.ndarray:
        there = {**PARTS, part: replace(PARTS[part], **{field: value + moved})}
        return response(build_driver(**there, air=driver.air), HERTZ)

    expected = np.log(at(step) / at(-step)) / (2.0 * step / scale)
    # the truncated basis leaves up to 7e-3 of the largest for shapes, 1e-3 for the rest (measured on this cone)
    tolerance = 1e-2 if part == "profile" else 1.5e-3
    assert np.abs(found.of(name) - expected).max() < tolerance * np.abs(expected).max()


def test_what_has_no_derivative_is_refused(driver, found):
    rigid = build_rigid_driver(
        PARTS["profile"], 5e-3, PARTS["motor"], PARTS["coil"], PARTS["bench"], PARTS["medium"], air=driver.air
    )
    with pytest.raises(ParameterError, match="a rigid cone's response has no material to derive by"):
        response_sensitivity(rigid, PARTS["profile"], PARTS["material"], HERTZ)
    with pytest.raises(ParameterError, match=r"a parameter must be one of .* \(got 'colour'\)"):
        found.of("colour")
