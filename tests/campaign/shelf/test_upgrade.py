"""Shelves of every released schema come up to this one, and a failed step can be run again.

Oracles: dumps of shelves as those versions wrote them (`schemas/`), never edited; the schema in
`frusta.campaign.shelf.schema`, compared by alembic; the package's rows.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext

from frusta.campaign.rows import TABLES
from frusta.campaign.shelf.database import Database
from frusta.campaign.shelf.schema import METADATA, ROWS
from frusta.campaign.shelf.store import Shelf
from frusta.campaign.shelf.upgrade import VERSION_TABLE, head, scripts, version_of
from frusta.errors import OutputError, PackageError

DUMPS = sorted((Path(__file__).parent / "schemas").glob("*.sql"))


def old_shelf(dump: Path, place: Path) -> Path:
    with closing(sqlite3.connect(place)) as connection:
        connection.executescript(dump.read_text(encoding="utf-8"))
    return place


def differences(database: Database) -> list[object]:
    with database.read() as connection:
        context = MigrationContext.configure(connection, opts={"version_table": VERSION_TABLE})
        return list(compare_metadata(context, METADATA))


def test_every_released_schema_has_its_dump():
    released = {step.revision for step in scripts().walk_revisions()}
    assert {dump.stem for dump in DUMPS} == released


@pytest.mark.parametrize("dump", DUMPS, ids=lambda d: d.stem)
def test_an_old_shelf_comes_up_with_all_it_held(dump: Path, tmp_path):
    shelf = Shelf(old_shelf(dump, tmp_path / "old.sqlite"))
    assert differences(shelf.database) == []
    with shelf.database.read() as connection:
        assert version_of(connection) == head()
    assert [e.entry for e in shelf.entries()] == ["two-jars"]
    contents = shelf.contents("two-jars")
    assert [r["specimen"] for r in contents.rows["specimens"]] == ["fir-1", "oak-1", "oak-2", "fir-stick"]
    assert contents.rows["materials"][0]["colour"] == "green"
    with shelf.database.read() as connection:
        noted = connection.execute(METADATA.tables["entries"].select()).one().content
    assert contents.content == noted


def test_a_new_shelf_has_the_schema(tmp_path):
    assert differences(Database(tmp_path / "new.sqlite")) == []


def test_the_shelf_has_every_column_of_a_package():
    for name, model in TABLES.items():
        assert set(model.model_fields) < set(ROWS[name].c.keys())


def test_a_step_that_fails_changes_nothing_and_can_be_run_again(tmp_path):
    place = old_shelf(DUMPS[0], tmp_path / "old.sqlite")
    with closing(sqlite3.connect(place)) as connection:
        connection.execute("CREATE TABLE modes (in_the_way INTEGER)")
        connection.commit()
    with pytest.raises(OutputError, match="table modes already exists"):
        Shelf(place)
    with closing(sqlite3.connect(place)) as connection:
        tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        assert connection.execute(f"SELECT version_num FROM {VERSION_TABLE}").fetchall() == [(DUMPS[0].stem,)]
        assert "analyses" not in tables  # made before the step failed, and taken back
        connection.execute("DROP TABLE modes")
        connection.commit()
    shelf = Shelf(place)
    assert differences(shelf.database) == []
    assert shelf.entries()[0].specimens == 4


def test_a_shelf_of_a_later_version_is_left_alone(tmp_path):
    place = tmp_path / "later.sqlite"
    Shelf(place).close()
    with closing(sqlite3.connect(place)) as connection:
        connection.execute(f"UPDATE {VERSION_TABLE} SET version_num = '9999'")
        connection.commit()
    before = place.read_bytes()
    with pytest.raises(PackageError, match=r"'9999', which this one does not know.; upgrade frusta"):
        Shelf(place)
    assert place.read_bytes() == before
