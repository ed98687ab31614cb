"""Kill the bench at random moments, again and again, and say whether anything was lost. Run as a program.

Usage: kill_loop.py FOLDER KILLS SEED. Prints one line of JSON. Everything heavy is imported and computed once; each
sitting is a forked child. Every other one is ended by SIGKILL from outside after a random time; the rest end themselves
by SIGKILL just before or after a flush or a move of a file, since what could be torn is torn there.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parent))

from forked_life import live
from small_package import make_device, make_guide, make_package

from frusta.bench.journal import journal_of, latest_session
from frusta.bench.rehearsal import VirtualDevice
from frusta.bench.sitting import begin_sitting, planned_turns
from frusta.bench.unattended import run_unattended
from frusta.campaign.check import check_package
from frusta.campaign.package import open_package

Floats = NDArray[np.float64]
SHARE = 0.4
"""Longest life, as a share of a sitting: lives follow one another, so that all of it is reached, and few are wasted."""

DAY = date(2026, 5, 9)


def sit(root: Path, device: VirtualDevice, told: int) -> None:
    """Begin or resume, go to the end; every kept take is told on a file descriptor once it is kept."""
    guide = make_guide(root, device, target_db=None)
    session = latest_session(root)
    if session is not None and journal_of(root, session).read():
        guide.resume(session)
    else:
        package = open_package(root)
        guide.begin(begin_sitting(package, package.rigs["jetty"], planned_turns(package, 1)[:1], DAY))
    run_unattended(guide, lambda line: os.write(told, (line.partition(":")[0] + "\n").encode()))


class Remembering(VirtualDevice):
    """The virtual rig, each recording computed once: it is the bench that is tried here."""

    _kept: ClassVar[dict[object, Floats]] = {}

    def _record(self, specimen: str, seating: int, signal: Floats, take: str, mishap: str | None) -> Floats:
        key = (specimen, seating, signal.size, float(signal.max()))
        if key not in self._kept:
            self._kept[key] = super()._record(specimen, seating, signal, take, mishap)
        return self._kept[key]


class Fuse:
    """Ends the process at the n-th moment just before or after a flush or a move."""

    def __init__(self, moments: int | None) -> None:
        self.moments, self.passed = moments, 0
        flush, move = os.fsync, Path.replace
        os.fsync = self._around(flush)
        Path.replace = self._around(move)

    def _around(self, function: Callable[..., object]) -> Callable[..., object]:
        def with_fuse(*arguments: object) -> object:
            self._step()
            result = function(*arguments)
            self._step()
            return result

        return with_fuse

    def _step(self) -> None:
        self.passed += 1
        if self.moments is not None and self.passed >= self.moments:
            os.kill(os.getpid(), signal.SIGKILL)


def main() -> None:
    folder, kills, seed = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
    rng = np.random.default_rng(seed)
    device = make_device(make_package(folder / "warm"))
    device.__class__ = Remembering
    sink = os.open(os.devnull, os.O_WRONLY)
    sit(folder / "warm", device, sink)  # computes every response once
    make_package(folder / "timed")
    make_package(folder / "unused")
    begun = time.monotonic()
    plain = os.fsync, Path.replace
    fuse = Fuse(None)
    sit(folder / "timed", device, sink)
    os.fsync, Path.replace = plain
    whole_s = time.monotonic() - begun
    done = packages = 0
    problems: list[str] = []
    steps: dict[str, int] = {}
    while done < kills:
        packages += 1
        root = make_package(folder / f"package-{packages}")
        acknowledged: set[str] = set()
        finished = False
        while not finished:
            alive_s, moments = 1e6, None
            if done < kills and done % 2:
                alive_s = float(rng.uniform(0.0, SHARE * whole_s))
            elif done < kills:
                moments = int(rng.integers(1, 2 + SHARE * fuse.passed))
            finished = one_life(root, device, alive_s, moments, acknowledged)
            if not finished:
                done += 1
                step = last_event(root)
                steps[step] = steps.get(step, 0) + 1
            problems += wrong(root, acknowledged)
        problems += unfinished(root)
    print(json.dumps({"kills": done, "packages": packages, "whole_s": whole_s, "after": steps, "problems": problems}))


def one_life(root: Path, device: VirtualDevice, alive_s: float, moments: int | None, acknowledged: set[str]) -> bool:
    """Run a child for so long, or for so many flushes and moves; True if it came to the end."""
    reader, writer = os.pipe()

    def life() -> None:
        Fuse(moments)
        sit(root, device, writer)

    code = live(life, alive_s)
    os.close(writer)
    with os.fdopen(reader) as told:
        acknowledged.update(line.split()[1] for line in told.read().splitlines() if line.startswith("kept"))
    if code:
        raise SystemExit(f"a sitting failed in {root}")
    return code == 0


def last_event(root: Path) -> str:
    """What the journal ends with."""
    session = latest_session(root)
    events = journal_of(root, session).read() if session else []
    return type(events[-1]).__name__ if events else "nothing"


def wrong(root: Path, acknowledged: set[str]) -> list[str]:
    """What a kill has broken: faults of the package, kept takes that are gone."""
    found = [f"{root.name}: {fault}" for fault in check_package(root).faults]
    lost = acknowledged - set(open_package(root).takes)
    return found + [f"{root.name}: lost {take}" for take in sorted(lost)]


def unfinished(root: Path) -> list[str]:
    """Turns that were not recorded, or twice, when all was done; files that were left half written."""
    package = open_package(root)
    have = sorted((t.specimen, t.seating) for t in package.takes.values())
    turn = planned_turns(open_package(root.parent / "unused"), 1)[0]
    wanted = sorted([("heron", 1), ("heron", 2), (turn.specimen, 1)])
    parts = [str(p) for p in root.rglob("*.part")]
    return ([f"{root.name}: recorded {have}"] if have != wanted else []) + parts


if __name__ == "__main__":
    main()
