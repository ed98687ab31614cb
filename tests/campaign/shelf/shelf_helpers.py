"""What the tests of the shelf share."""

from __future__ import annotations

import json
import socket
import subprocess
import sys
from pathlib import Path

from frusta.campaign.exporting import files_of
from frusta.campaign.package import open_package
from frusta.campaign.shelf.schema import METADATA
from frusta.campaign.shelf.store import Shelf
from frusta.campaign.shelf.upkeep import check_shelf

WRITER = """
import sys
from frusta.campaign.shelf.store import Shelf
place, files, package, prefix = sys.argv[1:]
shelf = Shelf(place, files)
for number in range(4):
    shelf.add(package, f"{prefix}-{number}")
    shelf.add(package, "shared")
"""


def whole(path: Path | str) -> dict[str, bytes]:
    package = open_package(path)
    return {name: f if isinstance(f, bytes) else f.read_bytes() for name, f in files_of(package).items()}


def everything(shelf: Shelf) -> str:
    with shelf.database.read() as connection:
        rows = {
            t.name: [dict(r) for r in connection.execute(t.select().order_by(*t.primary_key.columns)).mappings()]
            for t in METADATA.sorted_tables
        }
    return json.dumps(rows, sort_keys=True)


def two_writers(place: str, files: Path, package: Path) -> Shelf:
    """Let two processes add to one shelf at once, and open it."""
    writers = [
        subprocess.Popen([sys.executable, "-W", "error", "-c", WRITER, place, str(files), str(package), prefix])
        for prefix in ("one", "two")
    ]
    assert [writer.wait(120) for writer in writers] == [0, 0]
    return Shelf(place, files)


def check_sum(shelf: Shelf) -> None:
    """Hold a shelf against what its two writers were asked to add."""
    names = [f"{prefix}-{number}" for prefix in ("one", "two") for number in range(4)]
    assert [e.entry for e in shelf.entries()] == sorted([*names, "shared"])
    assert check_shelf(shelf) == []


def free_port() -> int:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return int(s.getsockname()[1])
