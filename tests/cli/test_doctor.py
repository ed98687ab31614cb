"""The doctor, the log and shell completion.

Oracle: what the machine really has or is made to lack, folder by folder; and, for privacy, that no string of the
user's own places stands in what may be sent.
"""

from __future__ import annotations

import logging
import os
import subprocess
import sys
from pathlib import Path

import pytest
from shell import frusta

from frusta.cli import doctor_checks
from frusta.cli.doctor import lines_of, report_text
from frusta.cli.doctor_checks import VARIABLES, Check, check_machine, folders, how_to_get
from frusta.cli.log_file import LARGEST_BYTES, NAME, Scrubber, begin_log, end_log, last_lines, note


def by_name(checks: list[Check]) -> dict[str, Check]:
    return {check.what.partition(",")[0]: check for check in checks}


@pytest.fixture
def own_places(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for variable in VARIABLES.values():
        place = tmp_path / variable.lower()
        place.mkdir()
        monkeypatch.setenv(variable, str(place / "shelf.sqlite" if variable == "FRUSTA_SHELF" else place))
    monkeypatch.setattr("tempfile.tempdir", None)
    return tmp_path


def test_a_machine_that_has_all_of_it(own_places):
    checks = check_machine()
    assert [c for c in checks if c.state == "missing"] == []
    assert {c.what.removeprefix("write access: ") for c in checks} >= set(VARIABLES)
    assert all(c.remedy for c in checks if c.state != "ok")


def test_the_command_exits_0_where_nothing_is_missing_and_1_where_something_is(tmp_path):
    assert frusta("doctor").returncode == 0
    (tmp_path / "a-file").touch()
    done = frusta("doctor", FRUSTA_CONFIG=str(tmp_path / "a-file" / "below"))
    assert done.returncode == 1
    assert "MISSING   write access: choices for rigs and the page's keys" in done.stdout
    assert "set FRUSTA_CONFIG to another place" in done.stdout
    assert done.stderr == ""


def test_a_folder_that_cannot_be_written_is_missing_and_named(own_places):
    (own_places / "frusta_cache").rmdir()
    (own_places / "frusta_cache").touch()
    found = {c.what: c for c in check_machine()}["write access: " + doctor_checks.COMPUTED]
    assert found.state == "missing"
    assert "FRUSTA_CACHE" in found.remedy


@pytest.mark.parametrize(
    ("module", "what"),
    [("soundfile", "libsndfile"), ("sounddevice", "PortAudio"), ("vl_convert", "the chart renderer and its font")],
)
def test_a_library_that_is_not_there_is_missing_with_the_way_to_get_it(own_places, monkeypatch, module, what):
    monkeypatch.setitem(sys.modules, module, None)  # as Python says it: this import fails
    found = by_name(check_machine())[what]
    assert found.state == "missing"
    assert "install" in found.remedy


def test_absent_extras_are_told_and_are_no_fault(own_places, monkeypatch):
    real = doctor_checks.importlib.util.find_spec
    gone = ("distributed", "psycopg")
    monkeypatch.setattr(doctor_checks.importlib.util, "find_spec", lambda n: None if n in gone else real(n))
    found = [c for c in check_machine() if c.state == "optional" and "install" in c.remedy]
    assert {"pip install 'frusta[cluster]'", "pip install 'psycopg[binary]'"} <= {
        c.remedy.partition("-m ")[2] for c in found
    }


def test_a_full_disk_is_missing(own_places, monkeypatch):
    monkeypatch.setattr(doctor_checks, "LEAST_FREE_BYTES", 2**62)
    assert by_name(check_machine())["free disk"].state == "missing"


def test_the_way_to_get_something_is_the_systems_own(monkeypatch):
    for there, words in (("dnf", "sudo dnf install portaudio"), ("brew", "brew install pa"), ("none", "by hand")):
        monkeypatch.setattr(doctor_checks.shutil, "which", lambda name, there=there: name if name == there else None)
        assert how_to_get({"apt": "libportaudio2", "dnf": "portaudio", "brew": "pa"}, "by hand") == words


def test_every_folder_that_is_looked_at_is_one_that_frusta_writes():
    """Oracle: the functions that name those folders where they are used."""
    from frusta.bench.rig_memory import _path
    from frusta.campaign.shelf.database import default_place
    from frusta.cone.air_cache import cache_folder

    found = folders()
    assert found[doctor_checks.RIGS] == _path().parent
    assert found[doctor_checks.COMPUTED] == cache_folder().parent
    assert found[doctor_checks.SHELF] == default_place().parent


@pytest.fixture
def at_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A home of an invented person, with a campaign in it; called from a folder elsewhere."""
    home = tmp_path / "home" / "wren-holloway"
    (home / "cones of august").mkdir(parents=True)
    monkeypatch.setenv("HOME", str(home))
    monkeypatch.setenv("USERPROFILE", str(home))
    monkeypatch.setenv("LOGNAME", "wren-holloway")
    monkeypatch.setenv("FRUSTA_STATE", str(tmp_path / "state"))
    (tmp_path / "elsewhere").mkdir()
    monkeypatch.chdir(tmp_path / "elsewhere")
    return home


def test_no_private_place_stands_in_the_log(at_home, tmp_path):
    campaign = str(at_home / "cones of august")
    begin_log(["check", campaign, "--out=hush/out", "--material", "rush"])
    note(f"refused: {campaign}/takes.csv, row 3: must be there; copy it to {at_home}/other")
    try:
        raise OSError(2, "No such file", f"{campaign}/recordings/a.wav")
    except OSError as error:
        note(f"in {tmp_path}/elsewhere/hush/out and /media/wren/usb/x.wav", error)
    end_log()
    text = (tmp_path / "state" / NAME).read_text()
    for private in ("wren", "august", "hush", str(tmp_path)):
        assert private not in text, private
    for kept in ("check <path 1> --out=<path 2> --material rush", "<path 1>/takes.csv, row 3", "~/other", "OSError"):
        assert kept in text, kept


def test_the_command_logs_and_its_report_is_fit_to_be_sent(at_home, tmp_path):
    done = frusta("check", str(at_home / "cones of august"))
    assert done.returncode == 2
    report = tmp_path / "report.txt"
    frusta("doctor", "--report", str(report))
    text = report.read_text()
    for private in ("wren", "august", str(tmp_path), str(Path(sys.prefix))):
        assert private not in text, private
    assert "refused: <path 1>: must be a package (it holds no campaign.csv)" in text
    assert "libsndfile" in text
    assert "numpy " in text


def test_a_mistake_of_frustas_own_leaves_its_trace_in_the_log(at_home, tmp_path):
    code = (
        "import sys\nsys.argv = ['frusta', 'check', 'there']\nfrom frusta.cli import main\n"
        "def broken():\n    main.everywhere(); raise ZeroDivisionError('a slip')\n"
        "main.app = broken\nmain.main()"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, timeout=60)
    assert done.returncode == 1
    lines = last_lines(50)
    assert any("a mistake of frusta's own" in line for line in lines)
    assert any("ZeroDivisionError: a slip" in line for line in lines)


def test_the_log_stays_small_and_a_place_that_cannot_be_written_stops_nothing(tmp_path, monkeypatch):
    monkeypatch.setenv("FRUSTA_STATE", str(tmp_path / "state"))
    begin_log(["check"])
    for _ in range(300):
        note("x" * 10_000)
    end_log()
    assert sum(p.stat().st_size for p in (tmp_path / "state").iterdir()) <= 2 * LARGEST_BYTES
    (tmp_path / "file").touch()
    monkeypatch.setenv("FRUSTA_STATE", str(tmp_path / "file" / "below"))
    begin_log(["check"])
    note("nowhere")
    assert [h for h in logging.getLogger("frusta").handlers if h.__class__.__module__ == "frusta.cli.log_file"] == []
    assert frusta("doctor").returncode == 1


def test_what_is_no_place_stays_as_it_is():
    scrub = Scrubber(["quay"])
    for text in ("rush/two breaks up at 3.1 kHz", "takes.csv, row 3, column seating", "a/b ratio 1.2"):
        assert scrub(text) == text


def test_what_is_missing_has_a_second_line():
    lines = lines_of([Check("a", "ok", "1"), Check("b", "missing", "no", "do this")])
    assert lines == ["ok        a: 1", "MISSING   b: no", "          to get it: do this"]
    assert "MISSING   b: no" in report_text([Check("b", "missing", "no", "do this")])


@pytest.mark.parametrize(
    ("words", "offered"),
    [("frusta doc", "doctor"), ("frusta shelf exp", "export"), ("frusta analyse --js", "--json")],
)
def test_the_shell_completes_commands_and_options(words, offered):
    """Oracle: the protocol of the completion script that --install-completion puts into the shell."""
    code = "import sys\nsys.argv = ['frusta']\nfrom frusta.cli.main import main\nmain()"
    asked = {"_FRUSTA_COMPLETE": "complete_bash", "COMP_WORDS": words, "COMP_CWORD": str(len(words.split()) - 1)}
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        env={**os.environ, **asked},
        check=True,
        timeout=60,
    )
    assert offered in done.stdout.split()
