"""Killing an import, a shelf add or a publication leaves what was there, and the job can be done again.

Oracle: after each SIGKILL `check` finds nothing, every take is byte for byte a source, a shelf holds one state or the
other, a report is whole or absent; and the job done again comes to its end. Seen red: an import killed between files
and rows could never be repeated. Recording is tried in tests/bench/test_killed.py; tools/kill_loop.py tries all for
long.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from frusta.campaign import atomic
from frusta.campaign.atomic import write_atomically, write_folder_atomically


@pytest.mark.parametrize(("job", "kills"), [("import", 20), ("shelf", 15), ("publish", 15)])
def test_a_killed_job_leaves_nothing_half_done(tmp_path, job, kills):
    program = Path(__file__).with_name("kill_jobs.py")
    environment = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "FRUSTA_CACHE": str(tmp_path)}
    done = subprocess.run(
        [sys.executable, str(program), job, str(tmp_path / "work"), str(kills), "3"],
        env=environment,
        capture_output=True,
        text=True,
        timeout=280,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    told = json.loads(done.stdout)
    assert told["problems"] == []
    assert told["kills"] >= kills
    assert told["moments"] >= 7, "there must be moments to be killed at"


def test_what_a_kill_left_beside_a_place_is_removed_once_it_is_old(tmp_path, monkeypatch):
    young, file, folder = (atomic.beside(tmp_path / name) for name in ("a.csv", "a.csv", "report"))
    other = tmp_path / ".b.csv.0123.part"
    for path in (young, file, other):
        path.write_bytes(b"half")
    folder.mkdir()
    (folder / "page").touch()
    for path in (file, folder, other):
        os.utime(path, (0, 0))
    write_atomically(tmp_path / "a.csv", b"whole")
    write_folder_atomically(tmp_path / "report", lambda part: (part / "page").write_text("whole"))
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted([young.name, other.name, "a.csv", "report"])
