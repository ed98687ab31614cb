"""The maker's own music through two cones. Oracles: the loudness meter; the binomial by counting; a known echo."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import soundfile

from frusta.campaign.curves import TakeCurves
from frusta.errors import PackageError, ParameterError
from frusta.publish.listening import Listening, best_take, verdicts, write_listening
from frusta.signal.loudness import loudness_lkfs

RATE = 48000


def curves(gain=1.0, free_s=0.006):
    impulse = np.zeros(4800)
    impulse[240], impulse[250] = gain, 0.4 * gain
    none = np.zeros(0)
    return TakeCurves({}, impulse, 0.005, RATE, none, 0.0, none, none, np.zeros((0, 0)), none, free_s)


def reading(take, specimen, quality="ok", snr_db=60.0):
    return SimpleNamespace(take=take, specimen=specimen, quality=quality, snr_db=snr_db)


FINDINGS = SimpleNamespace(
    readings=[
        reading("fir-1", "fir", snr_db=50.0), reading("fir-2", "fir"), reading("fir-3", "fir", "repeat", 90.0),
        reading("yew-1", "yew"), reading("oak-1", "oak"),
    ]
)  # fmt: skip
CURVES = {"fir-1": curves(), "fir-2": curves(), "fir-3": curves(), "yew-1": curves(3.0), "oak-1": curves(1.0, math.nan)}


@pytest.fixture
def music(tmp_path):
    made = 0.1 * np.random.default_rng(2).standard_normal((RATE * 3, 2))
    soundfile.write(tmp_path / "own.flac", made, RATE, subtype="PCM_24")
    return tmp_path / "own.flac"


def written(folder, wanted):
    folder.mkdir()
    return write_listening(folder, wanted, FINDINGS, CURVES)


def test_the_files_are_the_music_through_the_cones_equally_loud(tmp_path, music):
    """A cone that is three times as loud is otherwise the same here: the two files must then be the same, too."""
    files = written(tmp_path / "out", Listening(music, ("fir", "yew"), 0.5, 2.0))
    assert [name for name, _ in files] == ["listen.html", "sound/A-fir.wav", "sound/B-yew.wav"]
    a, b = (soundfile.read(tmp_path / "out" / name)[0] for name, _ in files[1:])
    assert a.shape == (2 * RATE, 2)
    assert np.max(np.abs(a - b)) < 2.0**-22, "but for the last bit"
    assert loudness_lkfs(a, RATE) == pytest.approx(-23.0, abs=0.01)
    page = (tmp_path / "out" / "listen.html").read_text("utf-8")
    assert "yew plays this music 9.5 dB louder" in page, "20 log 3"
    assert "Mind your ears" in page
    assert "Below\n167 Hz" in page
    source = soundfile.read(music)[0][round(0.5 * RATE) : round(2.5 * RATE)]
    wet = source + 0.4 * np.vstack([np.zeros((10, 2)), source[:-10]])
    middle = slice(RATE // 2, RATE)
    shared = np.vdot(wet[middle], a[240:][middle]) / np.vdot(wet[middle], wet[middle])
    assert np.max(np.abs(a[240:][middle] - shared * wet[middle])) < 1e-5


def test_the_page_needs_nothing_else_and_is_the_same_each_time(tmp_path, music):
    wanted = Listening(music, ("fir", "yew"), 0.0, 1.0)
    written(tmp_path / "one", wanted)
    written(tmp_path / "two", wanted)
    pages = [(tmp_path / name / "listen.html").read_bytes() for name in ("one", "two")]
    assert pages[0] == pages[1]
    text = pages[0].decode("utf-8")
    assert not re.search(r"(src|href)\s*=|https?://", text)
    held = json.loads(re.search(r'id="data">(.*?)</script>', text, re.S)[1])
    assert held["names"] == ["fir", "yew"]
    assert len(held["verdicts"]) == held["trials"] + 1 == 17


def test_the_verdict_is_the_binomials():
    """Oracle: all 65536 ways to guess sixteen times, counted."""
    ways = np.array([bin(n).count("1") for n in range(2**16)])
    for right, words in enumerate(verdicts(16)):
        percent = 100.0 * np.mean(ways >= right)
        said = re.search(r"in (less than )?([\d.]+) of 100", words)
        assert words.startswith(f"{right} of 16 right. ")
        assert (
            percent < 0.1 if said[1] else float(said[2]) == pytest.approx(percent, abs=0.51 if percent > 9.9 else 0.051)
        )
        assert ("you hear a difference" in words) == (percent <= 5.0)
    assert "you hear" in verdicts(16)[12]
    assert "cannot be told" in verdicts(16)[11]


def test_the_take_is_a_good_one():
    assert best_take("fir", FINDINGS, CURVES).take == "fir-2", "the least noisy, none to be repeated"
    with pytest.raises(ParameterError, match=r"got 'oak'; recorded are: fir, yew, oak"):
        best_take("oak", FINDINGS, CURVES)


def test_music_that_cannot_be_played_is_one_line(tmp_path, music):
    wanted = Listening(music, ("fir", "yew"))
    with pytest.raises(ParameterError, match=r"half a second after 2\.9 s"):
        written(tmp_path / "a", replace(wanted, start_s=2.9))
    (tmp_path / "no.wav").write_bytes(b"not music")
    with pytest.raises(PackageError, match="must be music as WAV or FLAC"):
        written(tmp_path / "b", replace(wanted, music=tmp_path / "no.wav"))
    with pytest.raises(ParameterError, match="choose --from and --seconds anew"):
        written(tmp_path / "c", replace(wanted, length_s=0.1))
    soundfile.write(tmp_path / "six.wav", np.zeros((RATE, 6)), RATE)
    with pytest.raises(ParameterError, match="one or two channels"):
        written(tmp_path / "d", replace(wanted, music=tmp_path / "six.wav"))
