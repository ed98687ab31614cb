"""Where the shelf is kept, and how it is read and written: many readers, one writer at a time."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import platformdirs
from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError
from sqlalchemy.pool import NullPool

from frusta.campaign.shelf.upgrade import head, upgrade, version_of
from frusta.errors import OutputError, PackageError, ParameterError

WAIT_S = 60
"""How long a writer waits for another to finish."""

_ONE_WRITER = 0x66727573
"""Key of the advisory lock that writers of a shared database take; the letters frus."""


def default_place() -> Path:
    """Return where the shelf is kept unless told otherwise: FRUSTA_SHELF, else the user's data folder."""
    told = os.environ.get("FRUSTA_SHELF")
    return Path(told) if told else Path(platformdirs.user_data_dir("frusta", appauthor=False)) / "shelf.sqlite"


class Database:
    """A shelf's database, opened and brought up to date.

    Parameters
    ----------
    place : Path or str, optional
        File of an SQLite database, or any SQLAlchemy URL; made if absent.
    files : Path or str, optional
        Folder of the recordings; beside the file, or in the user's data folder for a server.

    Raises
    ------
    ParameterError
        If the URL cannot be understood or its driver is missing.
    OutputError
        If it cannot be opened or written.
    PackageError
        If it is no shelf, or one of a later frusta.
    """

    def __init__(self, place: Path | str | None = None, files: Path | str | None = None) -> None:
        url = _url(place if place is not None else os.environ.get("FRUSTA_SHELF") or default_place())
        self.url = url
        self.sqlite = url.get_backend_name() == "sqlite"
        self.files = Path(files) if files is not None else _files_beside(url)
        self.engine = _engine(url, self.sqlite)
        self._bring_up()

    def _bring_up(self) -> None:
        with self.read() as connection:
            current = version_of(connection)
        if current != head():
            with self.write() as connection:
                upgrade(connection)

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """Give a connection that sees one state of the shelf."""
        with _told(self.url), self.engine.connect() as connection, connection.begin():
            yield connection

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """Give the one connection that may write; all of it is kept at the end, or none after an error."""
        with _told(self.url), self.engine.connect() as connection:
            writer = connection.execution_options(frusta_writes=True)
            with writer.begin():
                if writer.dialect.name == "postgresql":
                    writer.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _ONE_WRITER})
                yield writer

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()


def _url(place: Path | str) -> URL:
    words = str(place)
    if "://" not in words:
        path = Path(words).expanduser().absolute()
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise OutputError(
                f"{path.parent}: must be a folder that can be written ({error.strerror}); name another with --shelf"
            ) from error
        return URL.create("sqlite", database=str(path))
    try:
        return make_url(words)
    except ArgumentError as error:
        raise ParameterError(f"--shelf must be a file or a database URL (got {words!r}); {error}") from error


def _files_beside(url: URL) -> Path:
    if url.get_backend_name() == "sqlite" and url.database:
        path = Path(url.database)
        return path.with_name(path.name + "-files")
    return Path(platformdirs.user_data_dir("frusta", appauthor=False)) / "shelf-files"


def _engine(url: URL, sqlite: bool) -> Engine:
    try:
        if not sqlite:
            return create_engine(url, poolclass=NullPool)
        engine = create_engine(url, poolclass=NullPool, connect_args={"timeout": WAIT_S})
    except (ModuleNotFoundError, NoSuchModuleError) as error:
        raise ParameterError(
            f"{url.render_as_string()}: needs a driver that is not installed ({error}); install it, as psycopg for "
            "postgresql+psycopg://"
        ) from error
    event.listen(engine, "connect", _sqlite_connected)
    event.listen(engine, "begin", _sqlite_begun)
    return engine


def _sqlite_connected(connection: Any, _record: Any) -> None:
    """Let SQLAlchemy begin transactions itself; log ahead, so that readers go on while one writes."""
    connection.isolation_level = None
    cursor = connection.cursor()
    cursor.execute("PRAGMA journal_mode=WAL")
    cursor.execute("PRAGMA foreign_keys=ON")
    cursor.execute("PRAGMA synchronous=FULL")
    cursor.close()


def _sqlite_begun(connection: Connection) -> None:
    writes = connection.get_execution_options().get("frusta_writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


@contextmanager
def _told(url: URL) -> Iterator[None]:
    """Turn the driver's errors to one clear line."""
    try:
        yield
    except DBAPIError as error:
        words = str(error.orig).strip().splitlines()[0] if str(error.orig).strip() else type(error.orig).__name__
        where = url.render_as_string()
        if "not a database" in words or "malformed" in words:
            raise PackageError(f"{where}: must be a shelf ({words}); name another file or restore a backup") from error
        raise OutputError(f"{where}: must be a database that can be read and written ({words})") from error
