"""Full disks, folders that cannot be written, and two who write at once.

Oracle: the bytes that were there before. A full disk is a real one: a file system of 1 MB in memory where the tests
may mount (CI runs as root), and a limit on the size of files, which the kernel enforces too.
"""

from __future__ import annotations

import ctypes
import hashlib
import os
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hard_package import RATE_HZ, make_small_package

from frusta.bench.events import Ended, Weighed
from frusta.bench.journal import Journal
from frusta.campaign.check import check_package
from frusta.campaign.exporting import export_package
from frusta.campaign.importing import Choices, apply_import, plan_import
from frusta.campaign.package import open_package
from frusta.campaign.shelf.store import Shelf
from frusta.campaign.shelf.upkeep import back_up, check_shelf
from frusta.errors import FrustaError, OutputError

DISK_BYTES = 2**20


def _hashes(folder: Path) -> dict[str, str]:
    files = [p for p in folder.rglob("*") if p.is_file() and not p.name.endswith(("-wal", "-shm"))]
    return {str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest() for p in files}


def _mounted(folder: Path) -> bool:
    """Mount a file system of 1 MB in memory; False where that is not allowed."""
    libc = ctypes.CDLL(None, use_errno=True)
    return libc.mount(b"tmpfs", os.fsencode(folder), b"tmpfs", 0, f"size={DISK_BYTES}".encode()) == 0


@dataclass(frozen=True)
class SmallDisk:
    """A folder on which 1 MB fits; or, within `full`, no file of more than a quarter of that."""

    folder: Path
    mounted: bool

    @contextmanager
    def full(self) -> Iterator[None]:
        """What is written in here meets the limit."""
        if self.mounted:
            yield
            return
        before = resource.getrlimit(resource.RLIMIT_FSIZE)
        old = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (DISK_BYTES // 4, before[1]))
        try:
            yield
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, before)
            signal.signal(signal.SIGXFSZ, old)


