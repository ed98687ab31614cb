"""The bench in a real terminal of 80 columns without colour, driven by keys through tmux, read off its screen.

Oracle: what a maker sees: each screen says the one thing to do and its keys; what the keys promise is then on disk.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import time
import uuid

import pytest
from small_package import make_package

from frusta.bench.events import Began, Turn
from frusta.bench.live import Live
from frusta.bench.steps import begin
from frusta.campaign.check import check_package
from frusta.campaign.package import open_package
from frusta.cli.bench_screen import screen


class Terminal:
    """One tmux session of its own server."""

    def __init__(self, name: str, command: list[str], folder: str, told: str = "NO_COLOR=1") -> None:
        if shutil.which("tmux") is None:
            raise AssertionError("tmux is missing: run tools/system_packages.sh as root")
        self.name = name
        told = f"{told} OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 FRUSTA_CONFIG={folder} "
        line = told + " ".join(command) + "; echo left with $?; sleep 60"
        self._tmux("new-session", "-d", "-s", "x", "-x", "80", "-y", "24", line)

    def _tmux(self, *words: str) -> str:
        done = subprocess.run(["tmux", "-L", self.name, "-f", "/dev/null", *words], capture_output=True, timeout=20)
        return done.stdout.decode("utf-8", "replace")

    def text(self) -> str:
        return self._tmux("capture-pane", "-p", "-t", "x")

    def press(self, *keys: str) -> None:
        self._tmux("send-keys", "-t", "x", *keys)

    def wait(self, pattern: str, seconds: float = 60.0) -> str:
        """Return the screen once it shows a pattern."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            text = self.text()
            if re.search(pattern, text):
                return text
            time.sleep(0.05)
        raise AssertionError(f"never saw {pattern!r}; the screen:\n{self.text()}")

    def close(self) -> None:
        self._tmux("kill-server")


@pytest.fixture
def open_terminal(tmp_path):
    opened = []

    def begin_at(root, *options, told="NO_COLOR=1"):
        command = [sys.executable, "-m", "frusta", "record", str(root), "--seatings", "1", *options]
        terminal = Terminal(f"frusta-{uuid.uuid4().hex[:12]}", command, str(tmp_path), told)
        opened.append(terminal)
        return terminal

    yield begin_at
    for terminal in opened:
        terminal.close()


def test_a_cone_from_the_hand_to_the_verdict(tmp_path, open_terminal):
    root = make_package(tmp_path / "quay")
    terminal = open_terminal(root, "--device", "virtual:fast")
    assert "can harm hearing" in terminal.wait("Press Enter to begin")
    terminal.press("Enter")
    text = terminal.wait("Fetch the cone marked heron")
    assert "[cone]" in text
    assert max(len(line) for line in text.splitlines()) <= 80
    assert "██" in text, "the mark is to be read from a metre away"
    terminal.press("Enter")
    terminal.wait("Push heron on until it stops")
    terminal.press("Enter")
    text = terminal.wait(r"\[verdict\]")
    assert "Clean: no clipping, no lost samples" in text
    assert re.search(r"Level \d+\.\d dB, break-up \d+ Hz", text)
    terminal.press("k")
    terminal.wait("Fetch the cone marked rush-2")
    assert list(open_package(root).takes) == ["heron-1"]
    terminal.press("Enter")
    terminal.wait("Weigh rush-2 without its coil")
    terminal.press("4", ".", "8", "7", "Enter")
    terminal.wait("Push rush-2 on")
    assert open_package(root).specimens["rush-2"].mass_g == 4.87
    terminal.press("u")
    terminal.wait("Weigh rush-2")
    terminal.press("u", "u")
    terminal.wait(r"\[verdict\]")
    assert dict(open_package(root).takes) == {}, "undone twice: the take waits for its verdict again"
    terminal.press("Enter")
    terminal.wait("Fetch the cone marked rush-2")
    terminal.press("a")
    terminal.wait("new specimen")
    terminal.press("r", "u", "s", "h", "-", "9", "Space", "r", "u", "s", "h", "-", "1", "Enter")
    terminal.wait("4 kept|1 kept, 5 to come")
    assert open_package(root).specimens["rush-9"].material == "rush"
    terminal.press("q")
    text = terminal.wait("left with 0")
    assert "1 take kept" in text
    assert "frusta record goes on where it was" in text
    assert check_package(root).faults == ()


