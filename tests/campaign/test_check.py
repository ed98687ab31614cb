"""Bad input: each kind gets one clear line with its place, and nothing of the user's changes.

Oracle: the design's page on the package and the issue's list of bad input; every package below is the sound one of
conftest.py with one thing broken.
"""

from __future__ import annotations

import json
import os
import shutil
import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile

from frusta.campaign.check import check_package
from frusta.campaign.exporting import export_package
from frusta.campaign.package import open_package
from frusta.errors import PackageError


def test_the_sound_package_has_no_fault(maker_package):
    result = check_package(maker_package)
    assert result.faults == ()
    assert result.notes == ()
    assert result.lines()[-1] == (
        f"{maker_package}: no fault found (2 materials, 1 recipe, 2 profiles, 1 rig, 2 sessions, 1 sweep, 4 specimens, "
        "1 coupon, 2 events of history, 3 takes, 1 overhang)"
    )


def text(file: str, old: str, new: str):
    """Break a table's text."""

    def breaks(folder: Path, edit):
        edit(folder, file, old, new)

    return breaks


def sound(name: str, samples, rate_hz: int = 48000, subtype: str = "PCM_16"):
    """Put another recording in a take's place."""

    def breaks(folder: Path, edit):
        soundfile.write(folder / name, samples, rate_hz, subtype=subtype)

    return breaks


def raw(name: str, change):
    """Change a file's bytes."""

    def breaks(folder: Path, edit):
        path = folder / name
        path.write_bytes(change(path.read_bytes()))

    return breaks


def remove(name: str):
    def breaks(folder: Path, edit):
        (folder / name).unlink()

    return breaks


def link_out(name: str):
    def breaks(folder: Path, edit):
        outside = folder.parent / "outside.wav"
        shutil.move(folder / name, outside)
        (folder / name).symlink_to(outside)

    return breaks


def pipe(name: str):
    def breaks(folder: Path, edit):
        (folder / name).unlink()
        os.mkfifo(folder / name)

    return breaks


def patched(offset: int, layout: str, value: int):
    return lambda data: data[:offset] + struct.pack(layout, value) + data[offset + struct.calcsize(layout) :]


NOISE = 0.1 * np.random.default_rng(5).standard_normal(48000 * 2)
LATE = np.concatenate([np.zeros(9600), NOISE])
NOT_NUMBERS = np.where(np.arange(96000) == 48000, np.nan, NOISE)

