"""What fuzzing has found stays found: each input once let something else out than one line.

Oracle: the promises of reader_targets.py, which tools/fuzz_readers.py holds against any bytes. Each of CASES was seen
red before it was mended; the words beside it say what came out then.
"""

from __future__ import annotations

import io
import struct
import zipfile

import numpy as np
import pytest
import soundfile
from reader_targets import TARGETS, small_zip

from frusta.campaign.archive import unpack
from frusta.campaign.recordings import open_recording
from frusta.errors import PackageError

CAMPAIGN = b"campaign,title\nquay,Quay\n"


def _zip_with_a_name_in_no_encoding() -> bytes:
    data = bytearray(small_zip({"campaign.csv": CAMPAIGN}))
    struct.pack_into("<H", data, 6, 0x800)  # the local header says UTF-8 ...
    data[30] = 0xCC  # ... and begins a character that does not go on
    return bytes(data)


def _zip_whose_member_lies_outside_the_file() -> bytes:
    data = bytearray(small_zip({"campaign.csv": CAMPAIGN}))
    at = data.index(b"PK\x01\x02")
    struct.pack_into("<I", data, at + 42, 0x7FFFFFF0)
    return bytes(data)


CASES = {
    "struct.error": ("wav", b"RIFF\x24\0\0\0WAVEfmt \x10\0\0\0"),
    "struct.error, one byte later": ("wav", b"RIFF\x24\0\0\0WAVEfmt \x10\0\0\0\1"),
    "UnicodeDecodeError": ("zip", _zip_with_a_name_in_no_encoding()),
    "ValueError of dict()": ("json", b'\2["x"]\n'),
    "TypeError of dict()": ("json", b"\0025\n"),
    "two lines": (
        "json",
        b'\2{"event": "Recorded", "a\\nb": 1, "verdict": {"faults": [], "lines": [], "quality": "ok"}}\n',
    ),
    "RecursionError": ("json", b"\2" + b"[" * 5000 + b"\n"),
    "UnicodeEncodeError": ("json", b'\1{"resources": [{"path": "\\ud800"}]}'),
}

NEIGHBOURS = {
    "a member that lies outside the file": ("zip", _zip_whose_member_lies_outside_the_file()),
    "a queue of other things": ("json", b'\2{"event": "Began", "session": "s", "queue": ["x"]}\n'),
    "a deep list of files": ("json", b"\1" + b"[" * 100_000),
}
"""Like those, but they were refused from the first."""


@pytest.mark.parametrize("came", CASES | NEIGHBOURS)
def test_what_was_found_is_refused_in_one_line(came):
    target, data = (CASES | NEIGHBOURS)[came]
    TARGETS[target](data)


@pytest.mark.parametrize("claimed", [2**36 - 1, 48000 * 600])
def test_a_small_flac_that_claims_hours_is_refused_before_memory_is_taken(tmp_path, claimed):
    """It once asked for 550 GB: MemoryError. STREAMINFO keeps the length in its last 36 bits before the MD5."""
    out = io.BytesIO()
    soundfile.write(out, np.zeros(4800), 48000, format="FLAC", subtype="PCM_16")
    data = bytearray(out.getvalue())
    held = int.from_bytes(data[18:26], "big") >> 36 << 36
    data[18:26] = (held | claimed).to_bytes(8, "big")
    path = tmp_path / "take.flac"
    path.write_bytes(data)
    with pytest.raises(PackageError, match="header and file must agree"):
        open_recording(path, "take.flac")


def test_a_flac_of_true_silence_is_read_and_one_of_hours_is_refused(tmp_path, monkeypatch):
    path = tmp_path / "silence.flac"
    soundfile.write(path, np.zeros(48000 * 20), 48000, subtype="PCM_16")
    assert open_recording(path).frames == 48000 * 20
    monkeypatch.setattr("frusta.campaign.recordings.LONGEST_S", 19.9)
    with pytest.raises(PackageError, match="must last at most"):
        open_recording(path)


@pytest.mark.parametrize("method", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_zips_packed_in_rare_ways_are_refused_by_name(tmp_path, method):
    """Their decoders let out errors of their own on damage; what packs folders writes plain zips."""
    archive = tmp_path / "package.zip"
    with zipfile.ZipFile(archive, "w", method) as made:
        made.writestr("campaign.csv", CAMPAIGN)
    (tmp_path / "out").mkdir()
    with pytest.raises(PackageError, match="must be stored or deflated"):
        unpack(archive, tmp_path / "out")
