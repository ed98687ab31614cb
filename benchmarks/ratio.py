"""Measure one way against another in the same run: the least of several rounds each, taken in turn.

A limit in seconds holds for the machine that it was set on: it is multiplied by `slowness`, what a fixed piece of
work that is none of ours takes here and now over what it took there.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Ratio:
    """How long two ways of doing one thing take, s."""

    ours_s: float
    other_s: float

    @property
    def times_faster(self) -> float:
        """The other's time over ours."""
        return self.other_s / self.ours_s


Clock = Callable[[], float]

YARDSTICK_S = 0.0141
"""What `yardstick` took where the limits were set: AMD EPYC, one thread, processor time, least of 120 rounds, s."""

_SQUARE = np.random.default_rng(1).standard_normal((160, 160))
_LONG = np.random.default_rng(2).standard_normal(2**16)


def least_s(function: Callable[[], object], rounds: int = 5, clock: Clock = time.perf_counter) -> float:
    """Least time of several rounds, after one that warms up."""
    function()
    times = []
    for _ in range(rounds):
        begun = clock()
        function()
        times.append(clock() - begun)
    return min(times)


def yardstick() -> None:
    """Do a fixed piece of work, a third each: dense algebra, Fourier transforms, plain Python."""
    for _ in range(4):
        np.linalg.eigh(_SQUARE + _SQUARE.T)
        np.fft.rfft(_LONG)
    total = 0
    for number in range(100_000):
        total += number & 7


def slowness(clock: Clock = time.perf_counter) -> float:
    """How many times as long as where limits were set things take here and now, by the same clock as the work."""
    return least_s(yardstick, 7, clock) / YARDSTICK_S


def compare(ours: Callable[[], object], other: Callable[[], object], rounds: int = 5) -> Ratio:
    """Time two functions in turn, so that a busy machine slows both alike."""
    ours()
    other()
    mine, others = [], []
    for _ in range(rounds):
        mine.append(least_s(ours, 1))
        others.append(least_s(other, 1))
    return Ratio(min(mine), min(others))


def say(what: str, ratio: Ratio, than: str) -> None:
    """Print one row of the result."""
    ours, other = 1e3 * ratio.ours_s, 1e3 * ratio.other_s
    print(f"\n{what}: {ours:.2f} ms, {ratio.times_faster:.1f} times faster than {than} ({other:.1f} ms)")
