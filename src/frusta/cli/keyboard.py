"""Single keys from a terminal, without waiting for Enter; the terminal is given back as it was."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

ENTER, ESCAPE, UP, DOWN, BACKSPACE, CLOSED = "enter", "esc", "up", "down", "backspace", "closed"

ReadKey = Callable[[float], str | None]
"""Called with a time to wait in seconds; returns a key, or None where none came."""

_NAMED = {"\r": ENTER, "\n": ENTER, "\x1b": ESCAPE, "\x7f": BACKSPACE, "\x08": BACKSPACE, "\x03": "ctrl-c", "": CLOSED}
_ARROWS = {"\x1b[A": UP, "\x1bOA": UP, "\x1b[B": DOWN, "\x1bOB": DOWN}


def key_of(text: str) -> str:
    r"""Return the name of a key from what the terminal sends.

    Examples
    --------
    >>> key_of("\x1b[A"), key_of("\r"), key_of("K")
    ('up', 'enter', 'k')
    """
    return _ARROWS.get(text) or _NAMED.get(text) or text.lower()


@contextmanager
def keyboard() -> Iterator[ReadKey]:
    """Give a function that reads single keys from standard input."""
    if os.name == "nt":
        yield _windows_key
        return
    import termios
    import tty

    descriptor = sys.stdin.fileno()
    before = termios.tcgetattr(descriptor)
    try:
        tty.setcbreak(descriptor)
        yield lambda wait_s: _posix_key(descriptor, wait_s)
    finally:
        termios.tcsetattr(descriptor, termios.TCSADRAIN, before)


def _posix_key(descriptor: int, wait_s: float) -> str | None:
    import select

    if not select.select([descriptor], [], [], wait_s)[0]:
        return None
    text = os.read(descriptor, 1).decode("latin-1")
    # an arrow comes as three bytes at once, a lone Esc as one
    if text == "\x1b" and select.select([descriptor], [], [], 0.02)[0]:
        text += os.read(descriptor, 2).decode("latin-1")
    return key_of(text)


def _windows_key(wait_s: float) -> str | None:
    import msvcrt
    import time

    end = time.monotonic() + wait_s
    while not msvcrt.kbhit():  # type: ignore[attr-defined]
        if time.monotonic() > end:
            return None
        time.sleep(0.01)
    letter = msvcrt.getwch()  # type: ignore[attr-defined]
    if letter in "\x00\xe0":
        return {"H": UP, "P": DOWN}.get(msvcrt.getwch())  # type: ignore[attr-defined]
    return key_of(letter)
