"""Numbers in words. Oracle: the style of the guide, written out by hand."""

from __future__ import annotations

import pytest

from frusta.campaign.findings import Reading
from frusta.publish import words
from frusta.publish.facts import prints_words


@pytest.mark.parametrize(
    ("value", "unit", "half", "text"),
    [
        (3961.2, "Hz", 80.0, "3.96\u00a0kHz"),
        (3961.2, "Hz", 180.0, "3.96\u00a0kHz"),
        (3961.2, "Hz", 500.0, "4.0\u00a0kHz"),
        (250.0, "Hz", None, "250\u00a0Hz"),
        (3500.0, "Hz", None, "3.5\u00a0kHz"),
        (0.3123, "%", 0.06, "0.31\u00a0%"),
        (-6.25, "dB", 0.4, "\u22126.2\u00a0dB"),
    ],
)
def test_a_quantity_carries_the_digits_of_its_interval(value, unit, half, text):
    assert words.quantity(value, unit, half_width=half) == text


def test_an_interval_is_written_in_the_unit_of_its_value():
    assert words.interval(980.0, 1020.0, "Hz", value=1000.0) == "0.98 to 1.02"
    assert words.interval(3881.0, 4042.0, "Hz", value=3961.0, with_unit=True) == "3.88 to 4.04\u00a0kHz"


def test_names_with_commas_are_told_apart():
    assert words.listed(["Flint, slow", "Rook", "Marram"]) == "Flint, slow; Rook and Marram"
    assert words.listed(["Rook"]) == "Rook"


def test_counts_are_words_up_to_twelve():
    assert [words.count(n, "print") for n in (0, 1, 2, 13)] == ["no prints", "one print", "two prints", "13 prints"]


def test_prints_are_told_with_how_many_of_each_kind():
    def heard(material: str, count: int) -> list[Reading]:
        keys = [f"{material}-{n}" for n in range(count)]
        held = {"kind": "cone", "recipe": None, "profile": "st80", "session": None, "seating": 1, "quality": "ok"}
        return [Reading(take=key, specimen=key, material=material, **held) for key in keys]

    assert prints_words(heard("fir", 2) + heard("ash", 2)) == "4, two of each kind"
    assert prints_words(heard("fir", 1) + heard("ash", 3)) == "4, one to three of each kind"
    assert prints_words([]) == "none could be read"
