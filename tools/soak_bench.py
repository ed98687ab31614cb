"""Many takes through the bench loop in one process, on the virtual rig: does memory stay flat?

    nice python tools/soak_bench.py --takes 10000

Sittings of some hundred takes each, unattended: begin, fetch, weigh, seat, level, sweep, judge, keep, journal, tables.
Every response of the virtual rig is computed once; the sound of each take is made, written, read and judged anew. After
each sitting the resident size, open files and threads of the process are noted, and the package is removed. Flat means:
the mean of the last quarter of the sittings lies at most 5 % and 16 MiB above that of the second quarter; open files
and threads do not grow at all. Exit code 1 otherwise, or where a take is missing.
"""

from __future__ import annotations

import argparse
import gc
import os
import shutil
import sys
import tempfile
import threading
import time
from datetime import date, timedelta
from pathlib import Path
from typing import ClassVar

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests" / "bench"))

from small_package import make_device, make_guide, make_package

from frusta.bench.rehearsal import VirtualDevice
from frusta.bench.sitting import begin_sitting, planned_turns
from frusta.bench.unattended import run_unattended
from frusta.campaign.check import check_package
from frusta.campaign.package import open_package

SEATINGS = 33


class Remembering(VirtualDevice):
    """The virtual rig, each sound computed once: it is the bench that is tried here."""

    _kept: ClassVar[dict[object, np.ndarray]] = {}

    def _record(self, specimen, seating, signal, take, mishap):  # type: ignore[no-untyped-def]
        key = (specimen, seating % 3, signal.size, float(signal.max()))
        if key not in self._kept:
            self._kept[key] = super()._record(specimen, seating % 3 + 1, signal, take, mishap)
        return self._kept[key]


def resident_mib() -> float:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


def sit(root: Path, device: VirtualDevice, day: date) -> int:
    """One sitting to its end; returns how many takes were kept."""
    guide = make_guide(root, device, target_db=None)
    package = open_package(root)
    guide.begin(begin_sitting(package, package.rigs["jetty"], planned_turns(package, SEATINGS), day))
    run_unattended(guide, lambda line: None)
    return len(open_package(root).takes)


def main() -> None:
    wanted = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    wanted.add_argument("--takes", type=int, default=10_000)
    told = wanted.parse_args()
    place = Path(tempfile.mkdtemp(prefix="frusta-soak-"))
    device = make_device(make_package(place / "first"))
    device.__class__ = Remembering
    takes = sittings = 0
    sizes: list[float] = []
    handles: list[int] = []
    threads: list[int] = []
    wrong: list[str] = []
    begun = time.monotonic()
    while takes < told.takes:
        root = make_package(place / f"sitting-{sittings}")
        kept = sit(root, device, date(2026, 5, 9) + timedelta(days=sittings))
        if sittings % 20 == 0:
            wrong += [str(fault) for fault in check_package(root).faults]
        shutil.rmtree(root)
        takes, sittings = takes + kept, sittings + 1
        gc.collect()
        sizes.append(resident_mib())
        handles.append(len(os.listdir("/proc/self/fd")))
        threads.append(threading.active_count())
        passed = time.monotonic() - begun
        print(f"{takes} takes, {sittings} sittings, {passed:.0f} s, {sizes[-1]:.0f} MiB", flush=True)
    quarter = max(len(sizes) // 4, 1)
    early, late = float(np.mean(sizes[quarter : 2 * quarter])), float(np.mean(sizes[-quarter:]))
    open_files = max(handles[-quarter:]) <= max(handles[:quarter])
    flat = late <= 1.05 * early + 16 and open_files and max(threads) <= threads[0]
    print(f"resident size {early:.0f} MiB in the second quarter, {late:.0f} MiB in the last")
    print(f"open files {handles[0]} at first, {handles[-1]} at last; threads {threads[0]} and {threads[-1]}")
    print(
        f"{takes} takes in {sittings} sittings, {1e3 * passed / takes:.0f} ms a take; {'flat' if flat else 'NOT FLAT'}"
    )
    print(f"faults of every twentieth package: {wrong or 'none'}")
    shutil.rmtree(place)
    sys.exit(0 if flat and not wrong else 1)


if __name__ == "__main__":
    main()
