"""A shelf of 10,000 takes: list, filter, compare; and the rate at which a shelf is analysed anew.

Guards are ratios: against the same question to a shelf a tenth as large, and against plain reading of the same rows.
Times are printed, and stand in docs/hard-use.md with the machine they were measured on.
"""

from __future__ import annotations

import os
import resource
import socket
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import distributed
import pytest
from large_shelf import TAKES, make_shelf
from ratio import Ratio, compare, least_s, say
from recorded_shelf import record_shelf

from frusta.campaign.output import findings_json
from frusta.campaign.shelf.analysing import Analysed, analyse_shelf
from frusta.campaign.shelf.cluster import analyse_on_cluster
from frusta.campaign.shelf.comparing import compare as compare_looks
from frusta.campaign.shelf.searching import Wanted, search
from frusta.campaign.shelf.store import Shelf

ENTRIES = 100
FILTERS = (
    Wanted(material="fern"),
    Wanted(specimen="cone-03", since="2024", until="2026-05"),
    Wanted(event="anneal"),
    Wanted(readings=("breakup_hz>3900", "snr_db>=50")),
    Wanted(material="pla", recipe="two", profile="st80", readings=("level_db<84",)),
)


@pytest.fixture(scope="module")
def shelves(tmp_path_factory) -> tuple[Shelf, Shelf]:
    """A large shelf and one a tenth as large."""
    return tuple(make_shelf(tmp_path_factory.mktemp(str(n)), n) for n in (ENTRIES, ENTRIES // 10))  # type: ignore[return-value]


def _plain(shelf: Shelf) -> int:
    """Every take with its reading, read by hand without a question."""
    connection = sqlite3.connect(str(shelf.database.url.database))
    query = (
        "select t.entry, t.take, t.specimen, r.breakup_hz, r.level_db from rows_takes t "
        "join readings r on r.entry = t.entry and r.take = t.take"
    )
    rows = connection.execute(query).fetchall()
    connection.close()
    return len(rows)


def test_listing_ten_thousand_takes(shelves):
    large, small = shelves
    entries = large.entries()
    assert sum(e.takes for e in entries) == ENTRIES * TAKES == 10_000
    ratio = Ratio(least_s(large.entries), least_s(small.entries))
    print(
        f"\nlist of {ENTRIES} campaigns: {1e3 * ratio.ours_s:.0f} ms; of {ENTRIES // 10}: {1e3 * ratio.other_s:.0f} ms"
    )
    assert ratio.times_faster > 1 / 20, "twice as long as the tenfold of rows explains"


@pytest.mark.parametrize("wanted", FILTERS, ids=str)
def test_filtering_ten_thousand_takes(shelves, wanted):
    large = shelves[0]
    assert _plain(large) == 10_000
    found = search(large, wanted)
    assert 0 < len(found) < 10_000
    ratio = compare(lambda: search(large, wanted), lambda: _plain(large))
    say(f"{len(found)} of 10,000 takes", ratio, "reading all of them plainly")
    assert ratio.times_faster > 1 / 25, "a question must not cost more than some plain readings of everything"


def test_comparing_two_of_a_hundred_campaigns(shelves):
    large, small = (lambda s=s: compare_looks("campaign-003", "campaign-004", lambda: s) for s in shelves)
    assert len(large().specimens) >= 24
    ratio = compare(large, small, rounds=3)
    say(f"comparing two campaigns of {TAKES} takes", ratio, "on a shelf a tenth as large")
    assert ratio.times_faster > 1 / 3, "what is compared is two campaigns, however many there are"


def test_opening_a_shelf(shelves):
    """Nothing that is done before a question depends on how much there is."""
    places = [str(s.database.url.database) for s in shelves]

    def opened(place: str) -> None:
        Shelf(place).close()

    ratio = compare(lambda: opened(places[0]), lambda: opened(places[1]))
    say("opening the shelf", ratio, "a tenth as large")
    assert ratio.times_faster > 1 / 3


CAMPAIGNS, EACH = 8, 20


@contextmanager
def two_workers(folder: Path) -> Iterator[str]:
    """A dask scheduler and two workers in processes of their own; gives the address."""
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        port = held.getsockname()[1]
    address = f"tcp://127.0.0.1:{port}"
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "cwd": folder}
    environment = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    run = [sys.executable, "-m"]
    scheduler = [*run, "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", str(port), "--no-dashboard"]
    worker = [*run, "distributed.cli.dask_worker", address, "--nthreads", "1", "--no-nanny", "--no-dashboard"]
    running = [subprocess.Popen(c, env=environment, **quiet) for c in (scheduler, worker, worker)]
    try:
        with distributed.Client(address, timeout=60, set_as_default=False) as client:
            client.wait_for_workers(2, timeout=60)
        yield address
    finally:
        for process in running[::-1]:
            process.terminate()
            process.wait(60)


def _processor_s() -> float:
    """Processor time of this process and of those of its children that have ended, s."""
    spent = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(usage.ru_utime + usage.ru_stime for usage in spent)


def test_analysing_a_shelf_anew(tmp_path):
    """One core, two cores, two dask workers: the same findings, and little processor time beyond that of one.

    Processor time does not depend on what else the machine does; what it allows is the scaling, and the time by the
    clock is printed beside it.
    """
    shelf = record_shelf(tmp_path, CAMPAIGNS, EACH)
    takes = CAMPAIGNS * EACH
    clock_s: dict[str, float] = {}
    spent_s: dict[str, float] = {}
    found: dict[str, list[bytes]] = {}

    @contextmanager
    def measured(what: str) -> Iterator[Callable[[Callable[[], Analysed]], None]]:
        before = _processor_s()

        def run(analyse: Callable[[], Analysed]) -> None:
            begun = time.perf_counter()
            assert len(analyse().done) == CAMPAIGNS
            clock_s[what] = time.perf_counter() - begun
            found[what] = [findings_json(shelf.findings(f"c{n}")) for n in range(CAMPAIGNS)]  # type: ignore[arg-type]

        yield run
        spent_s[what] = _processor_s() - before

    with measured("one core") as run:
        run(lambda: analyse_shelf(shelf, anew=True, cores=1))
    with measured("two cores") as run:
        run(lambda: analyse_shelf(shelf, anew=True, cores=2))
    with measured("two dask workers") as run, two_workers(tmp_path) as address:
        run(lambda: analyse_on_cluster(shelf, address, anew=True, wait_s=60))
    assert found["one core"] == found["two cores"] == found["two dask workers"]
    for what, taken_s in clock_s.items():
        more = spent_s[what] / spent_s["one core"]
        print(
            f"\n{what}: {takes / taken_s:.1f} takes a second by the clock, {more:.2f} times the processor time of one"
        )
    assert spent_s["two cores"] < 1.6 * spent_s["one core"], "starting two processes must stay a part of the work"
    assert spent_s["two dask workers"] < 3.0 * spent_s["one core"], "a scheduler and two workers start, once"
