"""One map: same results for any number of cores, progress, errors passed on."""

from __future__ import annotations

import subprocess
import sys
import textwrap

import numpy as np
import pytest

from frusta.campaign.parallel import map_batches, single_threaded
from frusta.errors import ParameterError


def test_serial_and_parallel_are_one_to_the_last_bit():
    items = [np.linspace(0, 1, 200_000 + k) for k in range(5)]
    one, two = (map_batches(np.linalg.norm, items, cores) for cores in (1, 2))
    assert one == two
    assert one == pytest.approx([np.sqrt(np.sum(x**2)) for x in items], rel=1e-12)


def test_progress_begins_at_nothing_and_ends_at_all():
    seen = []
    map_batches(abs, [-1, -2, -3], cores=1, progress=lambda done, total: seen.append((done, total)))
    assert seen[0] == (0, 3)
    assert seen[-1] == (3, 3)


def test_an_error_reaches_the_caller():
    with pytest.raises(TypeError, match="bad operand"):
        map_batches(abs, [1, "text", 2], cores=2)


def test_nothing_to_do():
    assert map_batches(abs, [], cores=2) == []


def test_no_cores_are_refused():
    with pytest.raises(ParameterError, match="cores must be at least 1"):
        map_batches(abs, [1], cores=0)


def test_a_script_without_a_guard_is_not_run_again(tmp_path):
    script = tmp_path / "script.py"
    script.write_text(
        textwrap.dedent("""
        from frusta.campaign.parallel import map_batches
        print("once")
        print(map_batches(abs, [-1, -2, -3], cores=2))
        """)
    )
    done = subprocess.run([sys.executable, str(script)], capture_output=True, text=True, timeout=60, check=True)
    assert done.stdout.split("\n")[:2] == ["once", "[1, 2, 3]"]


def test_single_thread_is_read_from_the_environment(monkeypatch):
    monkeypatch.delenv("OPENBLAS_NUM_THREADS", raising=False)
    monkeypatch.setenv("OMP_NUM_THREADS", "1")
    assert single_threaded()
    monkeypatch.setenv("OPENBLAS_NUM_THREADS", "4")
    assert not single_threaded()
