"""Killing the bench at any moment leaves a package that `check` accepts, with every take that was said to be kept.

Oracle: the package itself after each SIGKILL, held against what the process had said before it died; at the end every
turn was recorded once. Seen red: with the row of takes.csv not written before the word "kept", and with the tables
written in place instead of beside.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

KILLS = 56


def test_nothing_is_lost_however_often_the_bench_is_killed(tmp_path):
    program = Path(__file__).with_name("kill_loop.py")
    environment = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    done = subprocess.run(
        [sys.executable, str(program), str(tmp_path), str(KILLS), "11"],
        env=environment,
        capture_output=True,
        text=True,
        timeout=280,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    told = json.loads(done.stdout)
    assert told["problems"] == []
    assert told["kills"] >= 50
    assert len(told["after"]) >= 4, "the kills must fall into different steps"
