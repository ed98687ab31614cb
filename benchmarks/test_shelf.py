"""A shelf of 10,000 takes: list, filter, compare; and the rate at which a shelf is analysed anew.

Guards are ratios: against the same question to a shelf a tenth as large, and against plain reading of the same rows.
Times are printed, and stand in docs/hard-use.md with the machine they were measured on.
"""

from __future__ import annotations

import sqlite3

import pytest
from large_shelf import TAKES, make_shelf
from ratio import Ratio, compare, least_s, say

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
