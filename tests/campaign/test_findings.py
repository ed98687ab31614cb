"""The shape of findings.json, held against the design's lists of keys (copied there by hand)."""

from __future__ import annotations

import json

import pydantic
import pytest

from frusta.campaign.figures import FIGURE, READING_KEYS
from frusta.campaign.findings import LISTS, Difference, Findings, ModeRow, Reading, group_key

READING = {
    "take": "rook-1-s1",
    "specimen": "rook-1",
    "kind": "cone",
    "material": "rook",
    "recipe": None,
    "profile": "st90",
    "session": "s1",
    "seating": 1,
    "quality": "ok",
}


def test_the_file_has_the_designs_lists_in_order():
    found = json.loads(Findings(campaign="c", made_by="frusta").model_dump_json())
    assert list(found) == ["format", "campaign", "made_by", *LISTS]
    assert found["format"] == 1


def test_a_reading_holds_every_figure_and_no_empty_uncertainty():
    row = Reading(**READING, breakup_hz=4000.0, breakup_hz_u=0.5).model_dump()
    assert set(READING_KEYS) <= set(row)
    assert row["breakup_hz_u"] == 0.5
    assert [key for key in row if key.endswith("_u")] == ["breakup_hz_u"]
    assert list(row)[-1] == "reasons"


def test_every_figure_has_a_place_for_its_uncertainty():
    assert {f"{key}_u" for key in READING_KEYS} <= set(Reading.model_fields)


def test_compared_figures_are_figures_of_a_reading():
    assert set(FIGURE) <= set(READING_KEYS)


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_a_number_that_is_not_finite_is_refused(value):
    with pytest.raises(pydantic.ValidationError, match="finite"):
        Reading(**READING, level_db=value)


def test_unknown_keys_are_refused():
    with pytest.raises(pydantic.ValidationError, match="Extra inputs"):
        Reading(**READING, loudness=1.0)


DIFFERENCE = """figure profile a b ratio low_95 high_95 probability_a_higher prints_a prints_b seatings sd_print
sd_seating scatter_from verdict"""
MODE = """take mode_number circumferential_order frequency_hz frequency_hz_u loss_factor loss_factor_u prominence_db
free_frequency_hz free_frequency_hz_u free_loss_factor free_loss_factor_u"""


@pytest.mark.parametrize(("row", "columns"), [(Difference, DIFFERENCE), (ModeRow, MODE)])
def test_columns_are_the_designs(row, columns):
    assert list(row.model_fields)[1:] == columns.split()


def test_a_group_is_named_by_material_and_recipe_where_it_must_be():
    assert group_key("rook", None) == "rook"
    assert group_key("rook", "slow") == "rook/slow"


def test_written_and_read_back_is_the_same():
    whole = Findings(campaign="c", made_by="frusta", readings=(Reading(**READING, level_db=80.1),))
    assert Findings.model_validate_json(whole.model_dump_json()) == whole
