"""Forecasts for sliders: a quick look at once in this process, the full one in a warm process beside it."""

from __future__ import annotations

import multiprocessing
import os
import threading
from concurrent.futures import CancelledError, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool

from frusta.campaign.forecasting import ForecastInputs
from frusta.campaign.parallel import fresh_start
from frusta.cone.profile import ConeProfile
from frusta.design.forecast import FULL, QUICK, Forecast


class Forecaster:
    """Makes forecasts; the newest question goes first, older ones are given up."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._turns = {"quick": threading.Lock(), "full": threading.Lock()}
        self._newest = {"quick": 0, "full": 0}
        self._pool: ProcessPoolExecutor | None = None
        self._closed = False

    def quick(self, inputs: ForecastInputs, drawing: ConeProfile) -> Forecast | None:
        """Return a quick look; None if a newer question came while this one waited."""
        ticket = self._ticket("quick")
        with self._turns["quick"]:
            return inputs.of(drawing, QUICK) if ticket == self._newest["quick"] else None

    def full(self, inputs: ForecastInputs, drawing: ConeProfile) -> Forecast | None:
        """Return the full forecast; None if a newer question came while this one waited."""
        ticket = self._ticket("full")
        with self._turns["full"]:
            if ticket != self._newest["full"]:
                return None
            pool = self._ready()
            if pool is not None:
                try:
                    return pool.submit(_full, inputs, drawing).result()
                except (BrokenProcessPool, CancelledError, RuntimeError):
                    self._drop()  # the process was ended from outside, or the page ends: do it here
            return inputs.of(drawing, FULL)

    def warm(self) -> None:
        """Let the process beside this one start, if it has not."""
        pool = self._ready()
        if pool is not None:
            pool.submit(_full, None, None)

    def close(self) -> None:
        """End the process."""
        self._closed = True
        self._drop()

    def _ticket(self, kind: str) -> int:
        with self._lock:
            self._newest[kind] += 1
            return self._newest[kind]

    def _ready(self) -> ProcessPoolExecutor | None:
        with self._lock:
            if self._closed:
                return None
            if self._pool is None:
                context = multiprocessing.get_context("spawn")
                self._pool = ProcessPoolExecutor(1, mp_context=context, initializer=_end_with_parent)
                with fresh_start():
                    self._pool.submit(_full, None, None)
            return self._pool

    def _drop(self) -> None:
        with self._lock:
            pool, self._pool = self._pool, None
        if pool is not None:
            pool.shutdown(wait=True, cancel_futures=True)


def _end_with_parent() -> None:
    """In the process beside: end when the page's process does, even if that was killed."""

    def watch() -> None:
        parent = multiprocessing.parent_process()
        if parent is not None:
            parent.join()
        os._exit(0)

    threading.Thread(target=watch, daemon=True).start()


def _full(inputs: ForecastInputs | None, drawing: ConeProfile | None) -> Forecast | None:
    """In the process beside: a forecast; with nothing, only the imports that it needs."""
    return None if inputs is None or drawing is None else inputs.of(drawing, FULL)
