"""The command line: help that teaches, one clear line for a mistake, exit codes of the design.

Oracle: DESIGN's table of commands and exit codes; messages word for word.
"""

from __future__ import annotations

import subprocess
import sys

import pytest
from shell import frusta

COMMANDS = ("demo", "new", "import", "check", "analyse", "next", "forecast", "printfile", "publish", "shelf", "open")
SEEN_ONLY_WHEN_HEAVY = ("numpy", "scipy", "altair", "pydantic", "soundfile", "rich")


def test_help_teaches_the_job():
    done = frusta("--help")
    assert done.returncode == 0
    for word in (*COMMANDS, "package", "hearing", "Exit codes"):
        assert word in done.stdout


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help(command: str):
    done = frusta(command, "--help")
    assert done.returncode == 0
    assert len(done.stdout) > 200


def test_help_imports_nothing_heavy():
    """Time is for benchmarks; what costs it is checked here: the libraries that --help must not load."""
    code = (
        "import sys\nsys.argv = ['frusta', '--help']\nfrom frusta.cli.main import main\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        f"print([m for m in {SEEN_ONLY_WHEN_HEAVY!r} if m in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]"


def test_version():
    import frusta as package

    assert frusta("--version").stdout == f"frusta {package.__version__}\n"


@pytest.mark.parametrize("command", ["check", "analyse"])
def test_a_missing_package_is_one_line_and_exit_2(command: str, tmp_path):
    done = frusta(command, str(tmp_path / "nowhere"))
    assert done.returncode == 2
    assert done.stdout == ""
    lines = done.stderr.strip().splitlines()
    assert len(lines) == 1
    assert lines[0].startswith("frusta: ")
    assert "nowhere" in lines[0]
    assert "Traceback" not in done.stderr


def test_debug_shows_the_trace(tmp_path):
    done = frusta("--debug", "check", str(tmp_path / "nowhere"))
    assert "Traceback" in done.stderr


def test_an_unknown_option_is_exit_2():
    assert frusta("check", "--nonsense").returncode == 2
