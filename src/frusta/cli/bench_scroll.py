"""The bench on a terminal that cannot move its cursor (TERM=dumb, a screen reader): new lines, only where news is."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence

from frusta.bench.live import Live
from frusta.bench.steps import State
from frusta.cli.bench_screen import Line

EVERY_S = 1.0
"""While sound plays, a line is added no more often."""

BLOCK = "#"


class Scroll:
    """Writes what is new, below what was.

    Parameters
    ----------
    write : callable
        Told each line.
    now : callable, optional
        Clock, s.
    """

    def __init__(self, write: Callable[[str], None], now: Callable[[], float] = time.monotonic) -> None:
        self._write = write
        self._now = now
        self._shown: object = None
        self._moving = ""
        self._at = -EVERY_S

    def show(self, state: State, live: Live, asked: object, lines: Sequence[Line]) -> None:
        """Write the whole screen where step, question or answer are new, else a line of what moves.

        Parameters
        ----------
        state, live : State, Live
        asked : object
            What else the screen depends on: what is typed, the notice.
        lines : sequence of Line
            The screen, its large letters drawn with ``#``; they are left out.
        """
        take = state.take.take if state.take else None
        key = (state.step, state.turn, take, live.sound in ("countdown", "sweep", "reading") and live.sound, asked)
        if key != self._shown:
            self._shown, self._moving = key, ""
            self._write("")
            for line in lines:
                if not line.text.strip(f"{BLOCK} "):
                    continue
                self._write(line.text)
            return
        self._move(moving_line(live))

    def _move(self, text: str) -> None:
        if text and text != self._moving and self._now() - self._at >= EVERY_S:
            self._moving, self._at = text, self._now()
            self._write(text)


def moving_line(live: Live) -> str:
    """Return what moves while sound plays in one line, or nothing.

    Examples
    --------
    >>> moving_line(Live(sound="sweep", seconds_left=3.6, frequency_hz=812.0))
    '4 s left, 812 Hz'
    """
    if live.sound == "sweep":
        return f"{live.seconds_left:.0f} s left, {live.frequency_hz:.0f} Hz"
    if live.sound != "noise" or live.level is None:
        return ""
    order = live.level.order
    limit = " The stated limit is reached." if live.limited and (live.level.deficit_db or 0.0) > 0.0 else ""
    return (
        f"{order[:1].upper()}{order[1:]}. Now {live.level.level_db:.1f} dB, drive gain {live.gain_db:+.1f} dB.{limit}"
    )
