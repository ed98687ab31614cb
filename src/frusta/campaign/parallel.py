"""One `map` for everything that can be done side by side."""

from __future__ import annotations

import multiprocessing
import os
import sys
import types
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from typing import TypeVar

from frusta.errors import FrustaError, ParameterError

Item = TypeVar("Item")
Result = TypeVar("Result")
Progress = Callable[[int, int], None]

THREAD_SETTINGS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
LARGEST_BATCH = 8


def map_batches(
    function: Callable[[Item], Result],
    items: Sequence[Item],
    cores: int | None = None,
    progress: Progress | None = None,
) -> list[Result]:
    """Return ``[function(item) for item in items]``, worked on by several processes.

    The result is the same to the last bit for any number of cores: every item is worked on alone, by linear
    algebra that uses one thread. With one core it is done in this process if that has been told so (by
    ``OMP_NUM_THREADS=1`` or its kin, before numpy was loaded), else in one process beside it.

    Parameters
    ----------
    function : callable
        Importable by name (or a `functools.partial` of such); takes one item. Its exceptions are passed on, that of
        the first item in order.
    items : sequence
        What to work on; items and results travel between processes and should be small.
    cores : int, optional
        Processes, >= 1; by default as many as this process may use.
    progress : callable, optional
        Called with ``(done, total)``, first with ``(0, total)``.

    Returns
    -------
    list
        Results in the order of the items.

    Raises
    ------
    ParameterError
        If `cores` is below one.
    FrustaError
        If a process died, as when memory runs out.
    """
    if cores is not None and cores < 1:
        raise ParameterError(f"cores must be at least 1 (got {cores}); leave it out to use all")
    report = progress or _silent
    total = len(items)
    report(0, total)
    workers = min(cores or available_cores(), total)
    if workers <= 1 and (total == 0 or single_threaded()):
        results = []
        for done, item in enumerate(items, start=1):
            results.append(function(item))
            report(done, total)
        return results
    return _in_processes(function, items, workers, report)


def available_cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def single_threaded() -> bool:
    """Return whether this process was told to do linear algebra in one thread."""
    told = [os.environ.get(name) for name in THREAD_SETTINGS[:2]]
    return (told[0] or told[1]) == "1"


def _in_processes(
    function: Callable[[Item], Result], items: Sequence[Item], workers: int, report: Progress
) -> list[Result]:
    """Work in fresh processes; batches are handed out as processes become free."""
    size = max(1, min(LARGEST_BATCH, len(items) // (4 * workers)))
    batches = [items[start : start + size] for start in range(0, len(items), size)]
    context = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(workers, mp_context=context)
    try:
        with fresh_start():
            futures = [pool.submit(_work, function, batch) for batch in batches]
        _follow(futures, size, len(items), report)
        return [result for future in futures for result in future.result()]
    except BrokenProcessPool as error:
        raise FrustaError(
            "a process of the analysis must run to its end (it was ended from outside, often because memory ran out); "
            "use fewer cores"
        ) from error
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _work(function: Callable[[Item], Result], batch: Sequence[Item]) -> list[Result]:
    return [function(item) for item in batch]


def _follow(futures: Sequence[Future[list[Result]]], size: int, total: int, report: Progress) -> None:
    """Report batches as they are done; stop at the first that failed."""
    done = 0
    for future in as_completed(futures):
        if future.exception() is not None:
            return
        done = min(done + size, total)
        report(done, total)


@contextmanager
def fresh_start() -> Iterator[None]:
    """Let processes start with one thread for linear algebra, and without running the user's script again.

    A spawned process imports the main module of its parent, which a script without a guard would not survive; what
    is mapped never lives there.
    """
    before = {name: os.environ.get(name) for name in THREAD_SETTINGS}
    main = sys.modules["__main__"]
    os.environ.update(dict.fromkeys(THREAD_SETTINGS, "1"))
    sys.modules["__main__"] = types.ModuleType("__main__")
    try:
        yield
    finally:
        sys.modules["__main__"] = main
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


def _silent(done: int, total: int) -> None:
    """Report nothing."""
