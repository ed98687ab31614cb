"""`frusta shelf` in a terminal: lines, exit codes, files. Oracle: the package put on it; DESIGN's exit codes."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import soundfile

from frusta.cli.main import main


@dataclass(frozen=True)
class Done:
    returncode: int
    stdout: str
    stderr: str


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Callable[..., Done]:
    """Runs the command line in this process."""

    def call(*words: object) -> Done:
        monkeypatch.setattr(sys, "argv", ["frusta", "shelf", *map(str, words)])
        try:
            main()
            code = 0
        except SystemExit as stop:
            code = int(stop.code or 0)
        out, err = capsys.readouterr()
        return Done(code, out, err)

    return call


@pytest.fixture
def shelf(run: Callable[..., Done]) -> Callable[..., Done]:
    """Runs a subcommand on the shelf at a place."""
    return lambda place, *words: run(*words, "--shelf", place)


@pytest.fixture
def package(tmp_path: Path) -> Path:
    folder = tmp_path / "jars"
    folder.mkdir()
    soundfile.write(folder / "a.wav", 0.1 * np.ones(4800), 48000)
    for name, text in {
        "campaign": "campaign,title\njars,Jars\n",
        "materials": "material,name\nfir,Fir\n",
        "specimens": "specimen,kind,material,mass_g\nfir-1,cone,fir,7.5\n",
        "rigs": "rig,mounting,microphone_distance_mm\nbench,free,100\n",
        "sessions": "session,rig,date\ns1,bench,2026-05-04\n",
        "takes": "take,specimen,session,seating,recording,recording_is\na,fir-1,s1,1,a.wav,impulse\n",
    }.items():
        (folder / f"{name}.csv").write_text(text)
    return folder


def test_a_package_goes_on_and_comes_back(shelf, package: Path, tmp_path: Path):
    place = tmp_path / "s" / "shelf.sqlite"
    done = shelf(place, "add", package, "--no-analyse")
    assert (done.returncode, done.stdout) == (0, "jars: now on the shelf.\n")
    done = shelf(place, "add", package, "--no-analyse")
    assert (done.returncode, done.stdout) == (0, "jars: already on the shelf, nothing changed.\n")
    assert "jars: Jars (1 specimen, 1 take, not analysed)" in shelf(place, "list").stdout
    done = shelf(place, "list", "--material", "fir", "--json", tmp_path / "found.json")
    assert done.stdout.startswith("jars a: fir-1 (fir, 2026-05-04)\n1 take.\n")
    assert json.loads((tmp_path / "found.json").read_text())[0]["take"] == "a"
    assert "fir-1: cone, fir, 1 take" in shelf(place, "show", "jars").stdout
    assert shelf(place, "export", "jars", "--out", tmp_path / "copy").returncode == 0
    assert (tmp_path / "copy/specimens.csv").read_bytes() == (package / "specimens.csv").read_bytes()
    assert shelf(place, "check").stdout == "The shelf is sound.\n"
    assert shelf(place, "backup", tmp_path / "b.zip").returncode == 0
    assert shelf(tmp_path / "t.sqlite", "restore", tmp_path / "b.zip").stdout == "1 campaign restored.\n"


def test_conflicts_are_shown_and_chosen(shelf, package: Path, tmp_path: Path):
    place = tmp_path / "shelf.sqlite"
    shelf(place, "add", package, "--no-analyse")
    text = (package / "specimens.csv").read_text()
    (package / "specimens.csv").write_text(text.replace("7.5", "7.6"))
    done = shelf(place, "add", package, "--no-analyse")
    assert done.returncode == 1
    assert "specimens/fir-1/mass_g: shelf has 7.5, package has 7.6" in done.stdout
    assert "Nothing was changed" in done.stdout
    done = shelf(place, "add", package, "--no-analyse", "--choose", "specimens=package")
    assert (done.returncode, done.stdout) == (0, "jars: brought up to date on the shelf.\n")


def test_one_bad_package_does_not_hold_up_the_others(shelf, package: Path, tmp_path: Path):
    (tmp_path / "bad.zip").write_bytes(b"no zip")
    done = shelf(tmp_path / "s.sqlite", "add", tmp_path / "bad.zip", package, "--no-analyse")
    assert done.returncode == 1
    assert "bad.zip: refused" in done.stderr
    assert "jars: now on the shelf." in done.stdout


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("show", "nowhere"), "nowhere: must be on the shelf"),
        (("compare", "nowhere", "elsewhere"), "nowhere: must be a package's path or a name on the shelf"),
        (("compare", "./nowhere", "x"), "nowhere: must be a package"),
        (("list", "--reading", "x>1"), "--reading must be a figure"),
        (("list", "--since", "May"), "--since must be a date"),
        (("add", "nowhere"), "nowhere: must be a package"),
    ],
)
def test_a_slip_is_one_line_and_exit_2(shelf, arguments, words, tmp_path: Path):
    done = shelf(tmp_path / "s.sqlite", *arguments)
    assert done.returncode == 2
    assert len(done.stderr.strip().splitlines()) == 1
    assert words in done.stderr


def test_a_url_nobody_knows_is_one_line(run):
    for place in ("ghost://x", "postgresql+psycopg://nobody@127.0.0.1:9/none?connect_timeout=2"):
        done = run("list", "--shelf", place)
        assert done.returncode == 2
        assert "Traceback" not in done.stderr
        assert len(done.stderr.strip().splitlines()) == 1
