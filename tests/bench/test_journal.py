"""The journal and the tables on disk. Oracle: what was written whole is read back; a torn end was never written."""

from __future__ import annotations

import pytest
from small_package import make_package

from frusta.bench.events import Began, Fetched, Seated, Turn
from frusta.bench.journal import Journal, journal_of, latest_session
from frusta.bench.tables import edit_table
from frusta.errors import OutputError, PackageError

EVENTS = [Began("d", (Turn("a", 1),)), Fetched(), Seated()]


def written(path):
    journal = Journal(path)
    for event in EVENTS:
        journal.write(event)
    return journal


def test_what_was_written_is_read_back(tmp_path):
    assert written(tmp_path / "bench" / "d.journal").read() == EVENTS


def test_a_line_cut_short_anywhere_is_left_out_and_the_next_stands_whole(tmp_path):
    journal = written(tmp_path / "d.journal")
    whole = journal.path.read_bytes()
    last = whole.rstrip(b"\n").rfind(b"\n") + 1
    for cut in range(last, len(whole)):
        journal.path.write_bytes(whole[:cut])
        assert journal.read() == EVENTS[:2]
        journal.write(Seated())
        assert journal.read() == EVENTS


def test_a_damaged_line_in_the_middle_is_told_with_its_number(tmp_path):
    journal = written(tmp_path / "d.journal")
    lines = journal.path.read_bytes().splitlines(True)
    journal.path.write_bytes(b"".join([lines[0], b"{torn\n", lines[2]]))
    with pytest.raises(PackageError, match="line 2 is damaged"):
        journal.read()


def test_a_folder_that_cannot_be_written_is_one_line(tmp_path):
    (tmp_path / "bench").write_text("a file in the way")
    with pytest.raises(OutputError, match="must be writable"):
        journal_of(tmp_path, "d").write(Fetched())


def test_the_latest_session_is_found(tmp_path):
    assert latest_session(tmp_path) is None
    journal_of(tmp_path, "day-1").write(EVENTS[0])
    assert latest_session(tmp_path) == "day-1"


def test_a_table_keeps_its_other_cells_order_and_columns(tmp_path):
    root = make_package(tmp_path / "quay")
    (root / "specimens.csv").write_bytes(
        "specimen;kind;mass_g;shelf place\nrush-1;cone;4,9;left\nrush-2;cone;;right\n".encode("utf-8-sig")
    )
    assert edit_table(root, "specimens", [{"specimen": "rush-2", "mass_g": "5.05"}])
    assert (root / "specimens.csv").read_text("utf-8") == (
        "specimen,kind,mass_g,shelf place\nrush-1,cone,4.9,left\nrush-2,cone,5.05,right\n"
    )
    assert not edit_table(root, "specimens", [{"specimen": "rush-2", "mass_g": "5.05"}]), "twice changes nothing"
    assert edit_table(root, "specimens", drop=["rush-1"])
    assert "rush-1" not in (root / "specimens.csv").read_text("utf-8")
