"""The bench at work on the virtual rig: one path for decisions, sound, disk and tables.

Oracles: the package on disk after each step; the virtual rig's faults, which are put in on purpose.
"""

from __future__ import annotations

import errno
import os
import re
import time
from datetime import date

import numpy as np
import pytest
from small_package import make_device, make_guide, make_package

from frusta.bench import guide as guide_file
from frusta.bench import journal as journal_file
from frusta.bench.events import (
    Began,
    Ended,
    Fetched,
    Kept,
    Mended,
    NotWeighed,
    Repeated,
    Reseated,
    Seated,
    TakeVerdict,
    Turn,
    Weighed,
)
from frusta.bench.rehearsal import CALIBRATOR, parse_rehearsal
from frusta.bench.sitting import begin_sitting, planned_turns, save_plan
from frusta.bench.tables import edit_table
from frusta.bench.unattended import run_unattended
from frusta.campaign.check import check_package
from frusta.campaign.package import open_package
from frusta.errors import FrustaError, PackageError, ParameterError

DAY = date(2026, 5, 9)


@pytest.fixture
def root(tmp_path):
    return make_package(tmp_path / "quay")


@pytest.fixture
def canned(monkeypatch):
    """A verdict without reading the take, where the verdict is not what is tried: it is most of the time."""
    verdict = TakeVerdict("ok", (), {"level_db": 60.0}, {}, ("clean",))
    monkeypatch.setattr("frusta.bench.guide.judge_take", lambda *_: verdict)


def begun(root, fault=None, turns=None, levels_db=(0.0,), equal_voltage=False, device=None, **settings):
    guide = make_guide(root, device or make_device(root, fault), **settings)
    package = open_package(root)
    turns = turns or (Turn("rush-1", 1), Turn("rush-1", 2))
    guide.begin(
        begin_sitting(package, package.rigs["jetty"], turns, DAY, levels_db=levels_db, equal_voltage=equal_voltage)
    )
    return guide


def press(guide, *events):
    for event in events:
        guide.press(event)
        guide.wait()
    return guide.state


def first_take(guide):
    """Through the check cone's turn to its verdict."""
    return press(guide, Fetched(), Seated())


def takes_of(root):
    return open_package(root).takes


def test_a_take_is_on_the_disk_before_its_verdict_and_in_the_table_once_kept(root):
    guide = begun(root)
    state = first_take(guide)
    assert state.step == "verdict"
    file = root / state.take.recording
    assert file.exists()
    assert takes_of(root) == {}
    assert check_package(root).faults == ()
    press(guide, Kept())
    row = takes_of(root)["heron-1"]
    assert (row.seating, row.session, row.reference_channel) == (1, "2026-05-09", 2)
    assert row.drive_gain_db == pytest.approx(state.drive_gain_db, abs=1e-3)
    assert check_package(root).faults == ()


def test_undo_takes_a_kept_take_out_of_the_table_and_loses_nothing(root, canned):
    guide = begun(root)
    first_take(guide)
    press(guide, Kept())
    guide.undo()
    assert guide.state.step == "verdict"
    assert takes_of(root) == {}
    assert (root / "recordings/2026-05-09/heron-1.wav").exists()
    press(guide, Kept())
    assert list(takes_of(root)) == ["heron-1"]


def test_a_repeated_take_is_set_aside_under_its_own_name(root, canned):
    guide = begun(root)
    first_take(guide)
    state = press(guide, Repeated())
    assert state.take.take == "heron-1.2"
    press(guide, Kept())
    assert list(takes_of(root)) == ["heron-1.2"]
    assert {p.name for p in (root / "recordings/2026-05-09").iterdir()} == {"heron-1.wav", "heron-1.2.wav"}
    assert check_package(root).faults == ()


def test_all_cones_are_brought_to_the_first_ones_level(root):
    guide = begun(root)
    state = first_take(guide)
    target = state.target_db
    press(guide, Kept(), Fetched(), Seated())
    state = guide.state
    gain = state.drive_gain_db
    level = state.take.verdict.figures["level_db"] + gain
    assert abs(level - target) < 1.5  # the room is in the meter and not in the reading
    press(guide, Kept(), Fetched(), Seated())
    assert any("against seating 1" in line for line in guide.state.take.verdict.lines)


