"""Recordings that cannot be of one cone. Oracle: modes made up so that it is known whose they are."""

from __future__ import annotations

import numpy as np

from frusta.campaign.contradictions import agreement, common_ratio, seatings_told, takes_told
from frusta.material.observations import RecordedModes

CONE = np.array([2100.0, 2950.0, 4180.0, 5520.0, 7630.0])


def modes(hertz: np.ndarray) -> RecordedModes:
    return RecordedModes(hertz, 1e-4 * hertz, 0.02 + 0 * hertz, 2e-4 + 0 * hertz, 6.0 + 0 * hertz)


def test_noise_warmth_and_joint_are_no_contradiction():
    rng = np.random.default_rng(0)
    warmer = CONE * 0.985 * (1.0 + 1e-3 * rng.standard_normal(CONE.size))
    softer = CONE * np.array([0.9, 1.0, 1.0, 1.0, 1.0])
    found = agreement({"a": modes(CONE), "b": modes(warmer), "c": modes(softer)})
    assert found.kept == ("a", "b", "c")
    assert found.odd == ()


def test_a_take_that_lies_a_fifth_higher_is_named_and_by_how_much():
    found = agreement({"a": modes(CONE), "b": modes(1.2 * CONE)})
    assert found.kept == ()
    assert found.odd == ("b",)
    assert abs(common_ratio(modes(CONE), modes(1.2 * CONE)) - 1.2) < 0.01
    told = takes_told("seating 2 of otter-1", ["a", "b"], found)
    assert told.startswith("takes of seating 2 of otter-1 contradict each other: b shows another cone than a")
    assert "as if all modes lay 20 % higher" in told
    assert "none of them is used" in told


def test_two_of_three_are_believed():
    found = agreement({"1": modes(CONE), "2": modes(0.83 * CONE), "3": modes(1.001 * CONE)})
    assert found.kept == ("1", "3")
    told = seatings_told("otter-1", ["1", "2", "3"], found)
    assert told.startswith("otter-1: seating 2 shows another cone than seating 1 and 3")
    assert "17 % lower: seating 2 not used" in told


def test_two_loud_modes_are_too_few_to_contradict():
    assert agreement({"a": modes(CONE[:2]), "b": modes(1.3 * CONE[:2])}).odd == ()


def test_unrelated_modes_have_no_common_ratio():
    other = np.array([1800.0, 2650.0, 3900.0, 6900.0, 9800.0])
    assert common_ratio(modes(CONE), modes(other)) is None
