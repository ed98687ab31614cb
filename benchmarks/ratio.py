"""Measure one way against another in the same run: the least of several rounds each, taken in turn."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Ratio:
    """How long two ways of doing one thing take, s."""

    ours_s: float
    other_s: float

    @property
    def times_faster(self) -> float:
        """The other's time over ours."""
        return self.other_s / self.ours_s


def least_s(function: Callable[[], object], rounds: int = 5) -> float:
    """Least time of several rounds, after one that warms up."""
    function()
    times = []
    for _ in range(rounds):
        begun = time.perf_counter()
        function()
        times.append(time.perf_counter() - begun)
    return min(times)


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
