"""Progress on standard error: a moving bar on a terminal, a line now and then elsewhere."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from frusta.cli.say import spoken

Progress = Callable[[int, int], None]
"""Called with (done, total) as work goes on."""

QUIET_S = 5.0
"""Seconds between lines where there is no terminal to redraw."""


@contextmanager
def progress(title: str) -> Iterator[Progress]:
    """Give a function that shows how far a piece of work has come.

    Parameters
    ----------
    title : str
        What is being done, as the user reads it ("Reading takes").

    Yields
    ------
    callable
        Takes ``(done, total)``.
    """
    title = spoken(title)
    if not sys.stderr.isatty():
        yield _lines(title)
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
    from rich.progress import Progress as Bar

    console = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Bar(*columns, console=console, transient=True) as bar:
        task = bar.add_task(title, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


def _lines(title: str) -> Progress:
    """Progress for a file or a pipe: the first call, every few seconds, and the last."""
    last = [-QUIET_S]

    def show(done: int, total: int) -> None:
        now = time.monotonic()
        if now - last[0] >= QUIET_S or done >= total:
            last[0] = now
            sys.stderr.write(spoken(f"{title}: {done} of {total}") + "\n")
            sys.stderr.flush()

    return show
