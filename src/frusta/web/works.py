"""Long work outside the event loop: one thread each, with progress, and it can be stopped."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Literal

from frusta.errors import FrustaError
from frusta.web.problems import Problem, problem_of

Progress = Callable[[int, int], None]
Standing = Literal["running", "done", "failed", "stopped"]

log = logging.getLogger(__name__)


class Stopped(Exception):
    """The work was stopped by the maker."""


@dataclass
class Work:
    """A piece of long work.

    Attributes
    ----------
    name : str
        One of a name runs at a time.
    title : str
        What is being done, as a label ("Reading takes").
    done, total : int
    standing : {"running", "done", "failed", "stopped"}
    problem : Problem or None
    result : object
    asked : object
        What it was started with, for the form that starts it again.
    began_s : float
        Monotonic clock.
    """

    name: str
    title: str
    done: int = 0
    total: int = 0
    standing: Standing = "running"
    problem: Problem | None = None
    result: Any = None
    asked: Any = None
    began_s: float = field(default_factory=time.monotonic)
    stopping: threading.Event = field(default_factory=threading.Event, repr=False)
    thread: threading.Thread | None = field(default=None, repr=False)

    def report(self, done: int, total: int) -> None:
        """Say how far it has come; ends the work where it was stopped."""
        self.done, self.total = done, total
        if self.stopping.is_set():
            raise Stopped

    @property
    def seconds_left(self) -> float | None:
        """A guess from what is done; None before there is ground for one."""
        gone = time.monotonic() - self.began_s
        if self.done < 2 or not self.total:
            return None
        return gone / self.done * (self.total - self.done)

    def body(self) -> dict[str, Any]:
        """Return it as the API tells it."""
        return {
            "name": self.name,
            "title": self.title,
            "done": self.done,
            "total": self.total,
            "standing": self.standing,
            "error": None if self.problem is None else self.problem.body()["error"],
        }


class Works:
    """All long work of a page."""

    def __init__(self) -> None:
        self._held: dict[str, Work] = {}
        self._lock = threading.Lock()

    def get(self, name: str) -> Work | None:
        """Return the latest work of a name."""
        return self._held.get(name)

    def all(self) -> list[Work]:
        """Return the latest work of every name."""
        return list(self._held.values())

    def start(self, name: str, title: str, do: Callable[[Progress], Any], asked: Any = None) -> Work:
        """Start work in a thread of its own; where one of that name runs, that one is returned.

        Parameters
        ----------
        name, title : str
        do : callable
            Takes a function of ``(done, total)`` and returns the result.
        asked : object
            What it is started with.
        """
        with self._lock:
            held = self._held.get(name)
            if held is not None and held.standing == "running":
                return held
            work = self._held[name] = Work(name, title, asked=asked)
        work.thread = threading.Thread(target=_run, args=(work, do), name=f"frusta-{name}", daemon=True)
        work.thread.start()
        return work

    def stop(self, name: str) -> Work | None:
        """Ask work to stop; it ends at its next report."""
        work = self._held.get(name)
        if work is not None:
            work.stopping.set()
        return work

    def close(self) -> None:
        """Stop all and wait a little for the end."""
        for work in self.all():
            work.stopping.set()
        for work in self.all():
            if work.thread is not None:
                work.thread.join(5.0)


def _run(work: Work, do: Callable[[Progress], Any]) -> None:
    try:
        work.result = do(work.report)
        work.standing = "done"
    except Stopped:
        work.standing = "stopped"
    except FrustaError as error:
        work.problem = problem_of(error)
        work.standing = "failed"
    except Exception as error:  # a thread must not end unheard
        log.exception("%s failed", work.title)
        work.problem = Problem(
            "Something went wrong inside frusta.", f"{type(error).__name__}: {error}", "Try again; tables are safe."
        )
        work.standing = "failed"
