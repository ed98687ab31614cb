"""The words: plain, with unit and interval, and a tie called a tie."""

from __future__ import annotations

import math

import pytest

from frusta.campaign.figures import FIGURE
from frusta.campaign.findings import Estimate, Findings, Reading, TakeFault
from frusta.campaign.sentences import (
    clear_sentence,
    decimals_for,
    loss_lines,
    no_interval_sentence,
    rank_sentence,
    signed,
    summary_lines,
    tie_sentence,
    would_show,
)

LOG = math.log
BREAKUP, LEVEL = FIGURE["breakup_hz"], FIGURE["level_db"]


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


def test_the_designs_own_sentence():
    found = clear_sentence(BREAKUP, "A", "B", LOG(1.11), LOG(1.06), LOG(1.17))
    assert plain(found) == "A breaks up 11 % higher than B (6 to 17 %)."


def test_lower_is_said_as_lower():
    found = clear_sentence(BREAKUP, "Marram", "Flint", LOG(0.88), LOG(0.85), LOG(0.91))
    assert plain(found) == "Marram breaks up 12 % lower than Flint (9 to 15 %)."


@pytest.mark.parametrize(
    ("loss", "polymer", "identified", "said"),
    [(0.035, "PLA", True, True), (0.021, "PLA", True, False), (0.035, None, True, False), (0.035, "PLA", False, False)],
)
def test_a_loss_factor_beyond_the_handbook_may_be_bad_bonding(loss: float, polymer: str, identified: bool, said: bool):
    """PLA: 0.01 to 0.02 (handbooks, from memory; CHECKS 'More on materials')."""
    known = ("loss_factor",) if identified else ()
    row = Estimate(material="rush", recipe=None, loss_factor=loss, loss_factor_u=0.001, identified=known, reasons={})
    lines = loss_lines([row], {"rush": polymer})
    assert bool(lines) is said
    assert all("badly bonded" in line and "0.01 to 0.02" in line for line in lines)


def test_decibels_stay_decibels():
    found = clear_sentence(LEVEL, "A", "B", *(db / (20 / LOG(10)) for db in (1.2, 0.8, 1.6)))
    assert plain(found) == "A plays 1.2 dB louder than B (0.8 to 1.6 dB)."


def test_a_tie_has_signs_and_what_would_show_it():
    then = would_show(BREAKUP, LOG(1.03), 7)
    found = tie_sentence(BREAKUP, "Flint, slow", "Flint, fast", LOG(0.99), LOG(1.07), then)
    assert plain(found) == (
        "Flint, slow and Flint, fast cannot be told apart by their break-up (\u22121 to +7 %). "
        "If the true gap is 3.0 %, seven prints each would show it."
    )


def test_no_interval_says_why():
    found = no_interval_sentence(BREAKUP, "A", "B", LOG(1.3), "one print each: no interval")
    assert plain(found) == "As printed here, A breaks up 30 % higher than B; one print each: no interval."


@pytest.mark.parametrize(
    ("ends", "decimals"), [((6, 17), 0), ((0.3, 14), 1), ((9.6, 12.4), 1), ((0.02, 0.05), 3), ((-1, 7), 0)]
)
def test_decimals_tell_the_ends_apart(ends, decimals):
    assert decimals_for(ends) == decimals


def test_zero_has_no_sign():
    assert (signed(-0.04, 1), signed(0.26, 1), signed(-1.0, 0)) == ("0.0", "+0.3", "\u22121")


def test_places():
    assert rank_sentence("Rook", 1, 1, []) == "Rook: place 1."
    assert rank_sentence("Flint", 2, 4, ["Marram", "Teal", "Ibis"]) == (
        "Flint: places 2 to 4, a tie with Marram, Teal and Ibis."
    )


def test_takes_to_repeat_are_named_with_what_to_do():
    row = Reading(
        take="rook-1-s1",
        specimen="rook-1",
        kind="cone",
        material="rook",
        recipe=None,
        profile="st90",
        session="s1",
        seating=1,
        quality="repeat",
        faults=(TakeFault(fault="clipped", where="at 1.2 s", what_to_do="turn it down"),),
    )
    lines = summary_lines(Findings(campaign="c", made_by="f", readings=(row,)))
    assert lines == ["c: one take.", "One take to repeat:", "  rook-1-s1: clipped (at 1.2 s): turn it down"]


DISTORTION = FIGURE["input_thd_peak_percent"]


def test_threefold_and_more_is_told_in_times():
    """By hand: 15.45 is 1445 % more, which nobody reads; the larger stands first whichever way round they come."""
    told = "The input distortion of A is 15 times that of B (9.1 to 26 times)."
    assert clear_sentence(DISTORTION, "A", "B", LOG(15.45), LOG(9.1), LOG(26.3)) == told
    assert clear_sentence(DISTORTION, "B", "A", -LOG(15.45), -LOG(26.3), -LOG(9.1)) == told
    assert plain(clear_sentence(DISTORTION, "A", "B", LOG(2.9), LOG(2.0), LOG(4.0))).startswith("A distorts 190 % more")


def test_ties_and_gaps_are_told_in_times_too():
    found = tie_sentence(DISTORTION, "A", "B", LOG(0.2), LOG(8.0), would_show(DISTORTION, LOG(4.2), 9))
    assert plain(found) == (
        "A and B cannot be told apart by their input distortion: that of A may be anything from 0.2 to 8 times that "
        "of B. If the true gap is 4.2 times, nine prints each would show it."
    )
    assert no_interval_sentence(DISTORTION, "A", "B", LOG(0.1), "one print each: no interval") == (
        "As printed here, the input distortion of B is 10 times that of A; one print each: no interval."
    )


def test_decibels_are_never_told_in_times():
    found = clear_sentence(LEVEL, "A", "B", *(db / (20 / LOG(10)) for db in (30.0, 28.0, 32.0)))
    assert plain(found) == "A plays 30 dB louder than B (28 to 32 dB)."
