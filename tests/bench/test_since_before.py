"""A seating against an earlier sitting, in words. Oracle: differences and their reach by hand; the journals on disk."""

from __future__ import annotations

import math
import re
import shutil
from datetime import date

import pytest
from small_package import make_device, make_guide, make_package

from frusta.bench.events import Fetched, Kept, NotWeighed, Seated, TakeVerdict, Turn
from frusta.bench.judging import SeatingScatter
from frusta.bench.since_before import Past, past_line
from frusta.bench.sitting import begin_sitting
from frusta.bench.tables import edit_table
from frusta.campaign.package import open_package

KNOWN = {"level_db": SeatingScatter(0.1, 8), "breakup_hz": SeatingScatter(0.2, 8)}
THEN = {"level_db": 80.0, "breakup_hz": 4000.0}


def line(level_db: float, breakup_hz: float, past: Past) -> str:
    return past_line({"level_db": level_db, "breakup_hz": breakup_hz}, {}, past, KNOWN)


def test_as_before_and_not():
    """Oracle: t of 8 pairs at 99 % is 3.355; one seating against two scatters by √1.5 · 0.1 dB: 0.41 dB."""
    past = Past("2026-05-02", 2, THEN, {}, check_moved_db=0.0)
    reach = 3.355 * math.sqrt(1.5) * 0.1
    within, beyond = line(80.0 + 0.99 * reach, 4004.0, past), line(80.0 + 1.01 * reach, 4004.0, past)
    assert (
        within
        == "against two seatings of 2026-05-02: level +0.4 dB (the check cone: 0.0 dB), break-up +0.1 %; as before"
    )
    assert beyond.endswith("further than seatings scatter: the cone or how it sits has changed")


def test_what_the_check_cone_shows_too_is_the_rig():
    past = Past("2026-05-02", 2, THEN, {}, check_moved_db=1.2, check_terms=1.5)
    assert line(81.3, 4000.0, past) == (
        "against two seatings of 2026-05-02: level +1.3 dB (the check cone: +1.2 dB), break-up 0.0 %; as before"
    )
    assert "further" in line(80.0, 4000.0, past), "it stayed while the rig moved"


def test_who_may_have_changed_is_named():
    assert line(83.0, 4000.0, Past("may", 1, THEN, {}, is_check=True)).endswith("the rig or this cone has changed")
    assert line(83.0, 4000.0, Past("may", 1, THEN, {})).endswith("the cone, the rig or how it sits has changed")


def test_levels_of_another_kind_are_not_compared_and_a_guess_is_named():
    past = Past("may", 1, THEN, {}, same_level=False)
    assert past_line({"level_db": 20.0, "breakup_hz": 4000.0}, {}, past, {}) == (
        "against one seating of may: break-up 0.0 %; as before (scatter guessed)"
    )
    assert past_line({"level_db": 20.0}, {}, past, {}) == ""


@pytest.fixture
def root(tmp_path):
    return make_package(tmp_path / "quay")


@pytest.fixture
def figures(monkeypatch):
    """What the next take is read as."""
    held = {"level_db": 80.0, "breakup_hz": 4000.0}
    monkeypatch.setattr(
        "frusta.bench.guide.judge_take", lambda *_: TakeVerdict("ok", (), dict(held), {}, ("clean", "level"))
    )
    return held


ONE = (Turn("rush-1", 1),)


def sitting(root, day, turns=ONE, **known):
    guide = make_guide(root, make_device(root))
    package = open_package(root)
    guide.begin(begin_sitting(package, package.rigs["jetty"], turns, date(2026, 5, day), **known))
    return guide


def lines(guide):
    """Through one turn to its verdict; it is kept."""
    for event in (Fetched(), Seated()):
        guide.press(event)
        guide.wait()
    found = guide.state.take.verdict.lines
    guide.press(Kept())
    return found


