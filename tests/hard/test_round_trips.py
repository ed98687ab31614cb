"""What is written is read back the same: findings, sweeps, the bench's journal, packages, shelves, backups.

Oracles: the value that went in; for a fitted sweep the parameters that it was made with.
"""

from __future__ import annotations

import csv
import io
import json
import tempfile
import typing
from collections.abc import Iterator
from itertools import cycle
from pathlib import Path
from typing import Any

import numpy as np
from hard_package import make_small_package
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from frusta.bench.events import EVENTS, Began, Event, Recorded, TakeFaultNote, TakeVerdict, Turn
from frusta.bench.journal import Journal
from frusta.campaign.exporting import export_package, files_of
from frusta.campaign.findings import LISTS, Findings
from frusta.campaign.output import ROW_OF, findings_json, list_csv
from frusta.campaign.package import open_package
from frusta.campaign.rows import TABLES
from frusta.campaign.shelf.store import Shelf
from frusta.campaign.shelf.upkeep import back_up, check_shelf, restore
from frusta.campaign.tables import write_table
from frusta.signal.sweep import Sweep, fit_sweep, make_sweep

WORDS = st.text(st.characters(codec="utf-8", exclude_categories=("Cs",)), max_size=12)
FINITE = st.floats(allow_nan=False, allow_infinity=False)


def _value(annotation: Any, numbers: Iterator[float], words: Iterator[str]) -> Any:
    """Some value of a type, the next of those that were drawn; nothing, now and then, where that may be."""
    origin, parts = typing.get_origin(annotation), typing.get_args(annotation)
    if type(None) in parts:
        inner = next(part for part in parts if part is not type(None))
        return None if len(next(words)) % 2 else _value(inner, numbers, words)
    if origin is typing.Literal:
        return parts[len(next(words)) % len(parts)]
    if origin is typing.Annotated:
        return _value(parts[0], numbers, words)
    if origin is tuple:
        return tuple(_value(parts[0], numbers, words) for _ in range(len(next(words)) % 3))
    if origin is dict:
        return {next(words): _value(parts[1], numbers, words) for _ in range(len(next(words)) % 3)}
    if annotation is str:
        return next(words)
    if annotation in (int, bool):
        return annotation(next(numbers) % 7)
    if annotation is float:
        return next(numbers)
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return _row(annotation, numbers, words)
    raise TypeError(f"the test knows no values for {annotation}; teach it")


def _row(model: type[BaseModel], numbers: Iterator[float], words: Iterator[str]) -> BaseModel:
    return model.model_validate({n: _value(f.annotation, numbers, words) for n, f in model.model_fields.items()})


@st.composite
def _findings(draw: st.DrawFn) -> Findings:
    """Any findings: every column of every list filled, by its type, from numbers and words of every kind."""
    numbers = cycle(draw(st.lists(FINITE, min_size=3, max_size=11)))
    words = cycle(draw(st.lists(WORDS, min_size=3, max_size=7)))
    lists = {n: tuple(_row(ROW_OF[n], numbers, words) for _ in range(draw(st.integers(0, 2)))) for n in LISTS}
    return Findings.model_validate({"campaign": next(words), "made_by": next(words)} | lists)


@settings(max_examples=40)
@given(_findings())
def test_findings_come_back_to_the_last_digit(findings):
    text = findings_json(findings)
    again = Findings.model_validate_json(text)
    assert again == findings
    assert findings_json(again) == text
    plain = json.loads(text)
    for name in LISTS:
        rows = list(csv.reader(io.StringIO(list_csv(findings, name).decode(), newline="")))
        assert len(rows) == 1 + len(getattr(findings, name))
        for row, wanted in zip(rows[1:], plain[name], strict=True):
            for column, cell in zip(rows[0], row, strict=True):
                if isinstance(value := wanted.get(column), float):
                    assert float(cell) == value


@settings(max_examples=25)
@given(
    st.floats(15, 200), st.floats(4, 9), st.floats(0.3, 1.2), st.sampled_from((44100, 48000, 96000)),
    st.floats(-60, 0), st.floats(0, 0.2), st.floats(0, 0.3),
)  # fmt: skip
def test_a_sweep_is_known_again(start_hz, octaves, seconds, rate_hz, level_dbfs, lead_in_s, tail_s):
    """Oracle: the parameters. Two bands of a sixth of an octave at each end is what a fade may hide of the band."""
    stop_hz = min(start_hz * 2**octaves, 0.45 * rate_hz)
    sweep = Sweep(
        start_hz, stop_hz, seconds, lead_in_s, tail_s, level_dbfs=level_dbfs, sample_rate_hz=rate_hz
    )  # fmt: skip
    fit = fit_sweep(make_sweep(sweep), rate_hz)
    assert fit.exponential, fit.reason
    assert abs(fit.rate_s / sweep.rate_s - 1) < 2e-3
    assert abs(20 * np.log10(fit.amplitude / sweep.amplitude)) < 0.2