BAD = {
    "missing recording": (remove("recordings/a.wav"), "takes.csv, row 2, column recording", "there is none"),
    "other case": (
        text("takes.csv", "recordings/a.wav", "recordings/A.wav"),
        "takes.csv, row 2, column recording",
        "a.wav?",
    ),
    "wrong rate": (sound("recordings/b.flac", NOISE, 44100), "takes.csv, row 3, column recording", "48000 Hz"),
    "rate too low": (sound("recordings/c.wav", NOISE, 22050), "takes.csv, row 4, column recording", "44100 to 192000"),
    "zero bytes": (raw("recordings/b.flac", lambda d: b""), "takes.csv, row 3, column recording", "0 bytes"),
    "not sound": (
        raw("recordings/b.flac", lambda d: b"hello" * 99),
        "takes.csv, row 3, column recording",
        "WAV or FLAC",
    ),
    "header only": (raw("recordings/a.wav", lambda d: d[:44]), "takes.csv, row 2, column recording", "sound"),
    "half a header": (raw("recordings/a.wav", lambda d: d[:30]), "takes.csv, row 2, column recording", "header"),
    "claims more than is there": (
        raw("recordings/a.wav", lambda d: d[: len(d) // 2]),
        "takes.csv, row 2, column recording",
        "header claims",
    ),
    "claims nothing": (
        raw("recordings/c.wav", lambda d: d.replace(b"data" + struct.pack("<I", 48000), b"data\0\0\0\0")),
        "takes.csv, row 4, column recording",
        "claims no sound",
    ),
    "rate of the header is a lie": (
        raw("recordings/a.wav", patched(24, "<I", 96000)),
        "takes.csv, row 2, column recording",
        "bytes per second",
    ),
    "channels of the header are a lie": (
        raw("recordings/a.wav", patched(22, "<H", 5)),
        "takes.csv, row 2, column recording",
        "5 channels",
    ),
    "cut FLAC": (raw("recordings/b.flac", lambda d: d[: len(d) // 2]), "takes.csv, row 3, column recording", "copy"),
    "not a number in samples": (
        sound("recordings/c.wav", NOT_NUMBERS, 48000, "FLOAT"),
        "takes.csv, row 4, column recording",
        "1.0000 s",
    ),
    "lossy": (sound("recordings/c.wav", NOISE, 48000, "ULAW"), "takes.csv, row 4, column recording", "ULAW"),
    "sweep longer than recording": (
        sound("recordings/b.flac", NOISE[:20000]),
        "takes.csv, row 3, column recording",
        "as long as sweep short sounds",
    ),
    "channel not there": (
        text("takes.csv", "sweep,2,1", "sweep,3,1"),
        "takes.csv, row 2, column microphone_channel",
        "it has 2",
    ),
    "no channel left": (
        text("takes.csv", "b.flac,,,", "b.flac,,,1"),
        "takes.csv, row 3, column microphone_channel",
        "all of its 1",
    ),
    "one channel twice": (
        text("takes.csv", "sweep,2,1", "sweep,1,1"),
        "takes.csv, row 2, column reference_channel",
        "another",
    ),
    "one recording twice": (
        text("takes.csv", "recordings/b.flac,,,", "recordings/a.wav,,2,"),
        "takes.csv, row 3, column recording",
        "that of take a",
    ),
    "channel zero": (
        text("takes.csv", "sweep,2,1", "sweep,0,1"),
        "takes.csv, row 2, column microphone_channel",
        "at least 1",
    ),
    "text in a number": (
        text("materials.csv", "1200", "heavy"),
        "materials.csv, row 2, column density_kg_m3",
        "'heavy'",
    ),
    "NaN": (text("materials.csv", "1200", "nan"), "materials.csv, row 2, column density_kg_m3", "'nan'"),
    "decimal comma under commas": (
        text("profiles.csv", "2.5,0.8", '"2,5",0.8'),
        "profiles.csv, row 3, column bow_mm",
        "semicolons",
    ),
    "negative mass": (text("specimens.csv", "7.5", "-7.5"), "specimens.csv, row 2, column mass_g", "above 0"),
    "coil heavier than both": (
        text("specimens.csv", "9.5,3.2", "2.5,3.2"),
        "specimens.csv, row 3, column mass_with_coil_g",
        "3.2 g",
    ),
    "duplicate key": (
        text("materials.csv", "oak,Oak", "fir,Oak"),
        "materials.csv, row 3, column material",
        "first in row 2",
    ),
    "bad key": (text("recipes.csv", "walls", "The Walls"), "recipes.csv, row 2, column recipe", "must be a key"),
    "dangling link": (
        text("takes.csv", "b,oak-1", "b,fir1"),
        "takes.csv, row 3, column specimen",
        "did you mean fir-1?",
    ),
    "neither session nor rig": (
        text("takes.csv", "fir-stick,,bench", "fir-stick,,"),
        "takes.csv, row 4, column session",
        "rig",
    ),
    "no sweep, no reference": (
        text("takes.csv", "s2,,short", "s2,,"),
        "takes.csv, row 3, column sweep",
        "without a reference channel",
    ),
    "bad word": (
        text("specimens.csv", "fir-1,cone", "fir-1,horn"),
        "specimens.csv, row 2, column kind",
        "cone, driver",
    ),
    "missing column": (text("specimens.csv", "kind", "sort"), "specimens.csv, row 1, column kind", "no such column"),
    "empty needed cell": (
        text("takes.csv", "short,1,recordings/a", "short,,recordings/a"),
        "takes.csv, row 2, column seating",
        "filled",
    ),
    "zero-byte table": (raw("materials.csv", lambda d: b""), "materials.csv", "has no text"),
    "empty table of takes": (raw("takes.csv", lambda d: d.splitlines(True)[0]), "takes.csv", "3 recordings are there"),
    "empty campaign": (raw("campaign.csv", lambda d: d.splitlines(True)[0]), "campaign.csv", "must hold one row"),
    "two campaigns": (text("campaign.csv", "6000\n", "6000\nb,B,,\n"), "campaign.csv", "must hold one row"),
    "other encoding": (
        raw("materials.csv", lambda d: d.replace(b"Fir", b"F\xefr")),
        "materials.csv",
        "byte 49, line 2",
    ),
    "lone quote": (raw("materials.csv", lambda d: d.replace(b"Fir", b'"Fir')), "materials.csv", "quotation mark"),
    "band upside down": (
        text("campaign.csv", "300,6000", "6000,300"),
        "campaign.csv, row 2, column band_high_hz",
        "6000",
    ),
    "date of another country": (
        text("sessions.csv", "2026-05-04", "04.05.2026"),
        "sessions.csv, row 2, column date",
        "2026-11-25",
    ),
    "rim under neck": (text("profiles.csv", "14,40,28,0", "40,14,28,0"), "profiles.csv, row 2", "rim"),
    "bow against the word": (text("profiles.csv", "28,2.5", "28,-2.5"), "profiles.csv, row 3, column bow_mm", "convex"),
    "stick without width": (text("coupons.csv", "100,10,3", "100,,3"), "coupons.csv, row 2, column width_mm", "stick"),
    "sweep upside down": (
        text("sweeps.csv", "100,16000", "16000,100"),
        "sweeps.csv, row 2, column stop_hz",
        "above start_hz",
    ),
    "sweep above half the rate": (
        text("sweeps.csv", "100,16000", "100,30000"),
        "sweeps.csv, row 2, column stop_hz",
        "24000",
    ),
    "sweep without numbers": (
        text("sweeps.csv", "100,16000,0.6", "100,16000,"),
        "sweeps.csv, row 2, column duration_s",
        "signal",
    ),
    "sweep too short": (text("sweeps.csv", "16000,0.6", "16000,0.001"), "sweeps.csv, row 2", "too short"),
    "calibration missing": (remove("mic.txt"), "rigs.csv, row 2, column microphone_calibration", "mic.txt"),
    "calibration with an empty value": (
        raw("mic.txt", lambda d: d.replace(b"1000 0.25", b"1000")),
        "rigs.csv, row 2, column microphone_calibration",
        "line 4",
    ),
    "calibration with a gap": (
        raw("mic.txt", lambda d: b"".join(b"%d 0.5\n" % f for f in (*range(100, 1000, 50), *range(9000, 20000, 500)))),
        "rigs.csv, row 2, column microphone_calibration",
        "no hole (none from 950 to 9000 Hz)",
    ),
    "calibration out of order": (
        raw("mic.txt", lambda d: d.replace(b"4000 0.5\n8000 1\n", b"8000 1\n4000 0.5\n")),
        "rigs.csv, row 2, column microphone_calibration",
        "line 7: frequencies must rise",
    ),
    "calibration with words": (
        raw("mic.txt", lambda d: d.replace(b"0.25", b"loud")),
        "rigs.csv, row 2, column microphone_calibration",
        "'loud'",
    ),
    "recording outside": (
        text("takes.csv", "recordings/a.wav", "../../etc/a.wav"),
        "takes.csv, row 2, column recording",
        "inside the package",
    ),
    "name too long": (
        text("takes.csv", "recordings/a.wav", "x" * 300 + ".wav"),
        "takes.csv, row 2, column recording",
        "file name too long",
    ),
    "absolute recording": (
        text("takes.csv", "recordings/a.wav", "/tmp/a.wav"),
        "takes.csv, row 2, column recording",
        "inside the package",
    ),
    "recording is a link out": (link_out("recordings/a.wav"), "takes.csv, row 2, column recording", "link out"),
    "table is a link out": (link_out("recipes.csv"), "recipes.csv", "link out"),
    "recording is a pipe": (pipe("recordings/b.flac"), "takes.csv, row 3, column recording", "device"),
    "recording is a folder": (
        text("takes.csv", "recordings/a.wav", "recordings"),
        "takes.csv, row 2, column recording",
        "folder",
    ),
}


@pytest.mark.timeout(20)
@pytest.mark.parametrize("kind", BAD)
def test_each_kind_of_bad_input_has_one_line_with_its_place(maker_package, fingerprint_of, edit_table, kind):
    breaks, where, says = BAD[kind]
    breaks(maker_package, edit_table)
    before = fingerprint_of(maker_package) if "pipe" not in kind else None
    faults = check_package(maker_package).faults
    told = [f for f in faults if f.where == where]
    assert told, [str(f) for f in faults]
    assert says in str(told[0])
    assert "\n" not in str(told[0])
    assert "; " in str(told[0])
    assert len(faults) == len(told) == 1 or kind in CASCADES, [str(f) for f in faults]
    if before is not None:
        assert fingerprint_of(maker_package) == before


CASCADES = {
    "bad key": "each link to the key that was meant is dangling too",
    "duplicate key": "oak is no longer there for its two specimens",
}


def test_every_fault_is_told_at_once(maker_package, edit_table):
    edit_table(maker_package, "materials.csv", "1200", "heavy")
    edit_table(maker_package, "takes.csv", "sweep,2,1", "sweep,7,1")
    (maker_package / "recordings/b.flac").unlink()
    (maker_package / "mic.txt").unlink()
    places = [f.where for f in check_package(maker_package).faults]
    assert places == [
        "materials.csv, row 2, column density_kg_m3",
        "rigs.csv, row 2, column microphone_calibration",
        "takes.csv, row 2, column microphone_channel",
        "takes.csv, row 3, column recording",
    ]


def test_a_faulty_take_is_named(maker_package):
    (maker_package / "recordings/b.flac").unlink()
    (fault,) = check_package(maker_package).faults
    assert (fault.take, fault.fault, fault.row) == ("b", "missing file", 3)


def test_tables_with_faults_cannot_be_opened_and_the_first_is_told(maker_package, edit_table):
    edit_table(maker_package, "materials.csv", "1200", "heavy")
    edit_table(maker_package, "materials.csv", "1050", "light")
    with pytest.raises(PackageError, match=r"row 2, column density_kg_m3: .* \(1 more fault: frusta check lists"):
        open_package(maker_package)


def test_takes_with_faults_leave_the_tables_open(maker_package):
    (maker_package / "recordings/b.flac").unlink()
    package = open_package(maker_package)
    assert package.open_recording("a").channels == 2
    with pytest.raises(PackageError, match="there is none"):
        package.open_recording("b")


@pytest.mark.parametrize("name", ["nothing-here", "empty", "file.txt", "device"])
def test_what_is_no_package_is_refused(tmp_path, name):
    (tmp_path / "empty").mkdir()
    (tmp_path / "file.txt").write_text("hello")
    os.mkfifo(tmp_path / "device")
    with pytest.raises(PackageError, match=r"must be (a package|a whole zip)"):
        check_package(tmp_path / name)


def test_hashes_of_the_description_are_held_against_the_files(maker_package, tmp_path):
    out = export_package(open_package(maker_package), tmp_path / "out")
    assert check_package(out).faults == ()
    with (out / "materials.csv").open("a") as table:
        table.write("elm,Elm,,,\n")
    (out / "mic.txt").write_bytes((out / "mic.txt").read_bytes().replace(b"0.25", b"0.26"))
    faults = [str(f) for f in check_package(out).faults]
    assert len(faults) == 2
    assert "materials.csv must have" in faults[0]
    assert "(its content differs)" in faults[1]


@pytest.mark.parametrize(
    "document",
    [
        "{",
        "[]",
        '{"resources": 3}',
        '{"resources": [{"path": "../x"}]}',
        '{"resources": [{"path": "gone.csv"}]}',
        "[" * 99999,
    ],
)
def test_a_broken_description_is_one_fault(maker_package, document):
    (maker_package / "datapackage.json").write_text(document)
    (fault,) = check_package(maker_package).faults
    assert fault.where == "datapackage.json"


def test_hashes_of_the_older_standard_are_read(maker_package):
    resources = [{"path": "mic.txt", "hash": "0" * 32}, {"path": "https://example.org/x.csv", "hash": "0" * 32}]
    (maker_package / "datapackage.json").write_text(json.dumps({"resources": resources}))
    (fault,) = check_package(maker_package).faults
    assert "md5" in fault.what


def test_notes_are_no_faults(maker_package, edit_table):
    edit_table(maker_package, "specimens.csv", "oak-1,cone,oak,walls,cv80", "oak-1,cone,,,")
    (maker_package / "coupons.csv").unlink()
    soundfile.write(maker_package / "recordings/extra.wav", NOISE, 48000)
    result = check_package(maker_package)
    assert result.faults == ()
    assert [n.split(":")[0] for n in result.notes] == [
        "no take names recordings/extra.wav",
        "specimen oak-1 names no material and no profile",
        "coupon fir-stick has no row in coupons.csv",
    ]


def test_a_sweep_that_only_claims_to_be_one_is_noted(maker_package, edit_table):
    soundfile.write(maker_package / "noise.wav", NOISE, 48000)
    edit_table(maker_package, "sweeps.csv", "sweep,start", "sweep,signal,start")
    edit_table(maker_package, "sweeps.csv", "short,100,16000,0.6,0.1,0.2,48000", "short,noise.wav,,,,,,")
    (maker_package / "takes.csv").unlink()
    result = check_package(maker_package)
    assert result.faults == ()
    assert any("sweep short gives responses but no harmonics" in n for n in result.notes)


@pytest.mark.reference
@pytest.mark.parametrize("kind", ["clean", "hard"])
def test_packages_made_by_others(reference_data, kind):
    """Source: simulated-bench, an independent simulator's packages; its one cut recording is named."""
    result = check_package(reference_data / "simulated-bench" / kind)
    assert [(f.take, f.fault) for f in result.faults] == [("bad-truncated", "truncated")]
