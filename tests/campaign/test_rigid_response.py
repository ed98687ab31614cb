"""The rigid cone beside a take: what is needed is asked for by name, what is assumed is said."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from frusta.campaign.resolve import ResolvedTake
from frusta.campaign.rigid_response import rigid_response
from frusta.campaign.rows import Profile, Rig

PROFILE = Profile(
    profile="st90", shape="straight", neck_radius_mm=14, rim_radius_mm=45, depth_mm=30, bow_mm=0, wall_mm=0.9
)
RIG = Rig(
    rig="bench",
    mounting="free",
    microphone_distance_mm=130,
    force_factor_tm=4.1,
    suspension_stiffness_n_mm=3.2,
    suspension_resistance_ns_m=0.75,
)


def take(**changes) -> ResolvedTake:
    """Only what the rigid cone needs of a resolved take."""
    held = {
        "profile": PROFILE,
        "rig": RIG,
        "cone_mass_kg": 8e-3,
        "coil_mass_kg": 3e-3,
        "coil_resistance_ohm": 5.6,
        "coil_inductance_h": 1.3e-4,
        "temperature_c": 20.0,
        "humidity_pct": 50.0,
    }
    return SimpleNamespace(**held | changes)


def test_where_mass_controls_twice_the_mass_is_half_the_pressure():
    """Closed form: far above the resonance the acceleration is force over moving mass, air's 8/3·ρa³ included."""
    light, heavy = (rigid_response(take(cone_mass_kg=m)).response for m in (20e-3, 43.15e-3))
    at = [np.interp(600.0, r.frequency_hz, np.abs(r.pressure)) for r in (light, heavy)]
    air = 8 / 3 * 1.2 * 0.045**3 * 0.7  # an open cone carries about 0.7 of a disc's added mass
    expected = (43.15e-3 + 3e-3 + air) / (20e-3 + 3e-3 + air)
    assert at[0] / at[1] == pytest.approx(expected, rel=0.02)


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"profile": None}, "profile"),
        ({"cone_mass_kg": None}, "mass_g"),
        ({"coil_mass_kg": None}, "coil_mass_g"),
        ({"coil_resistance_ohm": None}, "coil_resistance_ohm"),
        ({"rig": RIG.model_copy(update={"force_factor_tm": None})}, "force_factor_tm"),
    ],
)
def test_what_is_missing_is_named(change, name):
    found = rigid_response(take(**change))
    assert found.response is None
    assert found.reason == f"the rigid cone cannot be computed: the tables name no {name}"


def test_an_inductance_that_nobody_knows_is_taken_as_zero_and_said_so():
    found = rigid_response(take(coil_inductance_h=None))
    assert found.response is not None
    assert "coil_inductance_mh taken as 0" in found.reason


def test_a_shape_that_cannot_exist_is_a_reason_and_no_error():
    found = rigid_response(take(profile=PROFILE.model_copy(update={"rim_radius_mm": 10.0})))
    assert found.response is None
    assert found.reason.startswith("the rigid cone cannot be computed: ")


def test_what_moves_besides_cone_and_coil_counts_like_the_coil_and_nothing_is_nothing():
    """Invariant: mass on the rig or on the coil is the same mass."""
    on_rig = rigid_response(take(rig=RIG.model_copy(update={"moving_mass_g": 2.0}))).response
    on_coil = rigid_response(take(coil_mass_kg=5e-3, rig=RIG.model_copy(update={"moving_mass_g": 0.0}))).response
    unsaid = rigid_response(take(coil_mass_kg=5e-3)).response
    np.testing.assert_allclose(on_rig.pressure, on_coil.pressure, rtol=1e-12)
    np.testing.assert_array_equal(unsaid.pressure, on_coil.pressure)