TURN = st.builds(Turn, WORDS, st.integers(1, 9), st.sampled_from(("check", "cone")))
VERDICT = st.builds(
    TakeVerdict,
    st.sampled_from(("ok", "look", "repeat")),
    st.lists(st.builds(TakeFaultNote, WORDS, WORDS, WORDS), max_size=2).map(tuple),
    st.dictionaries(WORDS, FINITE, max_size=2),
    st.dictionaries(WORDS, FINITE, max_size=2),
    st.lists(WORDS, max_size=2).map(tuple),
)


def _event(kind: type[Event]) -> st.SearchStrategy[Event]:
    if kind is Began:
        return st.builds(Began, WORDS, st.lists(TURN, max_size=3).map(tuple), st.lists(FINITE, max_size=2).map(tuple))
    if kind is Recorded:
        return st.builds(Recorded, WORDS, WORDS, VERDICT, WORDS, FINITE)
    return st.builds(kind)


EVENT = st.one_of([_event(kind) for kind in EVENTS.values()])


@settings(max_examples=40)
@given(st.lists(EVENT, min_size=1, max_size=5), st.data())
def test_a_journal_keeps_every_event_that_was_written_whole(events, data):
    with tempfile.TemporaryDirectory() as place:
        journal = Journal(Path(place) / "s.journal")
        for event in events:
            journal.write(event)
        assert journal.read() == events
        whole = journal.path.read_bytes()
        cut = data.draw(st.integers(0, len(whole)))
        journal.path.write_bytes(whole[:cut])
        kept = whole[:cut].count(b"\n")
        assert journal.read() == events[:kept]
        journal.write(events[0])
        assert journal.read() == [*events[:kept], events[0]]


def _contents(path: Path) -> dict[str, bytes]:
    package = open_package(path)
    return {name: f if isinstance(f, bytes) else f.read_bytes() for name, f in files_of(package).items()}


CELL = st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")), max_size=20).map(str.strip)
COLUMN = CELL.filter(lambda name: name and name.lower() not in TABLES["materials"].model_fields)


def _package(root: Path, notes: list[str], title: str, column: str) -> Path:
    """The small package with notes, title and a column of the maker's own, of any letters."""
    package = make_small_package(root / "quay")
    campaign = TABLES["campaign"].model_validate({"campaign": "quay", "title": title})
    (package / "campaign.csv").write_bytes(write_table(TABLES["campaign"], [campaign]))
    rows = [
        TABLES["materials"].model_validate({"material": key, "name": key, "notes": note or None, column: note})
        for key, note in zip(("rush", "sedge"), notes, strict=True)
    ]
    (package / "materials.csv").write_bytes(write_table(TABLES["materials"], rows))
    return package


@settings(max_examples=25)
@given(st.lists(CELL, min_size=2, max_size=2), CELL.filter(bool), COLUMN)
def test_a_package_survives_zip_and_folder(notes, title, column):
    with tempfile.TemporaryDirectory() as place:
        root = Path(place).resolve()
        package = _package(root, notes, title, column)
        wanted = _contents(package)
        export_package(open_package(package), root / "one.zip")
        assert _contents(root / "one.zip") == wanted
        export_package(open_package(root / "one.zip"), root / "folder")
        assert _contents(root / "folder") == wanted
        export_package(open_package(root / "folder"), root / "two.zip")
        assert (root / "two.zip").read_bytes() == (root / "one.zip").read_bytes()


@settings(max_examples=3)
@given(st.lists(CELL.filter(bool), min_size=2, max_size=2), CELL.filter(bool), COLUMN)
def test_a_package_survives_shelf_and_backup(notes, title, column):
    with tempfile.TemporaryDirectory() as place:
        root = Path(place).resolve()
        package = _package(root, notes, title, column)
        wanted = _contents(package)
        shelf = Shelf(root / "shelf.sqlite")
        shelf.add(package)
        assert _contents(shelf.export("quay", root / "one.zip")) == wanted
        back_up(shelf, root / "backup.zip")
        other = Shelf(root / "other.sqlite")
        assert restore(root / "backup.zip", other) == 1
        assert check_shelf(other) == []
        assert _contents(other.export("quay", root / "two.zip")) == wanted
        shelf.close()
        other.close()