@pytest.fixture(params=["mounted", "limited"])
def disk(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[SmallDisk]:
    """A small disk; both ways where both can be had, else the limit twice."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mounted = request.param == "mounted" and _mounted(folder)
    yield SmallDisk(folder, mounted)
    if mounted:
        ctypes.CDLL(None).umount2(os.fsencode(folder), 2)


@pytest.fixture
def sources(tmp_path: Path) -> list[Path]:
    """Three recordings, the last of which fits on no small disk."""
    folder = tmp_path / "elsewhere"
    folder.mkdir()
    files = []
    for number, seconds in enumerate((0.25, 0.3, 20.0)):
        time_s = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
        path = folder / f"rush-1 tap {number}.wav"
        soundfile.write(path, np.exp(-30 * time_s) * np.sin(1500 * time_s), RATE_HZ, subtype="PCM_16")
        files.append(path)
    return files


def test_an_import_that_does_not_fit_leaves_the_package_as_it_was(disk, sources):
    package = make_small_package(disk.folder / "quay")
    before = _hashes(package)
    plan = plan_import(sources, package, Choices(kind="tap", session="s1", seating="new"))
    with disk.full(), pytest.raises(OutputError, match="free some space"):
        apply_import(plan)
    assert _hashes(package) == before
    assert not check_package(package).faults


def test_an_export_or_a_backup_that_does_not_fit_leaves_nothing(disk, tmp_path):
    root = disk.folder / "out"
    root.mkdir()
    (root / "one.zip").write_bytes(b"what was there")
    large = _large_package(tmp_path / "large")
    shelf = Shelf(tmp_path / "away" / "shelf.sqlite")
    shelf.add(large)
    package = open_package(large)
    for write in (
        lambda: export_package(package, root / "one.zip"),
        lambda: export_package(package, root / "folder"),
        lambda: back_up(shelf, root / "backup.zip"),
    ):
        with disk.full(), pytest.raises(OutputError):
            write()
    shelf.close()
    assert _hashes(root) == {"one.zip": hashlib.sha256(b"what was there").hexdigest()}
    assert sorted(p.name for p in root.iterdir()) == ["one.zip"]


def _large_package(folder: Path) -> Path:
    """The small package with a recording of noise, which packs badly."""
    root = make_small_package(folder)
    noise = np.random.default_rng(1).uniform(-0.9, 0.9, RATE_HZ * 20)
    soundfile.write(root / "recordings/a.wav", noise, RATE_HZ, subtype="PCM_16")
    return root


def test_a_shelf_that_does_not_fit_stays_as_it_was(disk, tmp_path):
    shelf = Shelf(disk.folder / "shelf.sqlite")
    shelf.add(make_small_package(tmp_path / "quay"))
    large = _large_package(tmp_path / "large")
    with disk.full(), pytest.raises(OutputError):
        shelf.add(large, "large")
    assert [e.entry for e in shelf.entries()] == ["quay"]
    assert check_shelf(shelf) == []
    shelf.close()


def test_a_journal_that_does_not_fit_keeps_every_event_before(disk):
    journal = Journal(disk.folder / "bench" / "s1.journal")
    written = 0
    try:
        with disk.full():
            while written < 10_000:
                journal.write(Weighed(float(written), before="x" * 60_000))
                written += 1
    except OutputError as error:
        told = str(error)
    assert "free some space" in told
    assert 3 <= written < 20
    assert [e.mass_g for e in journal.read()] == [float(n) for n in range(written)]
    journal.path.write_bytes(journal.path.read_bytes()[:70_000])  # room is made
    journal.write(Ended())
    assert journal.read()[-1] == Ended()


AS_NOBODY = """
import os, sys
from frusta.cli.main import app
import frusta.campaign.importing, frusta.campaign.shelf.store, frusta.campaign.shelf.analysing, frusta.cli.log_file
import frusta.campaign.starting, frusta.cli.progress, sqlite3  # while Python's own folders may still be read
os.setgroups([]); os.setgid(65534); os.setuid(65534)
"""


def _as_nobody(code: str, *arguments: object) -> subprocess.CompletedProcess[str]:
    """Run code as a user who may write nothing here; root may write anything."""
    drop = AS_NOBODY if os.geteuid() == 0 else "import sys\n"
    return subprocess.run(
        [sys.executable, "-c", drop + code, *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )


@pytest.fixture
def open_place() -> Iterator[Path]:
    """A folder that anybody may look into; pytest's own are for its user only."""
    place = Path(tempfile.mkdtemp(prefix="frusta-locked-"))
    place.chmod(0o755)
    yield place
    for path in [place, *place.rglob("*")]:
        path.chmod(0o755)
    shutil.rmtree(place)


@pytest.mark.parametrize("command", ["import", "shelf", "new"])
def test_a_folder_that_cannot_be_written_is_one_line_and_unchanged(open_place, sources, command):
    source = open_place / sources[0].name
    shutil.copyfile(sources[0], source)
    package = make_small_package(open_place / "locked" / "quay")
    before = _hashes(open_place)
    words = {
        "import": ["import", source, "--into", package, "--kind", "tap", "--session", "s1"],
        "shelf": ["shelf", "add", package, "--no-analyse", "--shelf", open_place / "locked" / "shelf.sqlite"],
        "new": ["new", open_place / "locked" / "another"],
    }[command]
    for path in open_place.rglob("*"):
        path.chmod(0o555 if path.is_dir() else 0o444)
    code = (
        "os_environ = __import__('os').environ\n"
        "os_environ.update(FRUSTA_STATE='/nonexistent', FRUSTA_CACHE='/nonexistent', FRUSTA_CONFIG='/nonexistent')\n"
        "sys.argv[0] = 'frusta'\nfrom frusta.cli.main import main\nmain()\n"
    )
    done = _as_nobody(code, *words)
    assert done.returncode == 2, (done.stdout, done.stderr)
    lines = [line for line in done.stderr.splitlines() if line.startswith("frusta: ")]
    assert len(lines) == 1, done.stderr
    assert "Traceback" not in done.stderr
    assert _hashes(open_place) == before


IMPORTER = """
import sys
from pathlib import Path
from frusta.campaign.importing import Choices, apply_import, plan_import
from frusta.errors import FrustaError
package, *files = map(Path, sys.argv[1:])
for file in files:
    for _ in range(200):
        try:
            apply_import(plan_import([file], package, Choices(kind="tap", session="s1", seating=1)))
            break
        except FrustaError as error:
            print(error, file=sys.stderr)
    else:
        sys.exit(3)
"""


def test_two_who_import_at_once_lose_nothing(tmp_path):
    """Each sees the other's rows or is refused and tries again; no row and no file is lost."""
    package = make_small_package(tmp_path / "quay")
    files = []
    for number in range(12):
        path = tmp_path / f"rush-1 tap {number}.wav"
        time_s = np.arange(RATE_HZ // 8) / RATE_HZ
        soundfile.write(path, 0.5 * np.exp(-30 * time_s) * np.sin((1500 + number) * time_s), RATE_HZ, subtype="PCM_16")
        files.append(str(path))
    writers = [
        subprocess.Popen([sys.executable, "-c", IMPORTER, str(package), *files[half::2]], stderr=subprocess.PIPE)
        for half in (0, 1)
    ]
    told = [writer.communicate(timeout=200)[1] for writer in writers]
    assert [writer.returncode for writer in writers] == [0, 0], told
    opened = open_package(package)
    assert len(opened.takes) == 2 + len(files)
    held = {opened.path_of(take.recording).read_bytes() for take in opened.takes.values()}
    assert {Path(file).read_bytes() for file in files} <= held
    assert not check_package(package).faults


def test_every_refusal_here_is_frustas_own():
    assert issubclass(OutputError, FrustaError)
