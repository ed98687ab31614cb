"""Rigs tied by cones that travelled. Oracle: the rig effects that the made-up looks were given."""

from __future__ import annotations

import math

import pytest
from made_up_looks import look

from frusta.campaign.shelf.pooling import effect_lines, rig_effects


def test_rig_effects_add_up_along_the_way():
    """b is 1 dB louder than a, c 0.5 dB softer than b: c is tied to a over b alone."""
    a = look("a", 2026, 1, names=("pear-1", "check-1", "check-2"))
    b = look("b", 2026, 2, names=("check-1", "check-2", "check-3", "check-4"), level_db=1.0, every=0.995, first=0.97)
    # level of a specimen follows its place in the list, so the third look begins with the second's
    c = look("c", 2026, 3, names=("check-3", "check-4"), level_db=2.5, every=0.98, first=0.99)
    stranger = look("d", 2026, 4, names=("fig-9",))
    effects = {e.look: e for e in rig_effects([a, b, c, stranger])}
    assert effects["a"].level_db == 0.0
    assert effects["b"].shared == ("check-1", "check-2")
    assert effects["b"].first.value == pytest.approx(math.log(0.97), abs=4e-3)
    assert effects["c"].via == ("b",)
    assert effects["c"].level_db_u > effects["b"].level_db_u
    assert effects["d"].every is None
    assert "let one travel" in effect_lines(list(effects.values()))[3]
    assert effect_lines(list(effects.values()))[2].endswith("by check-3, check-4 over b.")


def test_another_cone_of_the_same_key_ties_nothing():
    a = look("a", 2026, 1, names=("check-1",))
    b = look("b", 2026, 2, names=("check-1",), mass={"check-1": 1.2})
    assert rig_effects([a, b])[1].every is None
    c = look("c", 2026, 2, names=("check-1",), every=0.8)
    assert rig_effects([a, c])[1].every is None
