"""Kill an import, a shelf add or a publication at random moments, and say whether anything was lost. Run as a program.

Usage: kill_jobs.py JOB FOLDER KILLS SEED, JOB one of import, shelf, publish. Prints one line of JSON. Everything heavy
is imported once; each life is a forked child. Every other one ends itself by SIGKILL at a random one of the moments
just before a file is opened for writing, flushed, moved, linked or removed; the rest are killed from outside after a
random time. After each, what must hold is looked at, and now and then the job is done to its end.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[1] / "publish"))
sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))

from forked_life import live
from hard_package import RATE_HZ, make_small_package
from workshop import Workshop, invent

from frusta.campaign.check import check_package
from frusta.campaign.exporting import files_of
from frusta.campaign.importing import Choices, apply_import, plan_import
from frusta.campaign.package import open_package
from frusta.campaign.shelf.store import Shelf
from frusta.campaign.shelf.upkeep import check_shelf, sweep_files
from frusta.publish import render
from frusta.publish.report import publish

WRITES = {"os.rename", "os.link", "os.remove", "os.mkdir", "os.rmdir", "os.truncate", "shutil.copyfile", "shutil.move"}
FILES = 6


class Fuse:
    """Counts the moments at which files change, and ends the process at the n-th."""

    def __init__(self) -> None:
        self.passed, self.moments = 0, None
        flush = os.fsync

        def fsync(handle: int) -> None:
            self.step()
            flush(handle)
            self.step()

        os.fsync = fsync
        sys.addaudithook(self._audit)

    def light(self, moments: int | None) -> None:
        self.passed, self.moments = 0, moments

    def step(self) -> None:
        self.passed += 1
        if self.moments is not None and self.passed >= self.moments:
            os.kill(os.getpid(), signal.SIGKILL)

    def _audit(self, event: str, arguments: tuple[object, ...]) -> None:
        opened = event == "open" and isinstance(arguments[2], int) and arguments[2] & (os.O_WRONLY | os.O_RDWR)
        if opened or event in WRITES:
            self.step()


class ImportJob:
    """Six recordings become takes of a package that has two."""

    def __init__(self, folder: Path) -> None:
        self.sources = folder / "elsewhere"
        self.sources.mkdir(parents=True)
        time_s = np.arange(RATE_HZ // 2) / RATE_HZ
        for number in range(FILES):
            ring = 0.5 * np.exp(-30 * time_s) * np.sin(2 * np.pi * (400 + 50 * number) * time_s)
            soundfile.write(self.sources / f"rush-1 tap {number}.wav", ring, RATE_HZ, subtype="PCM_24")
        self.contents = sorted(p.read_bytes() for p in self.sources.iterdir())

    def begin(self, root: Path) -> None:
        make_small_package(root)

    def do(self, root: Path) -> None:
        files = sorted(self.sources.iterdir())
        apply_import(plan_import(files, root, Choices(kind="tap", session="s1", seating="new")))

    def wrong(self, root: Path) -> list[str]:
        found = [str(fault) for fault in check_package(root).faults]
        package = open_package(root)
        new = [t for t in package.takes.values() if t.take not in ("a", "b")]
        bad = [t.take for t in new if package.path_of(t.recording).read_bytes() not in self.contents]
        return (
            found
            + [f"{take} is not as it was" for take in bad]
            + ([] if {"a", "b"} <= set(package.takes) else ["lost"])
        )

    def unfinished(self, root: Path) -> list[str]:
        package = open_package(root)
        held = sorted(
            package.path_of(t.recording).read_bytes() for t in package.takes.values() if t.take not in ("a", "b")
        )
        named = {package.path_of(t.recording) for t in package.takes.values()}
        loose = [p.name for p in (root / "recordings").iterdir() if p not in named and not p.name.startswith(".")]
        return ([] if held == self.contents else [f"{len(held)} imported"]) + loose


class ShelfJob:
    """A package goes on a shelf that holds another."""

    def __init__(self, folder: Path) -> None:
        self.first = make_small_package(folder / "first")
        self.second = make_small_package(folder / "second", campaign="campaign,title\nlater,Later\n")
        (self.second / "recordings/a.wav").write_bytes((self.first / "recordings/a.wav").read_bytes() + b"\0" * 7)
        soundfile.write(self.second / "recordings/a.wav", np.full(RATE_HZ // 4, 0.25), RATE_HZ, subtype="PCM_24")

    def begin(self, root: Path) -> None:
        shelf = Shelf(root / "shelf.sqlite")
        shelf.add(self.first)
        shelf.close()

    def do(self, root: Path) -> None:
        shelf = Shelf(root / "shelf.sqlite")
        shelf.add(self.second)
        shelf.close()

    def wrong(self, root: Path) -> list[str]:
        shelf = Shelf(root / "shelf.sqlite")
        names = [entry.entry for entry in shelf.entries()]
        found = check_shelf(shelf) + ([] if names in (["quay"], ["later", "quay"]) else [f"entries {names}"])
        shelf.close()
        return found

    def unfinished(self, root: Path) -> list[str]:
        shelf = Shelf(root / "shelf.sqlite")
        sweep_files(shelf)
        held = _contents(shelf.export("later", root / "back")) == _contents(self.second)
        parts = [p.name for p in (root / "shelf.sqlite-files").rglob("*") if p.name.startswith(".")]
        shelf.close()
        return ([] if held else ["what comes back differs"]) + parts


class PublishJob:
    """A report is written to a new folder."""

    def __init__(self, folder: Path) -> None:
        render.png = lambda svg, scale=2.0: b"\x89PNG"
        draw, drawn = render.raw_svg, {}

        def remembered(spec: dict[str, object]) -> str:
            """Each chart drawn once, before any fork: the renderer has threads, and it is the writing that is tried."""
            key = json.dumps(spec, sort_keys=True, default=str)
            if key not in drawn:
                drawn[key] = draw(spec)
            return drawn[key]

        render.raw_svg = remembered
        shop = Workshop(materials=2, profiles=1, prints=1, seatings=1, harmonics=False, decay=False)
        self.invented = invent(folder / "package", shop)
        publish(self.invented, self.invented.package, folder / "whole")
        self.whole = _files(folder / "whole")

    def begin(self, root: Path) -> None:
        root.mkdir(parents=True)

    def do(self, root: Path) -> None:
        publish(self.invented, self.invented.package, root / "report")

    def wrong(self, root: Path) -> list[str]:
        there = (root / "report").exists()
        return ["half a report"] if there and _files(root / "report") != self.whole else []

    def unfinished(self, root: Path) -> list[str]:
        return [] if _files(root / "report") == self.whole else ["no report, or another"]


JOBS = {"import": ImportJob, "shelf": ShelfJob, "publish": PublishJob}


def _files(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def _contents(path: Path) -> dict[str, bytes]:
    return {n: f if isinstance(f, bytes) else f.read_bytes() for n, f in files_of(open_package(path)).items()}


def main() -> None:
    name, folder, kills, seed = sys.argv[1], Path(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4])
    rng = np.random.default_rng(seed)
    job = JOBS[name](folder / "made")
    fuse = Fuse()
    job.begin(folder / "dry")
    fuse.light(None)
    begun = time.monotonic()
    job.do(folder / "dry")
    moments, whole_s = fuse.passed, time.monotonic() - begun
    done = ended = 0
    problems: list[str] = [f"dry: {words}" for words in job.wrong(folder / "dry") + job.unfinished(folder / "dry")]
    while done < kills:
        root = folder / f"try-{done}"
        job.begin(root)
        for _ in range(3):  # killed up to three times in one place, then let be
            by_moment = bool(done % 2)
            limit = int(rng.integers(1, moments + 1)) if by_moment else None
            alive_s = 1e6 if by_moment else float(rng.uniform(0, whole_s))
            if one_life(job.do, root, fuse, limit, alive_s):
                ended += 1
                break
            done += 1
            problems += [f"{root.name}: {words}" for words in job.wrong(root)]
        try:
            job.do(root)
            problems += [f"{root.name}, then done: {words}" for words in job.wrong(root) + job.unfinished(root)]
        except Exception as error:
            problems.append(f"{root.name}: cannot be done again: {type(error).__name__}: {error}")
        shutil.rmtree(root)
    told = {"job": name, "kills": done, "came_to_an_end": ended, "moments": moments, "whole_s": whole_s}
    print(json.dumps(told | {"problems": problems}))


def one_life(do: Callable[[Path], None], root: Path, fuse: Fuse, limit: int | None, alive_s: float) -> bool:
    """Run the job in a child until the limit or the time is up; True if it came to its end."""

    def life() -> None:
        fuse.light(limit)
        do(root)

    return live(life, alive_s) == 0


if __name__ == "__main__":
    main()
