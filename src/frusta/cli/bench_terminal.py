"""The bench in a terminal: single keys in, `frusta.cli.bench_screen` out."""

from __future__ import annotations

import os
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import replace

from rich.console import Console
from rich.live import Live as Display
from rich.text import Text

from frusta.bench.events import (
    Added,
    Chosen,
    Ended,
    Ending,
    Event,
    Fetched,
    Kept,
    Mended,
    NotWeighed,
    Repeated,
    Reseated,
    Seated,
    Skipped,
    Weighed,
)
from frusta.bench.guide import Guide
from frusta.bench.sitting import add_specimen, mass_cell, seatings_made
from frusta.campaign.package import open_package
from frusta.cli.bench_screen import Typed, screen
from frusta.cli.bench_scroll import BLOCK, Scroll
from frusta.cli.keyboard import BACKSPACE, CLOSED, DOWN, ENTER, ESCAPE, UP, ReadKey, keyboard
from frusta.cli.say import spoken
from frusta.errors import FrustaError

REDRAW_S = 0.25
STYLES = {"plain": "", "strong": "bold", "stop": "bold reverse", "soft": "dim"}
QUIT = ("q", "ctrl-c", CLOSED)


class BenchTerminal:
    """Keys to events, states to the screen.

    Parameters
    ----------
    guide : Guide
        Begun or resumed.
    console : Console
    with_coil : bool
        Whether cones are weighed with their coils on.
    """

    def __init__(self, guide: Guide, console: Console, with_coil: bool = False) -> None:
        self._guide = guide
        self._console = console
        self._typed = Typed(with_coil=with_coil)
        self._notice = ""
        self._dirty = threading.Event()
        self._gone = False
        encoding = (console.encoding or "ascii").lower()
        self._scroll = Scroll(lambda text: console.print(spoken(text), markup=False, highlight=False, soft_wrap=True))
        self._block = "█" if encoding.startswith("utf") and not console.is_dumb_terminal else BLOCK

    def changed(self) -> None:
        """Redraw soon; from any thread."""
        self._dirty.set()

    def run(self) -> None:
        """Show the bench until the maker leaves."""
        plain = self._console.is_dumb_terminal
        shown = nullcontext() if plain else Display(console=self._console, screen=True, auto_refresh=False)
        with _quiet_driver(), keyboard() as read, shown as display:
            try:
                self._loop(read, display)
            finally:
                self._guide.stop()
                self._guide.wait()

    def _loop(self, read: ReadKey, display: Display | None) -> None:
        drawn = 0.0
        while not self._gone:
            if self._dirty.is_set() or time.monotonic() - drawn > REDRAW_S:
                self._dirty.clear()
                self._draw(display)
                drawn = time.monotonic()
            key = read(0.1)
            if key is None:
                continue
            self._notice = ""
            try:
                self._key(key)
            except FrustaError as error:
                self._notice = f"{error}"
            self._dirty.set()

    def _draw(self, display: Display | None) -> None:
        """Show the bench on the whole screen, or below what was where the terminal can only scroll."""
        width, height = self._console.size
        state, live = self._guide.state, self._guide.live
        room = height - 1 if display else 200
        shown = screen(state, live, self._typed, self._notice, min(width, 100), self._block, room)
        lines = [replace(line, text=spoken(line.text)) for line in shown]
        if display is None:
            self._scroll.show(state, live, (self._typed, self._notice), lines)
            return
        text = Text(no_wrap=True, overflow="crop")
        for line in lines:
            text.append(line.text + "\n", style=STYLES[line.weight])
        display.update(text, refresh=True)

    def _key(self, key: str) -> None:
        if self._typed.asked in ("choose", "add"):
            self._answer(key)
            return
        step = self._guide.state.step
        if step in ("level", "sweep"):
            self._while_sounding(key)
        elif key in QUIT or (step == "done" and key == ENTER):
            if step == "done":
                self._guide.press(Ended())
            self._gone = True
        elif key == "u":
            self._guide.undo()
        elif step == "weigh":
            self._weigh(key)
        else:
            self._decide(step, key)

    def _while_sounding(self, key: str) -> None:
        """Anything that might mean stop stops."""
        if key in (ESCAPE, " ", *QUIT, "s", "u"):
            self._guide.stop()
            self._guide.wait()
            self._gone = key in QUIT
        elif key in (UP, DOWN):
            self._guide.add_gain(0.5 if key == UP else -0.5)
        elif key == "a":
            self._guide.set_automatic(True)

    def _decide(self, step: str, key: str) -> None:
        event: Event | None = None
        match step, key:
            case "cone", "enter":
                event = Fetched()
            case "seat", "enter":
                event = Seated()
            case "cone" | "seat", "s":
                event = Skipped()
            case "cone" | "done", "c":
                self._typed = Typed("choose", "", self._typed.with_coil)
            case "cone" | "done", "a":
                self._typed = Typed("add", "", self._typed.with_coil)
            case "cone", "e":
                event = Ending()
            case "verdict", _:
                event = self._verdict(key)
            case "fault", "enter":
                event = Mended()
            case _:
                pass
        if event is not None:
            self._guide.press(event)

    def _verdict(self, key: str) -> Event | None:
        take = self._guide.state.take
        advised = {"keep": "k", "repeat": "r", "reseat": "p"}[take.verdict.advice] if take else "k"
        events: dict[str, Event] = {"k": Kept(), "r": Repeated(), "p": Reseated()}
        return events.get(advised if key == ENTER else key)

    def _weigh(self, key: str) -> None:
        typed = self._typed
        if key in "0123456789.," and len(key) == 1 and len(typed.text) < 8:
            self._typed = Typed("", typed.text + key.replace(",", "."), typed.with_coil)
        elif key == BACKSPACE:
            self._typed = Typed("", typed.text[:-1], typed.with_coil)
        elif key == "w":
            self._typed = Typed("", typed.text, not typed.with_coil)
        elif key == ENTER:
            self._typed = Typed("", "", typed.with_coil)
            self._guide.press(self._mass(typed) if typed.text else NotWeighed())

    def _mass(self, typed: Typed) -> Weighed:
        try:
            mass_g = float(typed.text)
        except ValueError:
            mass_g = 0.0
        if not mass_g > 0.0:
            raise FrustaError(f"the mass must be a number above 0, in grams (got {typed.text}); type it again")
        column = "mass_with_coil_g" if typed.with_coil else "mass_g"
        specimen = self._guide.state.queue[0].specimen
        return Weighed(mass_g, column, mass_cell(self._guide.root, specimen, column))  # type: ignore[arg-type]

    def _answer(self, key: str) -> None:
        """Letters of a specimen's key, until Enter or Esc."""
        typed = self._typed
        if key == BACKSPACE:
            self._typed = Typed(typed.asked, typed.text[:-1], typed.with_coil)
        elif len(key) == 1 and (key.isalnum() or key in "._- ") and len(typed.text) < 70:
            self._typed = Typed(typed.asked, typed.text + key, typed.with_coil)
        elif key in (ENTER, ESCAPE, *QUIT):
            self._typed = Typed("", "", typed.with_coil)
            words = typed.text.split()
            if key == ENTER and words:
                self._guide.press(self._chosen(words[0]) if typed.asked == "choose" else self._added(words))

    def _chosen(self, specimen: str) -> Chosen:
        package = open_package(self._guide.root)
        if specimen not in package.specimens:
            raise FrustaError(f"specimen must be a row of specimens.csv (got {specimen!r}); A adds a new one")
        return Chosen(specimen, seatings_made(package).get(specimen, 0) + 1)

    def _added(self, words: list[str]) -> Added:
        return add_specimen(self._guide.root, words[0], words[1] if len(words) > 1 else None)


@contextmanager
def _quiet_driver() -> Iterator[None]:
    """Keep what the driver's library writes to standard error off the screen."""
    sys.stderr.flush()
    kept = os.dup(2)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 2)
        yield
    finally:
        sys.stderr.flush()
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)


def on_terminal() -> bool:
    """Whether keys can be read and a screen be drawn."""
    return sys.stdin.isatty() and sys.stdout.isatty()
