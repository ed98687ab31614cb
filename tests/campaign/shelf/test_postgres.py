"""The same shelf on PostgreSQL: a real server, started for these tests.

Oracle: the package's own bytes, and the same rules as on SQLite.
"""

from __future__ import annotations

from pathlib import Path

from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from shelf_helpers import check_sum, two_writers, whole

from frusta.campaign.shelf.schema import METADATA
from frusta.campaign.shelf.searching import Wanted, search
from frusta.campaign.shelf.store import Shelf
from frusta.campaign.shelf.upgrade import VERSION_TABLE
from frusta.campaign.shelf.upkeep import back_up, check_shelf, restore


def test_a_shelf_on_a_server(postgres_url: str, tmp_path: Path, maker_package: Path, edit_table):
    shelf = two_writers(postgres_url, tmp_path / "files", maker_package)
    check_sum(shelf)
    with shelf.database.read() as connection:
        context = MigrationContext.configure(connection, opts={"version_table": VERSION_TABLE})
        assert compare_metadata(context, METADATA) == []
    assert whole(shelf.export("shared", tmp_path / "copy.zip")) == whole(maker_package)
    assert {f.take for f in search(shelf, Wanted(material="OAK", since="2026-05"))} == {"b"}
    assert {f.take for f in search(shelf, Wanted(event="anneal"))} == {"a"}
    edit_table(maker_package, "specimens.csv", "walls,st80,7.5", "walls,st80,7.6")
    assert [c.place for c in shelf.add(maker_package, "shared").conflicts] == ["specimens/fir-1/mass_g"]
    assert shelf.add(maker_package, "shared", {"all": "package"}).outcome == "changed"
    assert check_shelf(shelf) == []
    backup = back_up(shelf, tmp_path / "backup.zip")
    home = Shelf(tmp_path / "home.sqlite")
    assert restore(backup, home) == 9
    assert home.contents("shared").content == shelf.contents("shared").content
    home.close()
    for entry in shelf.entries():
        shelf.remove(entry.entry)
    assert shelf.entries() == []
    shelf.close()