def test_equal_voltage_leaves_the_gain_alone(root, canned):
    guide = begun(root, equal_voltage=True, target_db=120.0)
    assert first_take(guide).drive_gain_db == -6.0
    assert guide.state.target_db is None


def test_a_series_sweeps_each_seating_at_every_level(root):
    guide = begun(root, levels_db=(0.0, -6.0, -12.0))
    first_take(guide)
    press(guide, Kept(), Kept(), Kept())
    gains = [t.drive_gain_db for t in takes_of(root).values()]
    assert np.diff(gains) == pytest.approx([-6.0, -6.0], abs=1e-3)
    assert list(takes_of(root)) == ["heron-1-l1", "heron-1-l2", "heron-1-l3"]
    levels = [t.verdict.figures["level_db"] for t in guide.state.kept_takes]
    assert np.ptp(levels) < 0.05, "level_db is brought to a drive gain of 0 dB"


def test_the_output_never_passes_its_limit(root, canned):
    loudest = []
    device = make_device(root)
    plain = device.play

    def watched(signal, **rest):
        loudest.append(float(np.max(np.abs(signal))))
        return plain(signal, **rest)

    device.play = watched
    guide = begun(root, device=device, limit_dbfs=-20.0, target_db=130.0)
    guide.press(Fetched())
    guide.press(Seated())
    guide.wait()
    assert guide.state.step == "fault", "the target cannot be reached within the limit"
    assert re.match(r"the drive gain stands at the stated limit, \d+\.\d dB below the target", guide.state.fault.what)
    assert guide.live.gain_db == pytest.approx(guide.largest_gain_db)
    guide = begun(root, device=device, limit_dbfs=-20.0)
    first_take(guide)
    assert loudest[-1] <= 10 ** (-20 / 20) * 1.0001


def test_the_coils_power_is_limited(root, canned):
    """Oracle: U²/R at the gain that is used: 3 V peak at full scale, 5.6 ohm."""
    guide = begun(root, limit_w=0.01)
    state = first_take(guide)
    amplitude = 10 ** (-6 / 20)
    volts = 3.0 * amplitude * 10 ** (state.take.drive_gain_db / 20) / 2**0.5
    assert volts**2 / 5.6 <= 0.01 * 1.001


@pytest.mark.parametrize("fault", ["burst", "clipped", "dropout"])
def test_a_bad_take_does_not_leave_the_bench_unnoticed(root, fault):
    guide = begun(root, fault)
    state = first_take(guide)
    assert state.take.verdict.advice == "repeat"
    assert state.take.verdict.faults[0].fault == fault
    assert press(guide, Repeated()).take.verdict.advice == "keep"


@pytest.mark.parametrize(("fault", "said"), [("unplugged", "stopped answering"), ("silent-input", "hears nothing")])
def test_a_device_that_fails_counts_no_take_and_can_be_mended(root, fault, said):
    guide = begun(root, fault)
    state = first_take(guide)
    assert state.step == "fault"
    assert said in state.fault.what
    assert state.made == ()
    assert not (root / "takes.csv").exists()
    state = press(guide, Mended(), Seated())
    assert state.take.verdict.advice == "keep"


def test_stop_keeps_nothing_loses_nothing_and_is_quick(root):
    device = make_device(root, fast=False)
    guide = begun(root, device=device)
    guide.press(Fetched())
    guide.press(Seated())
    end = time.monotonic() + 60
    while guide.live.level is None and time.monotonic() < end:
        time.sleep(0.02)
    asked = time.monotonic()
    guide.stop()
    guide.wait()
    assert time.monotonic() - asked < 1.0
    assert guide.state.step == "seat"
    assert guide.state.made == ()


def test_no_event_counts_while_sound_plays(root):
    guide = begun(root, device=make_device(root, fast=False))
    guide.press(Fetched())
    guide.press(Seated())
    with pytest.raises(ParameterError, match="sound is playing; stop it first"):
        guide.press(Seated())
    guide.close()


