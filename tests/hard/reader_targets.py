"""What must hold of every reader for any bytes at all; used by the fuzzer and by the tests that keep its findings.

Each target takes bytes, gives them to one reader as a file, and raises where a promise is broken: a reader reads, or
refuses with one printable line; it lets nothing else out, and what it has read it can write and read again.
"""

from __future__ import annotations

import io
import json
import tempfile
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile

from frusta.bench.events import Ended
from frusta.bench.journal import Journal
from frusta.campaign.archive import unpack
from frusta.campaign.calibration_file import parse_calibration, read_calibration
from frusta.campaign.datapackage import NAME, faults_of_description
from frusta.campaign.findings import Findings
from frusta.campaign.output import LISTS, findings_json, list_csv
from frusta.campaign.package import read_package
from frusta.campaign.recordings import fault_of_samples, open_recording
from frusta.campaign.rows import TABLES
from frusta.campaign.tables import read_table, write_table
from frusta.errors import FrustaError, PackageError

Target = Callable[[bytes], None]

MEMORY = Path("/dev/shm")
MOST_SAMPLES = 2**22
"""More is opened but not read: the fuzzer seeks faults, not patience."""


def _folder() -> tempfile.TemporaryDirectory[str]:
    return tempfile.TemporaryDirectory(prefix="frusta-fire-", dir=MEMORY if MEMORY.is_dir() else None)


def one_line(text: str) -> None:
    """An error's text is one line that a terminal can show."""
    assert text.strip(), "an error without words"
    assert "\n" not in text, f"more than one line: {text!r}"
    assert "\r" not in text, f"more than one line: {text!r}"
    assert "\x1b" not in text, f"an escape sequence for the terminal: {text!r}"


def table(data: bytes) -> None:
    """A table of a package; the first byte chooses which."""
    model = list(TABLES.values())[data[0] % len(TABLES)] if data else TABLES["campaign"]
    read = read_table(model, data[1:])
    for fault in read.faults:
        one_line(str(fault))
    written = write_table(model, read.rows)
    again = read_table(model, written)
    assert again.faults == (), again.faults
    assert again.rows == read.rows
    assert write_table(model, again.rows) == written


def calibration(data: bytes) -> None:
    """A microphone's calibration."""
    with _folder() as place:
        path = Path(place) / "mic.txt"
        path.write_bytes(data)
        try:
            read = read_calibration(path, "mic.txt")
        except PackageError as error:
            one_line(str(error))
            return
    assert np.isfinite(read.frequency_hz).all()
    assert np.isfinite(read.level_db).all()
    assert (np.diff(read.frequency_hz) > 0).all()
    columns = [read.frequency_hz, read.level_db] + ([] if read.phase_deg is None else [read.phase_deg])
    text = "\n".join("\t".join(repr(float(v)) for v in row) for row in zip(*columns, strict=True))
    again = parse_calibration(text, "again")
    assert np.array_equal(again.frequency_hz, read.frequency_hz)
    assert np.array_equal(again.level_db, read.level_db)


def sound(data: bytes) -> None:
    """A recording, WAV or FLAC; what is read has the length that was promised."""
    with _folder() as place:
        path = Path(place) / "take.wav"
        path.write_bytes(data)
        try:
            recording = open_recording(path, "take.wav")
        except PackageError as error:
            one_line(str(error))
            return
        assert recording.frames > 0
        assert recording.bits > 0
        if recording.frames * recording.channels > MOST_SAMPLES:
            return
        fault = fault_of_samples(recording)
        if fault is not None:
            one_line(fault)
            return
        samples = recording.read(recording.channels)
        assert samples.shape == (recording.frames,)
        assert np.isfinite(samples).all()
        with soundfile.SoundFile(path) as other:
            other.seek(0)  # libsndfile itself reads nothing of some damaged files unless it is told where to begin
            raw = other.read(always_2d=True)
        assert np.array_equal(raw[:, recording.channels - 1], samples)


def package(data: bytes) -> None:
    """A zip; nothing is written outside the folder that it is unpacked to."""
    with _folder() as place:
        root = Path(place)
        inner = root / "inner"
        inner.mkdir()
        archive = root / "package.zip"
        archive.write_bytes(data)
        try:
            unpack(archive, inner)
        except FrustaError as error:
            one_line(str(error))
        assert sorted(p.name for p in root.iterdir()) == ["inner", "package.zip"]
        assert not any(p.is_symlink() for p in inner.rglob("*"))
        try:
            read, faults = read_package(archive)
        except FrustaError as error:
            one_line(str(error))
            return
        for fault in faults:
            one_line(str(fault))
        assert not faults_out_of_line(read.root)


def faults_out_of_line(root: Path) -> list[str]:
    """Faults of a package's description whose text is not one line."""
    return [str(f) for f in faults_of_description(root) if "\n" in str(f)]


def document(data: bytes) -> None:
    """A JSON file; the first byte chooses who reads it: findings, the list of files, the bench's journal."""
    readers = (_findings, _description, _journal)
    readers[data[0] % len(readers) if data else 0](data[1:])


def _findings(data: bytes) -> None:
    try:
        read = Findings.model_validate_json(data)
    except ValueError:
        return
    written = findings_json(read)
    assert Findings.model_validate_json(written) == read
    json.loads(written)
    for name in LISTS:
        assert list_csv(read, name).count(b"\n") >= 1 + len(getattr(read, name))


def _description(data: bytes) -> None:
    with _folder() as place:
        (Path(place) / NAME).write_bytes(data)
        (Path(place) / "takes.csv").write_bytes(b"take\n")
        for fault in faults_of_description(Path(place)):
            one_line(str(fault))


def _journal(data: bytes) -> None:
    with _folder() as place:
        journal = Journal(Path(place) / "s1.journal")
        journal.path.write_bytes(data)
        try:
            events = journal.read()
        except PackageError as error:
            one_line(str(error))
            return
        journal.write(Ended())
        assert repr(journal.read()) == repr([*events, Ended()])


TARGETS: dict[str, Target] = {
    "table": table,
    "calibration": calibration,
    "wav": sound,
    "flac": sound,
    "zip": package,
    "json": document,
}


def small_zip(files: dict[str, bytes]) -> bytes:
    """A zip of some files, the same bytes every time."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), content, zipfile.ZIP_DEFLATED)
    return out.getvalue()
