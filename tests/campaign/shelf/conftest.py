"""Shelves for tests: an SQLite file in a temporary folder, and a real PostgreSQL server."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from frusta.campaign.shelf.store import Shelf

sys.path.insert(0, str(Path(__file__).parent))

NOON = datetime(2026, 6, 1, 12, tzinfo=UTC)


def at_noon() -> datetime:
    return NOON


@pytest.fixture
def shelf(tmp_path: Path) -> Iterator[Shelf]:
    """An empty shelf."""
    made = Shelf(tmp_path / "shelf" / "shelf.sqlite", now=at_noon)
    yield made
    made.close()


def postgres_programs() -> Path:
    """Folder of initdb and pg_ctl."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    if found:
        return found[-1].parent
    here = shutil.which("initdb")
    if here is None:
        pytest.fail("PostgreSQL's initdb was not found; make system installs it (package postgresql)")
    return Path(here).parent


@pytest.fixture(scope="session")
def postgres_url() -> Iterator[str]:
    """URL of a real server on loopback, started for these tests in a temporary folder (never as root)."""
    programs = postgres_programs()
    folder = Path(tempfile.mkdtemp(prefix="frusta-postgres-"))
    who: dict[str, object] = {}
    if os.geteuid() == 0:
        shutil.chown(folder, "postgres", "postgres")
        who = {"user": "postgres", "group": "postgres", "extra_groups": []}
    from shelf_helpers import free_port

    port = free_port()

    def run(*command: object) -> None:
        done = subprocess.run(
            [str(c) for c in command], cwd=folder, capture_output=True, text=True, timeout=120, check=False, **who
        )
        assert done.returncode == 0, (command, done.stdout, done.stderr)

    data = folder / "data"
    run(programs / "initdb", "-D", data, "-A", "trust", "-U", "frusta", "-E", "UTF8", "--no-sync")
    options = f"-p {port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={folder} -c fsync=off"
    run(programs / "pg_ctl", "-D", data, "-l", folder / "log", "-w", "-o", options, "start")
    try:
        yield f"postgresql+psycopg://frusta@127.0.0.1:{port}/postgres"
    finally:
        run(programs / "pg_ctl", "-D", data, "-m", "immediate", "-w", "stop")
        shutil.rmtree(folder)