def test_esc_stops_the_sound_and_a_closed_terminal_loses_nothing(tmp_path, open_terminal):
    root = make_package(tmp_path / "quay")
    terminal = open_terminal(root, "--device", "virtual")
    terminal.wait("Press Enter to begin")
    terminal.press("Enter")
    terminal.wait("Fetch the cone")
    terminal.press("Enter")
    terminal.wait("Push heron on")
    terminal.press("Enter")
    assert "Esc STOP" in terminal.wait(r"Now \d+\.\d dB")
    terminal.press("Escape")
    terminal.wait("Push heron on")
    terminal.press("Enter")
    terminal.wait(r"\[level\]")
    terminal.close()
    assert check_package(root).faults == ()
    again = open_terminal(root, "--device", "virtual:fast")
    assert "Going on with session" in again.wait("Press Enter to begin")
    again.press("Enter")
    again.wait("Push heron on")
    again.press("Enter")
    again.wait(r"\[verdict\]")


def test_without_a_terminal_it_says_what_to_do(tmp_path):
    root = make_package(tmp_path / "quay")
    command = [sys.executable, "-m", "frusta", "record", str(root), "--device", "virtual:fast"]
    done = subprocess.run(
        command, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=60,
        env={**os.environ, "FRUSTA_CONFIG": str(tmp_path)},
    )  # fmt: skip
    assert done.returncode == 2
    assert "frusta record needs a terminal" in done.stderr


@pytest.mark.parametrize(("width", "height"), [(80, 24), (40, 12), (120, 40)])
@pytest.mark.parametrize("step", ["cone", "weigh", "seat", "level", "sweep", "verdict", "fault", "done"])
def test_keys_are_on_every_screen_whatever_its_size(step, width, height):
    from dataclasses import replace

    state = replace(begin(Began("d", (Turn("rush-1", 1),))), step=step)
    lines = screen(state, Live(), width=width, height=height, block="#")
    assert len(lines) <= height
    assert max(len(line.text) for line in lines[3:]) <= width
    assert any("Enter" in line.text or "Esc STOP" in line.text for line in lines[-3:])
    assert all(ord(letter) < 128 for line in lines for letter in line.text), "readable without any special letter"


def test_a_terminal_that_only_scrolls_is_told_what_is_new(tmp_path, open_terminal):
    """TERM=dumb: an editor's shell, a screen reader. Oracle: the words of the whole screen, without large letters."""
    root = make_package(tmp_path / "quay")
    terminal = open_terminal(root, "--device", "virtual:fast", told="TERM=dumb")
    terminal.wait("Press Enter to begin")
    terminal.press("Enter")
    assert "██" not in terminal.wait("Fetch the cone marked heron")
    terminal.press("Enter")
    terminal.wait("Push heron on until it stops")
    terminal.press("Enter")
    terminal.wait(r"Level \d+\.\d dB, break-up \d+ Hz")
    terminal.press("k")
    terminal.wait("Fetch the cone marked rush-2")
    terminal.press("q")
    assert "1 take kept" in terminal.wait("left with 0")
    assert list(open_package(root).takes) == ["heron-1"]


def test_scrolling_adds_a_line_a_second_at_most_and_only_news():
    from frusta.bench.levelling import LevelReading
    from frusta.cli.bench_screen import Line
    from frusta.cli.bench_scroll import Scroll

    said, now = [], [0.0]
    scroll = Scroll(said.append, lambda: now[0])
    state = begin(Began("d", (Turn("rush-1", 1),)))
    lines = [Line("## ##"), Line(""), Line("Fetch it.")]
    scroll.show(state, Live(), "", lines)
    scroll.show(state, Live(), "", lines)
    assert said == ["", "Fetch it."]
    up = Live(sound="noise", gain_db=-3.0, limited=True, level=LevelReading(80.0, 1.3, 0.0, 30.0, -20.0, False))
    for moment, level in ((0.0, up), (0.5, Live(sound="noise")), (0.9, up), (2.0, up)):
        now[0] = moment
        scroll.show(state, level, "", lines)
    assert said[2:] == ["Up 1.3 dB. Now 80.0 dB, drive gain -3.0 dB. The stated limit is reached."]
    scroll.show(state, Live(), "notice", lines)
    assert said[3:] == ["", "Fetch it."]


def test_the_meter_says_when_the_limit_is_reached():
    from dataclasses import replace

    from frusta.bench.levelling import LevelReading

    state = replace(begin(Began("d", (Turn("rush-1", 1),))), step="level")
    reading = LevelReading(80.0, 1.3, 0.0, 30.0, -20.0, False)
    limited = "\n".join(line.text for line in screen(state, Live(sound="noise", limited=True, level=reading)))
    free = "\n".join(line.text for line in screen(state, Live(sound="noise", level=reading)))
    assert "The stated limit is reached: turn the amplifier up, or lower --target." in limited
    assert "limit" not in free
