"""Draws of possible cones have the moments they are said to have, and are always cones."""

from __future__ import annotations

import numpy as np
import pytest

from frusta.cone.driver import Bench, Coil, Motor
from frusta.cone.elasticity import Elastic
from frusta.cone.medium import air_at
from frusta.cone.profile import ConeProfile
from frusta.design.possible import CloudOfCones
from frusta.design.rig import ForecastRig
from frusta.material.knowledge import MaterialKnowledge, PrintScatter, coordinates_of, handbook_knowledge
from frusta.material.learned import JointKnowledge, ShapeKnowledge

RIG = ForecastRig(Motor(4.0, 3000.0, 0.7), Coil(0.003, 6.0), Bench("free", 0.1), air_at(20.0))
CONE = ConeProfile("convex", 0.014, 0.040, 0.028, 0.002, 0.0009)
SOLID = Elastic(2.4e9, 1.9e9, 0.75e9, 0.37, 0.34, 1150.0, 0.03)


def test_moments_are_those_of_filament_and_print():
    covariance = np.diag(np.array([0.02, 0.03, 0.04, 0.01, 0.01, 0.006, 0.05]) ** 2)
    covariance[0, 1] = covariance[1, 0] = -0.8 * 0.02 * 0.03
    known = MaterialKnowledge("a", None, coordinates_of(SOLID), covariance, PrintScatter(0.015, 0.03, 0.005, 0.01))
    draws = CloudOfCones(CONE, known, JointKnowledge(1e-7, 1e-8), ShapeKnowledge(), RIG).draws(4000, seed=3)
    table = np.array([coordinates_of(cone.elastic) for cone in draws])
    expected = covariance.copy()
    expected[:3, :3] += 0.015**2
    expected[5, 5] += 0.005**2
    expected[6, 6] += 0.03**2
    sd = np.sqrt(np.diag(expected))
    assert np.mean(table, axis=0) == pytest.approx(coordinates_of(SOLID), abs=1e-9)  # strata
    assert np.cov(table.T) / np.outer(sd, sd) == pytest.approx(expected / np.outer(sd, sd), abs=0.07)
    walls = np.log([cone.profile.wall_m / CONE.wall_m for cone in draws])
    assert np.std(walls) == pytest.approx(0.01, rel=0.05)
    assert np.std([cone.joint.compliance_m_n for cone in draws]) == pytest.approx(1e-8, rel=0.05)


def test_wide_priors_never_leave_what_can_exist():
    drawing = ConeProfile("concave", 0.014, 0.040, 0.012, -0.0029, 0.0009, "line")  # a bow a hair under the most
    draws = CloudOfCones(
        drawing, handbook_knowledge("a"), JointKnowledge(), ShapeKnowledge(bow_u_m=5e-4, taper_u=0.8), RIG
    ).draws(400)
    assert len(draws) == 400
    assert all(cone.joint.compliance_m_n >= 0.0 for cone in draws)


def test_the_expected_cone_has_the_shape_that_prints_have():
    shape = ShapeKnowledge(depth_m=1e-4, bow_m=-5e-5, taper=0.02)
    expected = CloudOfCones(CONE, handbook_knowledge("a"), JointKnowledge(), shape, RIG).expected
    assert expected.profile.wall_m == CONE.wall_m
    for name, value in (("depth_m", 0.0281), ("bow_m", 0.00195), ("wall_taper", 0.02)):
        assert getattr(expected.profile, name) == pytest.approx(value, rel=1e-12)