def test_a_full_disk_shows_no_verdict_that_is_not_written(root, canned, monkeypatch):
    """Oracle: the system's own refusal to flush; what was there is untouched, and all goes on once there is room."""
    guide = begun(root)
    first_take(guide)
    press(guide, Kept())
    before = (root / "takes.csv").read_bytes()

    def full(_descriptor):
        raise OSError(errno.ENOSPC, "No space left on device")

    plain = os.fsync
    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(FrustaError, match="no space left"):
        guide.press(Fetched())
    assert guide.state.step == "cone"
    monkeypatch.setattr(os, "fsync", plain)
    press(guide, Fetched())
    monkeypatch.setattr(guide, "_sweep", lambda: guide._fail(FrustaError("full; free some")) or True)
    assert press(guide, Seated()).step == "fault"
    monkeypatch.undo()
    assert (root / "takes.csv").read_bytes() == before
    press(guide, Mended(), Seated(), Kept())
    assert list(takes_of(root)) == ["heron-1", "rush-1-1"]
    assert check_package(root).faults == ()


def test_a_recording_that_cannot_be_written_is_no_take(root, canned):
    (root / "recordings").mkdir()
    (root / "recordings/2026-05-09").write_text("in the way")
    guide = begun(root)
    state = first_take(guide)
    assert state.step == "fault"
    assert "must be writable" in state.fault.what
    (root / "recordings/2026-05-09").unlink()
    assert press(guide, Mended(), Seated()).step == "verdict"


def test_a_sitting_is_resumed_where_it_was(root, canned):
    guide = begun(root)
    first_take(guide)
    again = make_guide(root, make_device(root))
    again.resume("2026-05-09")
    assert again.state == guide.state
    press(again, Kept())
    third = make_guide(root, make_device(root))
    third.resume("2026-05-09")
    assert third.state == again.state
    assert list(takes_of(root)) == ["heron-1"]


def test_a_take_set_aside_in_the_table_stays_so_while_the_sitting_goes_on_and_once_it_is_resumed(root, canned):
    """So does a cell that was corrected there; the bench writes again only what it decides anew."""
    guide = begun(root, turns=(Turn("rush-1", 1), Turn("rush-1", 2), Turn("sedge-1", 1)))
    first_take(guide)
    press(guide, Kept(), Fetched(), Seated(), Kept())
    edit_table(root, "takes", [{"take": "heron-1", "seating": "7"}], ["rush-1-1"])
    press(guide, Fetched(), Seated(), Kept())
    assert {t.take: t.seating for t in takes_of(root).values()} == {"heron-1": 7, "rush-1-2": 2}
    again = make_guide(root, make_device(root))
    again.resume("2026-05-09")
    assert list(takes_of(root)) == ["heron-1", "rush-1-2"]
    press(again, Fetched(), Seated(), Kept())
    assert {t.take: t.seating for t in takes_of(root).values()} == {"heron-1": 7, "rush-1-2": 2, "sedge-1-1": 1}
    again.undo()
    press(again, Kept())
    assert list(takes_of(root)) == ["heron-1", "rush-1-2", "sedge-1-1"]
    assert check_package(root).faults == ()


def test_a_repeated_take_does_not_come_back_once_the_sitting_is_resumed(root, canned):
    guide = begun(root)
    first_take(guide)
    press(guide, Repeated(), Kept())
    guide.undo()
    press(guide, Repeated(), Kept())
    again = make_guide(root, make_device(root))
    again.resume("2026-05-09")
    assert list(takes_of(root)) == ["heron-1.3"]
    press(again, Fetched(), Seated(), Kept())
    assert list(takes_of(root)) == ["heron-1.3", "rush-1-1"]


def test_what_was_kept_just_before_a_crash_is_written_once_the_sitting_is_resumed(root, canned):
    """The journal is written before the tables: a crash between them loses no take."""
    guide = begun(root)
    first_take(guide)
    press(guide, Kept(), Fetched(), Seated())
    journal_file.journal_of(root, "2026-05-09").write(Kept())
    assert list(takes_of(root)) == ["heron-1"]
    again = make_guide(root, make_device(root))
    again.resume("2026-05-09")
    assert list(takes_of(root)) == ["heron-1", "rush-1-1"]


def test_a_sitting_does_not_end_while_a_kept_take_is_not_in_the_table(root, canned, monkeypatch):
    guide = begun(root)
    first_take(guide)
    plain = guide_file.bring_in_line

    def full(*_):
        raise FrustaError("takes.csv: no space left; free some")

    monkeypatch.setattr(guide_file, "bring_in_line", full)
    assert press(guide, Kept()).step == "fault"
    with pytest.raises(FrustaError, match="no space left"):
        guide.press(Ended())
    assert guide.state.step == "fault"
    monkeypatch.setattr(guide_file, "bring_in_line", plain)
    assert press(guide, Ended()).step == "done"
    assert list(takes_of(root)) == ["heron-1"]


