"""The rig's drift as the check cone heard it: closed forms of linear interpolation."""

from __future__ import annotations

import pytest

from frusta.campaign.drift import session_drift
from frusta.campaign.findings import Reading


def reading(take, session, level, kind="cone", specimen="a-1", quality="ok"):
    return Reading(
        take=take,
        specimen="check-1" if kind == "check" else specimen,
        kind=kind,
        material=None,
        recipe=None,
        profile="st90",
        session=session,
        seating=1,
        quality=quality,
        level_db=level,
    )


CHECKS = [
    reading("c1", "s1", 75.0, "check"),
    reading("c2", "s1", 75.4, "check"),
    reading("c3", "s2", 76.0, "check"),
    reading("c4", "s2", 76.4, "check"),
]
TIMES = {"c1": 0.0, "c2": 100.0, "c3": 1000.0, "c4": 1100.0, "x": 25.0, "y": 1200.0}


def test_between_check_takes_the_drift_is_interpolated_and_beyond_them_held():
    drift = session_drift([*CHECKS, reading("x", "s1", 80.0), reading("y", "s2", 80.0)], TIMES)
    mean = (75.2 + 76.2) / 2
    assert drift.level_db["x"] == pytest.approx(75.1 - mean, abs=1e-12)
    assert drift.level_db["y"] == pytest.approx(76.4 - mean, abs=1e-12)
    assert drift.leans_on["x"] == pytest.approx({"c1": 0.75, "c2": 0.25})


def test_without_times_the_session_mean_is_used():
    drift = session_drift([*CHECKS, reading("x", "s1", 80.0)], {})
    assert drift.level_db["x"] == pytest.approx(75.2 - 75.7, abs=1e-12)


def test_a_session_without_check_cone_gets_no_drift():
    drift = session_drift([*CHECKS, reading("x", "s3", 80.0)], TIMES)
    assert "x" not in drift.level_db


def test_a_check_take_to_repeat_is_not_believed():
    spoiled = reading("c2", "s1", 99.0, "check", quality="repeat")
    drift = session_drift([CHECKS[0], spoiled, *CHECKS[2:], reading("x", "s1", 80.0)], TIMES)
    assert drift.level_db["x"] == pytest.approx(75.0 - (75.0 + 76.2) / 2, abs=1e-12)


def test_takes_of_both_groups_in_the_same_session_lean_on_nothing():
    drift = session_drift([*CHECKS, reading("x", "s1", 80.0), reading("z", "s1", 81.0)], {})
    weights = drift.check_weights({"x": 1.0, "z": -1.0})
    assert weights == pytest.approx({"c1": 0.0, "c2": 0.0})
