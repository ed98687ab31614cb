"""Bring a shelf's schema up to this version; a step that fails leaves the shelf as it was."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from alembic.migration import MigrationContext
from alembic.operations import Operations
from alembic.script import ScriptDirectory
from sqlalchemy import Connection

from frusta.errors import PackageError

VERSION_TABLE = "shelf_version"


def scripts() -> ScriptDirectory:
    """Return the steps, oldest first."""
    return ScriptDirectory(str(Path(__file__).parent / "migrations"))


def head() -> str:
    """Return the name of this version's schema."""
    return str(scripts().get_current_head())


def version_of(connection: Connection) -> str | None:
    """Return the name of a shelf's schema, None if it has none yet."""
    context = MigrationContext.configure(connection, opts={"version_table": VERSION_TABLE})
    return context.get_current_revision()


def upgrade(connection: Connection, to: str = "head") -> None:
    """Bring a shelf up, within the transaction of the connection: all steps or none, each with its record.

    Parameters
    ----------
    connection : Connection
        In a transaction that writes.
    to : str
        A schema's name, or ``head``.

    Raises
    ------
    PackageError
        If the shelf was made by a later frusta.
    """
    steps = scripts()
    now = version_of(connection)
    if now is not None and now not in {step.revision for step in steps.walk_revisions()}:
        raise PackageError(
            f"the shelf must be of this version of frusta or an older one (its schema is {now!r}, which this "
            "one does not know); upgrade frusta"
        )

    def missing(revision: Any, _context: MigrationContext) -> Any:
        return steps._upgrade_revs(to, revision)

    context = MigrationContext.configure(connection, opts={"version_table": VERSION_TABLE, "fn": missing})
    with Operations.context(context):
        context.run_migrations()
