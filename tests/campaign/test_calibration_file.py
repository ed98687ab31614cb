"""Calibration files as microphone makers write them. Oracle: the design's row on microphone_calibration."""

from __future__ import annotations

import numpy as np
import pytest

from frusta.campaign.calibration_file import parse_calibration, read_calibration
from frusta.errors import PackageError

FREQUENCY = [20.0, 200.0, 1000.0, 2000.5]
LEVEL = [-1.5, 0.0, 0.25, 3.0]
PHASE = [10.0, -5.0, 0.5, 90.0]


def written(separator: str, phase: bool, comma: bool = False) -> str:
    rows = [[f, g, p] if phase else [f, g] for f, g, p in zip(FREQUENCY, LEVEL, PHASE, strict=True)]
    lines = [separator.join(f"{v:g}".replace(".", "," if comma else ".") for v in row) for row in rows]
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize("phase", [False, True])
@pytest.mark.parametrize("separator", [",", ";", " ", "\t", "   ", ", ", " ; "])
def test_every_separator(separator, phase):
    table = parse_calibration(written(separator, phase), "mic.txt")
    assert table.frequency_hz.tolist() == FREQUENCY
    assert table.level_db.tolist() == LEVEL
    assert (table.phase_deg is None) if not phase else (table.phase_deg.tolist() == PHASE)


@pytest.mark.parametrize("separator", [";", " ", "\t"])
def test_decimal_commas(separator):
    table = parse_calibration(written(separator, True, comma=True), "mic.txt")
    assert (table.frequency_hz.tolist(), table.phase_deg.tolist()) == (FREQUENCY, PHASE)


@pytest.mark.parametrize(
    "head",
    [
        "* made 2026\n",
        "Frequency (Hz)\tSPL (dB)\n",
        '"Sensitivity =-1.2dB, number 7001"\n',
        "# a\n; b\n// c\n! d\n\n",
        "1000Hz -37.1 dBV\n",
        "freq,dB\n",
        "2026-05-04 calibrated\n",
    ],
)
def test_comments_and_headers(head):
    text = head + written("\t", False).replace("200\t0\n", "200\t0\n* in between\n\n")
    assert parse_calibration(text, "mic.txt").level_db.tolist() == LEVEL


def test_quoted_numbers_and_separators_at_the_end():
    assert parse_calibration('"20","-1.5"\n"40","0"\n', "m").level_db.tolist() == [-1.5, 0.0]
    assert parse_calibration("20,-1.5,\n40,0,\n", "m").phase_deg is None


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_encodings(tmp_path, encoding):
    (tmp_path / "mic.txt").write_bytes(
        ("* 0° on axis\r\n" + written("\t", True).replace("\n", "\r\n")).encode(encoding)
    )
    assert read_calibration(tmp_path / "mic.txt").phase_deg.tolist() == PHASE


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("", "at least two lines"),
        ("hello\n", "at least two lines"),
        ("20 1\n", "at least two lines"),
        ("20 1\n40\n80 1\n", "line 2: must be Hz, dB and perhaps degrees"),
        ("20,1\n40,\n80,1\n", r"line 2: must be .*got nothing.*fill the hole"),
        ("20 1\n40 nan\n80 1\n", "line 2: must be .*'nan'"),
        ("20 1\n40 1e999\n80 1\n", "line 2: must be .*1e999"),
        ("20 1 0\n40 1\n80 1 0\n", "line 2: must have 3 numbers"),
        ("20 1\nforty 1\n80 1\n", "line 2: must be numbers or a comment"),
        ("20 1\n20 1\n", "line 2: frequencies must rise"),
        ("80 1\n40 1\n20 1\n", "line 2: frequencies must rise"),
        ("0 1\n40 1\n", "line 1: the frequency must be above 0"),
        ("-20 1\n40 1\n", "line 1: the frequency must be above 0"),
        ("20 1 2 3 4\n40 1 2 3 4\n", "line 1: must be Hz, dB and perhaps degrees"),
    ],
)
def test_what_is_refused(text, match):
    with pytest.raises(PackageError, match=r"^mic\.txt.*" + match) as caught:
        parse_calibration(text, "mic.txt")
    assert "\n" not in str(caught.value)


def test_a_hole_is_told_and_sparse_files_are_not_holes():
    thirds = 1000 * 2 ** (np.arange(-16, 14) / 3)
    text = "".join(f"{f:.2f} 0.1\n" for f in thirds if not 500 < f < 3000)
    with pytest.raises(PackageError, match=r"must have no hole \(none from 500 to 3174.8 Hz\)"):
        parse_calibration(text, "mic.txt")
    assert parse_calibration("20 1\n100 0\n1000 0\n10000 1\n", "mic.txt").level_db.shape == (4,)


def test_missing_and_wrong_files(tmp_path):
    with pytest.raises(PackageError, match="must be readable"):
        read_calibration(tmp_path / "none.txt")
    with (tmp_path / "big.txt").open("wb") as file:
        file.truncate(20 * 2**20)
    with pytest.raises(PackageError, match="must be a calibration file"):
        read_calibration(tmp_path / "big.txt")
