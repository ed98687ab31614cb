"""The order of seatings. Oracle: the definition of a randomised complete block design, checked over every round."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise

import numpy as np
import pytest

from frusta.bench.events import Turn
from frusta.bench.order import seating_order, with_check_cone
from frusta.errors import ParameterError

GROUPS = {g: tuple(f"{g}{n}" for n in range(1, 4)) for g in ("flint", "rook", "moss")}


@pytest.mark.parametrize("seed", range(12))
def test_every_block_holds_every_group_once_and_every_round_every_print(seed):
    turns = seating_order(GROUPS, 3, seed)
    assert Counter((t.specimen, t.seating) for t in turns) == Counter(
        (s, n) for names in GROUPS.values() for s in names for n in (1, 2, 3)
    )
    for start in range(0, len(turns), 3):
        assert {t.specimen[:-1] for t in turns[start : start + 3]} == set(GROUPS)
    assert all(a.seating <= b.seating for a, b in pairwise(turns))


def test_a_steady_drift_passes_for_no_group():
    """Mean place of each group over many seeds: equal within four standard errors; a fixed order would be 3 apart."""
    places = {g: [] for g in GROUPS}
    for seed in range(400):
        for place, turn in enumerate(seating_order(GROUPS, 1, seed)):
            places[turn.specimen[:-1]].append(place)
    means = [np.mean(p) for p in places.values()]
    assert np.ptp(means) < 4 * np.sqrt(2 / 3) / np.sqrt(1200) * np.sqrt(2)


def test_the_same_seed_gives_the_same_order_and_others_another():
    assert seating_order(GROUPS, 2, 5) == seating_order(dict(reversed(GROUPS.items())), 2, 5)
    assert seating_order(GROUPS, 2, 5) != seating_order(GROUPS, 2, 6)


def test_what_was_seated_is_not_asked_for_again():
    turns = seating_order(GROUPS, 2, 1, {"rook1": 2, "rook2": 1})
    assert "rook1" not in {t.specimen for t in turns}
    assert [t.seating for t in turns if t.specimen == "rook2"] == [2]


def test_the_check_cone_comes_first_and_last_with_seatings_of_its_own():
    turns = with_check_cone([Turn("rook1", 1)], "heron", 4)
    assert [(t.specimen, t.seating, t.why) for t in turns] == [
        ("heron", 5, "check first"),
        ("rook1", 1, "cone"),
        ("heron", 6, "check last"),
    ]
    assert with_check_cone([], "heron") == ()


def test_no_seating_at_all_is_refused():
    with pytest.raises(ParameterError, match="seatings must be at least 1"):
        seating_order(GROUPS, 0, 1)
