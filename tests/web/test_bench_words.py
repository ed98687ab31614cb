"""What the Bench shows of a verdict: the reason first, what needs a look marked, numbers kept with their units."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from frusta.bench.events import Began, TakeFaultNote, TakeVerdict, Turn
from frusta.bench.judging import Earlier, compare
from frusta.bench.since_before import Past, past_line
from frusta.bench.steps import State, TakeMade, begin
from frusta.campaign.package import open_package
from frusta.web.bench_words import ticket_of

CLEAN = "clean: no clipping, no lost samples, no bang"
LEVEL = "level 80.0 dB, break-up 4000 Hz"
FIGURES = {"level_db": 80.0, "breakup_hz": 4000.0}


def judged(verdict: TakeVerdict, **kept: Any) -> State:
    turn = Turn("rush-1", 2)
    take = TakeMade("rush-1-2", "recordings/may/rush-1-2.wav", turn, verdict, 0.0, 0, "")
    return replace(begin(Began("may", (turn,))), step="verdict", take=take, made=(take,), **kept)


def shown(campaign: Path, verdict: TakeVerdict) -> Any:
    return ticket_of(judged(verdict), open_package(campaign), False)["verdict"]


def test_a_seating_that_is_off_is_the_reason_and_stands_first(campaign: Path):
    words, same = compare(FIGURES, {}, Earlier(1, {"level_db": 70.0, "breakup_hz": 4000.0}, {}), {})
    assert not same
    told = shown(campaign, TakeVerdict("ok", (), FIGURES, {}, (CLEAN, words, LEVEL), "reseat"))
    assert told["head"].startswith("+10.0\u00a0dB")
    assert [line.partition(",")[0] for line, _ in told["rest"]] == ["Clean: no clipping", "Level 80.0\u00a0dB"]
    assert not any(look for _, look in told["rest"])


def test_what_moved_since_another_day_is_marked_and_keeps_no_one_from_keeping(campaign: Path):
    moved = past_line(FIGURES, {}, Past("2026-05-02", 2, {"level_db": 70.0}, {}), {})
    told = shown(campaign, TakeVerdict("ok", (), FIGURES, {}, (CLEAN, moved, LEVEL), "keep"))
    assert [look for _, look in told["rest"]] == [False, True, False]
    assert told["head"] == ""


@pytest.mark.parametrize(("advice", "marks"), [("keep", [True, True, False]), ("repeat", [True, False])])
def test_faults_are_marked_and_the_first_is_the_reason(campaign: Path, advice: Any, marks: list[bool]):
    faults = (TakeFaultNote("burst", "at 1 s", "be quiet"), TakeFaultNote("noisy", "below 200 Hz", "close the window"))
    lines = ("burst: at 1 s. Be quiet", "noisy: below 200 Hz. Close the window", LEVEL)
    told = shown(campaign, TakeVerdict("repeat", faults, FIGURES, {}, lines, advice))
    assert [look for _, look in told["rest"]] == marks
    assert told["head"] == ("" if advice == "keep" else "Burst: at 1 s. Be quiet")


def test_takes_set_aside_since_are_not_counted_as_kept(campaign: Path):
    state = replace(judged(TakeVerdict("ok")), kept=("rush-1-2",), step="done")
    assert ticket_of(state, open_package(campaign), False)["closing"] == [
        "No take was kept.", "One take set aside, still on the disk.",
    ]  # fmt: skip