def test_a_mass_corrected_in_the_table_stays_as_corrected(root, canned):
    guide = begun(root, turns=(Turn("rush-2", 1), Turn("rush-1", 1)))
    first_take(guide)
    press(guide, Kept(), Fetched(), Weighed(4.87))
    edit_table(root, "specimens", [{"specimen": "rush-2", "mass_g": "4.78"}])
    press(guide, Seated(), Kept())
    make_guide(root, make_device(root)).resume("2026-05-09")
    assert open_package(root).specimens["rush-2"].mass_g == 4.78


def test_masses_are_written_and_taken_back(root, canned):
    guide = begun(root, turns=(Turn("rush-2", 1),))
    first_take(guide)
    press(guide, Kept(), Fetched())
    assert guide.state.step == "weigh"
    press(guide, Weighed(4.87))
    assert open_package(root).specimens["rush-2"].mass_g == 4.87
    guide.undo()
    assert open_package(root).specimens["rush-2"].mass_g is None
    press(guide, NotWeighed())
    assert guide.state.step == "seat"


def test_another_day_asks_only_for_what_is_missing(root, canned):
    guide = begun(root, turns=planned_turns(open_package(root), 1))
    run_unattended(guide, lambda _: None)
    assert planned_turns(open_package(root), 1) == ()
    left = planned_turns(open_package(root), 2)
    assert {(t.specimen, t.seating) for t in left} == {("rush-1", 2), ("rush-2", 2), ("sedge-1", 2)}
    package = open_package(root)
    second = begin_sitting(package, package.rigs["jetty"], left, DAY)
    assert second.session == "2026-05-09-b"
    assert [t.seating for t in second.queue if t.specimen == "heron"] == [3, 4]


def test_a_saved_plan_is_followed(root):
    turns = (Turn("sedge-1", 1), Turn("rush-1", 1))
    save_plan(root, turns)
    assert planned_turns(open_package(root)) == turns
    (root / "plan.csv").write_text("specimen,seating\nnobody,1\n")
    with pytest.raises(PackageError, match=r"plan.csv, row 2: must name a specimen"):
        planned_turns(open_package(root))


def test_unattended_sets_a_hopeless_cone_aside(root, monkeypatch):
    device = make_device(root, "burst")
    plain = device._once

    def always_bad(signal):
        device._spoiled = False
        return plain(signal)

    monkeypatch.setattr(device, "_once", always_bad)
    guide = begun(root, device=device, turns=(Turn("rush-1", 1),))
    run_unattended(guide, lambda _: None)
    assert guide.state.step == "done"
    assert guide.state.kept == ()
    assert len(guide.state.made) >= 3


def test_a_verdict_comes_within_a_second_and_a_half(root):
    """Of the end of the sweep, in a processor's time: how busy the machine is must not count."""
    guide = begun(root)
    press(guide, Fetched())
    took = []
    plain = guide._judge

    def timed(*arguments):
        begun_s = time.thread_time()
        plain(*arguments)
        took.append(time.thread_time() - begun_s)

    guide._judge = timed
    press(guide, Seated(), Repeated(), Reseated())
    assert min(took) < 1.5


def test_a_virtual_calibrator_is_a_tone(root):
    device = make_device(root)
    device.seat(CALIBRATOR, 0, "94")
    heard = device.play(np.zeros(48000)).samples[:, 0]
    assert np.std(heard) * 40.0 == pytest.approx(20e-6 * 10 ** (94 / 20), rel=0.01)


def test_words_of_a_virtual_device():
    assert parse_rehearsal("virtual:fast,burst").fault == "burst"
    with pytest.raises(ParameterError, match="a virtual device can be fast, clipped"):
        parse_rehearsal("virtual:slow")


def test_resuming_what_never_began_says_so(root, canned):
    with pytest.raises(PackageError, match="has no journal"):
        make_guide(root, make_device(root)).resume("2026-01-01")
    with pytest.raises(PackageError, match=r"sweep must be a row of sweeps.csv"):
        make_guide(root, make_device(root), sweep="none")
    assert journal_file.latest_session(root) is None
    guide = begun(root)
    press(guide, Ended())
    assert guide.state.step == "done"
    assert isinstance(journal_file.journal_of(root, "2026-05-09").read()[0], Began)