def whole(root, day, **rest):
    guide = sitting(root, day, **rest)
    return [lines(guide) for _ in range(len(guide.state.queue))]


def test_a_new_sitting_is_held_against_the_last_one_that_had_the_cone(root, figures):
    assert whole(root, 2) == [("clean", "level")] * 3
    figures["level_db"] = 84.0
    check, cone, last = whole(root, 9, turns=(Turn("rush-1", 2),))
    assert check == (
        "clean", "against two seatings of 2026-05-02: level +4.0 dB, break-up 0.0 %; further than seatings scatter: "
        "the rig or this cone has changed", "level",
    )  # fmt: skip
    assert cone[1].startswith("against one seating of 2026-05-02: level +4.0 dB (the check cone: +4.0 dB), break-up")
    assert "as before" in cone[1]
    assert len(last) == 3


def test_a_take_set_aside_and_another_rig_or_sweep_are_not_compared_with(root, figures):
    whole(root, 2)
    edit_table(root, "takes", (), ["rush-1-1"])
    assert [len(found) for found in whole(root, 9, turns=(Turn("rush-1", 2),))] == [3, 2, 3]
    edit_table(root, "sweeps", [{"sweep": "other", "start_hz": "50", "stop_hz": "16000", "duration_s": "1"}])
    edit_table(root, "takes", [{"take": "rush-1-2", "sweep": "other"}])
    guide = sitting(root, 10, turns=(Turn("rush-1", 3),))
    assert len(lines(guide)) == 3
    assert len(lines(guide)) == 2


def test_within_a_sitting_alone_one_is_asked_to_seat_again(root, monkeypatch):
    """A level that moved since another day is the rig's or the cone's; it is no bad seating."""
    asked = []
    verdict = TakeVerdict("ok", (), {"level_db": 80.0}, {}, ("clean",))
    monkeypatch.setattr("frusta.bench.guide.judge_take", lambda *told: (asked.append(told[3]), verdict)[1])
    whole(root, 2)
    whole(root, 9, turns=(Turn("rush-1", 2), Turn("rush-1", 3)))
    assert [one and one.seating for one in asked] == [None, None, 1, None, None, 2, 3]


def since_may_2(verdicts):
    """The lines that speak of the sitting of 2 May."""
    return [line for lines in verdicts for line in lines if "of 2026-05-02" in line]


def test_a_sitting_that_left_no_journal_is_read_from_its_recordings(root):
    """Oracle: the same takes compared with the journal's own figures; a package that was exported has no journals."""
    whole(root, 2)
    told = since_may_2(whole(root, 9, turns=(Turn("rush-1", 2),)))
    shutil.rmtree(root / "bench")
    edit_table(root, "takes", (), ["heron-3", "rush-1-2", "heron-4"])
    edit_table(root, "sessions", (), ["2026-05-09"])
    again = since_may_2(whole(root, 9, turns=(Turn("rush-1", 2),)))
    assert len(told) == len(again) == 3
    assert "(the check cone: " in again[1]
    figures = [re.findall(r"[−+]?\d+\.\d", line) for line in told]
    assert [re.findall(r"[−+]?\d+\.\d", line) for line in again] == figures


def test_an_earlier_recording_that_is_gone_is_passed_over(root):
    whole(root, 2)
    shutil.rmtree(root / "bench")
    (root / "recordings/2026-05-02/rush-1-1.wav").unlink()
    assert ["of 2026-05-02" in "".join(found) for found in whole(root, 9, turns=(Turn("rush-1", 2),))] == [
        True, False, True,
    ]  # fmt: skip


def test_not_weighed_is_no_matter(root, figures):
    whole(root, 2)
    guide = sitting(root, 9, turns=(Turn("rush-2", 1),))
    lines(guide)
    for event in (Fetched(), NotWeighed(), Seated()):
        guide.press(event)
        guide.wait()
    assert guide.state.take.verdict.lines == ("clean", "level"), "this cone was in no sitting before"
