"""The search on several cores. Oracle: the same search on one."""

from __future__ import annotations

from dataclasses import fields, is_dataclass

import numpy as np
import pytest
from barn import EMPTY, WISH

from frusta.campaign.cone_search import find_cones
from frusta.campaign.package import Package
from frusta.campaign.search_ground import ground_of
from frusta.material.infer import Inferred


def test_two_cores_find_what_one_finds(barn: Package, inferred: Inferred) -> None:
    """To last digits: where in memory an array begins decides in which order its numbers are summed."""
    ground = ground_of(barn, inferred.learned, EMPTY, WISH)
    words, numbers = flat(find_cones(ground, cores=2, first=4, later=0))
    same_words, same_numbers = flat(find_cones(ground, cores=1, first=4, later=0))
    assert words == same_words
    assert numbers == pytest.approx(same_numbers, rel=1e-8, abs=1e-12, nan_ok=True)


def flat(found: object) -> tuple[list[object], list[float]]:
    """Everything in nested records, in order: numbers by themselves, the rest as it is."""
    words: list[object] = []
    numbers: list[float] = []
    if is_dataclass(found) and not isinstance(found, type):
        parts: list[object] = [getattr(found, field.name) for field in fields(found)]
    elif isinstance(found, dict):
        parts = [*found.keys(), *found.values()]
    elif isinstance(found, np.ndarray):
        parts = list(found.ravel().tolist())
    elif isinstance(found, (tuple, list)):
        parts = list(found)
    elif isinstance(found, float):
        return [], [found]
    else:
        return [found], []
    for part in parts:
        more_words, more_numbers = flat(part)
        words += [type(part), *more_words]
        numbers += more_numbers
    return words, numbers
