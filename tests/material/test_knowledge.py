"""What is known of a material: coordinates, storage, handbook."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from frusta.cone.elasticity import Elastic
from frusta.errors import ParameterError
from frusta.material.knowledge import (
    COORDINATES,
    MaterialKnowledge,
    PrintScatter,
    coordinates_of,
    elastic_at,
    elastic_towards,
    handbook_knowledge,
)
from frusta.material.learned import JointKnowledge, Learned, ShapeKnowledge

SOLID = Elastic(2.4e9, 1.9e9, 0.75e9, 0.37, 0.34, 1150.0, 0.03)


def test_coordinates_and_back():
    back = elastic_at(coordinates_of(SOLID))
    for name in COORDINATES:
        assert getattr(back, name) == pytest.approx(getattr(SOLID, name), rel=1e-12)


@settings(max_examples=50, deadline=None)
@given(st.lists(st.floats(-3.0, 3.0), min_size=7, max_size=7))
def test_however_far_a_step_there_is_a_solid(step):
    assert elastic_towards(coordinates_of(SOLID), np.array(step)).hoop_pa > 0.0


def test_stored_and_read_back():
    known = MaterialKnowledge(
        "fir", "walls", coordinates_of(SOLID), np.diag(np.full(7, 1e-4)), PrintScatter(0.01, 0.02, 0.003, 0.008),
        ("hoop_modulus",), ("density",), ("a note",),
    )  # fmt: skip
    learned = Learned({"fir": known}, JointKnowledge(1e-8, 2e-9, 0.01, False), {"st": ShapeKnowledge(1e-4)})
    back = Learned.from_json(learned.to_json())
    assert back.joint == learned.joint
    assert back.shapes == learned.shapes
    assert back.to_json() == learned.to_json()
    with pytest.raises(ParameterError, match="estimate anew"):
        Learned.from_json({"materials": {}})


def test_no_distribution_is_refused():
    with pytest.raises(ParameterError, match="positive semi-definite"):
        MaterialKnowledge("a", None, coordinates_of(SOLID), np.diag([1e-4] * 6 + [-1e-4]))
    with pytest.raises(ParameterError, match="shapes"):
        MaterialKnowledge("a", None, coordinates_of(SOLID), np.eye(3))


@pytest.mark.parametrize(
    ("polymer", "low_gpa", "high_gpa", "density"),
    [("PLA", 3.0, 3.6, 1240), ("pa-12", 1.3, 1.7, 1010), ("PP (recycled)", 1.1, 1.6, 900), ("PETG", 1.9, 2.2, 1270)],
)
def test_handbook_figures_lie_in_the_ranges_of_the_checks(polymer, low_gpa, high_gpa, density):
    """Source: CHECKS, "Materials (starting values)", from memory."""
    known = handbook_knowledge("x", polymer=polymer)
    assert low_gpa < 1e-9 * known.elastic.hoop_pa < high_gpa
    assert known.elastic.density_kg_m3 == pytest.approx(density)
    assert known.standard_deviation("hoop_pa") > 0.2
    assert "from memory" in known.notes[0]
    assert set(known.assumed) >= {"hoop_modulus", "loss_factor"}


def test_a_filled_or_unknown_plastic_is_known_less():
    plain, filled = (handbook_knowledge("x", polymer=p).standard_deviation("hoop_pa") for p in ("PA12", "PA12 CF"))
    assert filled > 1.5 * plain


def test_the_ratios_of_the_moduli_are_free():
    """A prior tied to a constant ratio would pass for a measurement."""
    c = handbook_knowledge("x", polymer="PLA").covariance
    for i, sd in ((1, 0.30), (2, 0.25)):
        assert np.sqrt(c[0, 0] + c[i, i] - 2 * c[0, i]) == pytest.approx(sd, rel=1e-9)
