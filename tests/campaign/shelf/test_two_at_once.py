"""Two processes on one shelf: both get in, nothing is lost, readers are not held up.

Oracle: the sum of what each was asked to add.
"""

from __future__ import annotations

import pytest
from shelf_helpers import check_sum, two_writers
from sqlalchemy import select

from frusta.campaign.shelf.schema import ENTRIES
from frusta.campaign.shelf.store import Shelf


def test_two_processes_add_at_once_even_to_a_new_shelf(tmp_path, maker_package):
    check_sum(two_writers(str(tmp_path / "s.sqlite"), tmp_path / "files", maker_package))


def test_a_reader_sees_one_state_while_another_writes(shelf, maker_package):
    shelf.add(maker_package)
    other = Shelf(shelf.database.url.database, now=shelf._now)
    with shelf.database.read() as connection:
        before = connection.execute(select(ENTRIES.c.entry)).scalars().all()
        other.add(maker_package, "meanwhile")
        assert connection.execute(select(ENTRIES.c.entry)).scalars().all() == before
    assert len(other.entries()) == 2
    other.close()


def test_a_write_that_fails_leaves_nothing(shelf, maker_package, monkeypatch):
    def broken(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("frusta.campaign.shelf.store._insert", broken)
    with pytest.raises(KeyboardInterrupt):
        shelf.add(maker_package)
    assert shelf.entries() == []
