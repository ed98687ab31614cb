"""The shelf analysed on a real cluster: a scheduler and two workers in processes of their own, one killed on the way.

Oracle: the findings of one machine, to the byte.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from shelf_helpers import free_port

from frusta.campaign.output import findings_json
from frusta.campaign.shelf.analysing import findings_of
from frusta.campaign.shelf.cluster import analyse_on_cluster
from frusta.errors import ParameterError

TAP = "c,fir-stick,,bench,,1,recordings/c.wav,tap,1,\n"


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """Address of a scheduler, and its two workers."""
    address = f"tcp://127.0.0.1:{free_port()}"
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "cwd": tmp_path}
    port = address.rpartition(":")[2]
    start = (sys.executable, "-m")
    environment = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    scheduler = subprocess.Popen(
        [
            sys.executable,
            "-m",
            "distributed.cli.dask_scheduler",
            "--host",
            "127.0.0.1",
            "--port",
            port,
            "--no-dashboard",
        ],
        env=environment,
        **quiet,
    )
    workers = [
        subprocess.Popen(
            [
                *start,
                "distributed.cli.dask_worker",
                address,
                "--nthreads",
                "1",
                "--no-nanny",
                "--no-dashboard",
                "--name",
                name,
            ],
            env=environment,
            **quiet,
        )
        for name in ("one", "two")
    ]
    try:
        yield address, workers
    finally:
        for process in (*workers, scheduler):
            process.kill()
            process.wait()


@pytest.mark.timeout(240)
def test_a_killed_worker_costs_nothing_but_time(cluster, shelf, maker_package, edit_table):
    address, workers = cluster
    edit_table(maker_package, "takes.csv", TAP, "")
    names = [f"jars-{n}" for n in range(4)]
    for name in names:
        shelf.add(maker_package, name)
    killed = []

    def kill_one(done: int, total: int) -> None:
        if done == 1 and not killed:
            killed.append(workers[0].pid)
            os.kill(workers[0].pid, signal.SIGKILL)

    result = analyse_on_cluster(shelf, address, progress=kill_one)
    assert killed
    assert result.done == tuple(names)
    assert result.failed == ()
    expected = findings_json(findings_of(shelf, names[0], cores=1))
    assert {findings_json(shelf.findings(name)) for name in names} == {expected}
    again = analyse_on_cluster(shelf, address)
    assert (again.done, again.fresh) == ((), tuple(names))


def test_a_scheduler_that_does_not_answer_is_told(shelf):
    begun = time.monotonic()
    with pytest.raises(ParameterError, match="must be the address of a scheduler that answers"):
        analyse_on_cluster(shelf, f"tcp://127.0.0.1:{free_port()}", wait_s=1)
    assert time.monotonic() - begun < 20
