"""Keep a shelf sound: integrity check, backup, restore, and files that nothing names any more."""

from __future__ import annotations

import json
import os
import re
import tempfile
import zipfile
import zlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, BinaryIO

from sqlalchemy import delete, insert, select, text

from frusta.campaign.atomic import write_atomically
from frusta.campaign.package import is_inside
from frusta.campaign.shelf.blobs import keep, place_of, sha256_of
from frusta.campaign.shelf.schema import FILES, METADATA
from frusta.campaign.shelf.store import Shelf
from frusta.campaign.shelf.upgrade import head
from frusta.errors import PackageError, ParameterError

_BLOCK = 2**20
_FORMAT = "frusta-shelf-backup-1"
_LARGEST_ROWS = 2**30


def check_shelf(shelf: Shelf) -> list[str]:
    """Return everything wrong with a shelf, a line each; nothing is changed.

    Parameters
    ----------
    shelf : Shelf

    Returns
    -------
    list of str
        The database's own check (SQLite), every file against its hash, every entry's rows against its content hash
        and against the rules of a package's tables.
    """
    faults: list[str] = []
    with shelf.database.read() as connection:
        if shelf.database.sqlite:
            faults += [
                f"database: {row[0]}" for row in connection.execute(text("PRAGMA integrity_check")) if row[0] != "ok"
            ]
        files = connection.execute(select(FILES).order_by(FILES.c.entry, FILES.c.path)).all()
    sound: dict[str, str] = {}
    for row in files:
        if row.sha256 not in sound:
            sound[row.sha256] = _state(place_of(shelf.database.files, row.sha256), row.sha256)
        if sound[row.sha256]:
            faults.append(f"{row.entry}, {row.path}: the file is {sound[row.sha256]}; add its package again")
    for entry in shelf.entries():
        contents = shelf.contents(entry.entry)
        with shelf.database.read() as connection:
            noted = connection.execute(
                select(METADATA.tables["entries"].c.content).where(METADATA.tables["entries"].c.entry == entry.entry)
            ).scalar_one()
        if contents.content != noted:
            faults.append(f"{entry.entry}: its rows are not those that were put on the shelf; restore a backup")
    return faults


def _state(place: Path, sha256: str) -> str:
    if not place.exists():
        return "missing"
    return "" if sha256_of(place) == sha256 else "damaged"


def sweep_files(shelf: Shelf) -> int:
    """Remove files that no entry names, and return how many; nobody else can write meanwhile."""
    with shelf.database.write() as connection:
        named = set(connection.execute(select(FILES.c.sha256)).scalars())
        loose = [p for p in shelf.database.files.glob("??/*") if p.is_file() and p.name not in named]
        for path in loose:
            path.unlink()
    return len(loose)


def back_up(shelf: Shelf, out: Path | str) -> Path:
    """Write the whole shelf, rows and files, to one zip that any database can be restored from.

    Parameters
    ----------
    shelf : Shelf
        May be written by others meanwhile: the backup holds one state.
    out : Path or str

    Raises
    ------
    PackageError
        If a file is missing or damaged.
    OutputError
        If it cannot be written; what was there is untouched.
    """
    rows: dict[str, list[dict[str, Any]]] = {}
    with shelf.database.read() as connection:
        for table in METADATA.sorted_tables:
            found = connection.execute(select(table).order_by(*table.primary_key.columns))
            rows[table.name] = [dict(row) for row in found.mappings()]

    def fill(file: BinaryIO) -> None:
        with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
            document = {"format": _FORMAT, "schema": head(), "tables": rows}
            archive.writestr("shelf.json", json.dumps(document, ensure_ascii=False))
            for sha256 in sorted({row["sha256"] for row in rows["files"]}):
                source = place_of(shelf.database.files, sha256)
                if state := _state(source, sha256):
                    raise PackageError(
                        f"{source}: is {state}, so the backup would not be whole; see frusta shelf check"
                    )
                archive.write(source, f"files/{sha256}", zipfile.ZIP_STORED)

    return write_atomically(out, fill)


def restore(backup: Path | str, shelf: Shelf) -> int:
    """Fill an empty shelf from a backup, and return the number of entries.

    Parameters
    ----------
    backup : Path or str
    shelf : Shelf
        Without entries: nothing is written over.

    Raises
    ------
    ParameterError
        If the shelf is not empty.
    PackageError
        If the backup cannot be read, is damaged, or was written by another schema.
    """
    if shelf.entries():
        raise ParameterError("restore needs an empty shelf (this one has entries); name a new place with --shelf")
    try:
        with zipfile.ZipFile(backup) as archive:
            rows = _checked_rows(_document(archive), backup)
            hashes = {row["sha256"] for row in rows["files"]}
            _restore_files(archive, sorted(hashes), shelf.database.files)
    except (OSError, zipfile.BadZipFile, zlib.error, KeyError, ValueError, RuntimeError) as error:
        raise PackageError(f"{backup}: must be a whole backup of a shelf ({error}); fetch it again") from error
    with shelf.database.write() as connection:
        for table in reversed(METADATA.sorted_tables):
            connection.execute(delete(table))
        for table in METADATA.sorted_tables:
            if rows[table.name]:
                connection.execute(insert(table), rows[table.name])
    return len(rows["entries"])


def _document(archive: zipfile.ZipFile) -> Any:
    """The backup's rows; no more is unpacked than any shelf holds."""
    with archive.open("shelf.json") as file:
        data = file.read(_LARGEST_ROWS + 1)
    if len(data) > _LARGEST_ROWS:
        raise ValueError("its rows are larger than those of a shelf can be")
    return json.loads(data)


def _checked_rows(document: Any, backup: Path | str) -> dict[str, list[dict[str, Any]]]:
    """The rows by table, if they are what this version's backup writes and name files of a package only."""
    if not isinstance(document, dict):
        raise ValueError("it holds no rows")
    _checked(document, backup)
    rows: dict[str, list[dict[str, Any]]] = {}
    for table in METADATA.sorted_tables:
        held = document["tables"][table.name] if isinstance(document.get("tables"), dict) else None
        columns = {c.name for c in table.columns}
        if not isinstance(held, list) or not all(isinstance(r, dict) and r.keys() == columns for r in held):
            raise ValueError(f"its table {table.name} is not one of this version")
        rows[table.name] = held
    for row in rows["files"]:
        if not (isinstance(row["sha256"], str) and re.fullmatch("[0-9a-f]{64}", row["sha256"])):
            raise ValueError("a file has no SHA-256")
        if not (isinstance(row["path"], str) and is_inside(row["path"])):
            raise ValueError("a file lies outside its package")
    return rows


def _checked(document: Mapping[str, Any], backup: Path | str) -> None:
    if document.get("format") != _FORMAT or document.get("schema") != head():
        raise PackageError(
            f"{backup}: must be a backup of this version's shelf (schema {head()}, got {document.get('schema')}); "
            "restore it with the frusta that wrote it, then let this one upgrade the shelf"
        )


def _restore_files(archive: zipfile.ZipFile, hashes: list[str], folder: Path) -> None:
    for sha256 in hashes:
        with tempfile.NamedTemporaryFile(delete=False) as part, archive.open(f"files/{sha256}") as source:
            while block := source.read(_BLOCK):
                part.write(block)
        try:
            keep(folder, Path(part.name), sha256)
        finally:
            os.unlink(part.name)
