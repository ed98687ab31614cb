"""The power before a neck softens. Oracle: the corners of what is assumed, computed one by one with the network."""

from __future__ import annotations

import math
from itertools import product

import pytest

from frusta.cone.heat import HeatPath
from frusta.design.neck_heat import CREEP_K, NECK_SHARE, ROOM_C, SOFTENS_C, Limits, guessed_coil_to_room_k_w, neck_heat
from frusta.material.handbook import PLASTICS


def test_the_range_is_that_of_all_corners():
    found = neck_heat(Limits(62.0, 66.0), 0.0145, 5.6, coil_to_room_k_w=Limits(7.0, 12.0))
    corners = [
        (softens - room) / (total * share)
        for softens, total, share, room in product((62.0 - CREEP_K, 66.0), (7.0, 12.0), NECK_SHARE, ROOM_C)
    ]
    assert (found.watts.low, found.watts.high) == pytest.approx((min(corners), max(corners)))
    worst, best = found.paths()
    assert worst.temperatures_c(found.watts.low, ROOM_C[1])[1] == pytest.approx(62.0 - CREEP_K)
    assert best.temperatures_c(found.watts.high, ROOM_C[0])[1] == pytest.approx(66.0)
    assert found.coil_c.low == pytest.approx(worst.temperatures_c(found.watts.low, ROOM_C[1])[0])


def test_what_is_known_narrows_the_range_and_is_not_called_assumed():
    guess = neck_heat(Limits(55.0, 55.0), 0.0145, 5.6)
    known = neck_heat(Limits(55.0, 55.0), 0.0145, 5.6, coil_to_room_k_w=Limits(9.0, 9.0), room_c=22.0)
    assert guess.watts.low < known.watts.low < known.watts.high < guess.watts.high
    assert any("guessed from its radius" in words for words in guess.assumed)
    assert any(words.startswith("room or cabinet") for words in guess.assumed)
    assert not any("radius" in words or "cabinet" in words for words in known.assumed)


def test_a_room_warmer_than_the_plastic_bears_nothing():
    found = neck_heat(Limits(50.0, 50.0), 0.0145, 5.6, coil_to_room_k_w=Limits(9.0, 9.0), room_c=60.0)
    assert (found.watts.low, found.watts.high, found.volts_rms.low) == (0.0, 0.0, 0.0)


def test_the_guess_by_hand():
    """Oracle: gap and convection of a 14.5 mm coil by hand: 0.0503 and 0.1737 W/K, then 5 and 1 K/W."""
    around = 2 * math.pi * 0.0145
    worse = 1 / (2 * 0.026 * around * 0.003 / 0.0005 + 2 * around * 0.010 * 12) + 5
    better = 1 / (2 * 0.026 * around * 0.008 / 0.00025 + 2 * around * 0.010 * 12) + 1
    found = guessed_coil_to_room_k_w(0.0145)
    assert (found.low, found.high) == pytest.approx((better, worse))
    assert 5.0 < found.low < 8.0
    assert 20.0 < found.high < 30.0
    assert guessed_coil_to_room_k_w(0.03).high < found.high, "a wider coil sheds more"


def test_every_plastic_of_the_handbook_has_its_range():
    assert set(SOFTENS_C) == set(PLASTICS)
    assert all(low < high for low, high in SOFTENS_C.values())
    assert HeatPath.of_share(1.0, NECK_SHARE[1]).coil_to_neck_k_w == 0.0
