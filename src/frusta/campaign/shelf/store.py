"""The shelf itself: packages put on it, found again, and given back."""

from __future__ import annotations

import json
import re
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

from pydantic import ValidationError
from sqlalchemy import Connection, Table, and_, delete, func, insert, select, update

from frusta.campaign.datapackage import faults_of_description
from frusta.campaign.exporting import export_package
from frusta.campaign.findings import Findings
from frusta.campaign.package import Package, is_inside, open_package
from frusta.campaign.rows import SLUG_PATTERN, TABLES
from frusta.campaign.shelf.blobs import keep, place_of, sha256_of
from frusta.campaign.shelf.conflicts import Conflict, merge
from frusta.campaign.shelf.contents import Cells, Contents, contents_of
from frusta.campaign.shelf.database import Database
from frusta.campaign.shelf.schema import ANALYSES, ENTRIES, FILES, METADATA, MODES, READINGS, ROWS
from frusta.campaign.table_fault import refuse
from frusta.campaign.tables import write_table
from frusta.errors import PackageError, ParameterError

Outcome = Literal["new", "same", "changed", "conflict"]


@dataclass(frozen=True)
class Added:
    """What came of putting a package on the shelf.

    Attributes
    ----------
    entry : str
        Its name there.
    outcome : {"new", "same", "changed", "conflict"}
        A conflict leaves the shelf as it was.
    added : tuple of str
        Rows and files that joined an entry that was there.
    conflicts : tuple of Conflict
        Still to be chosen.
    """

    entry: str
    outcome: Outcome
    added: tuple[str, ...] = ()
    conflicts: tuple[Conflict, ...] = ()


@dataclass(frozen=True)
class Entry:
    """A package on the shelf, in short.

    Attributes
    ----------
    entry, title, source, added_at, changed_at : str
    takes, specimens : int
    analysed_by : str or None
        The version whose findings are of what it holds now.
    """

    entry: str
    title: str
    source: str
    added_at: str
    changed_at: str
    takes: int
    specimens: int
    analysed_by: str | None


class Shelf:
    """The lifetime store.

    Parameters
    ----------
    place, files : optional
        See `frusta.campaign.shelf.database.Database`.
    now : callable, optional
        Gives the time that is noted; for tests.

    Examples
    --------
    ::

        shelf = Shelf("shelf.sqlite")
        shelf.add("three-birds")
        shelf.export("three-birds", "copy.zip")
    """

    def __init__(
        self,
        place: Path | str | None = None,
        files: Path | str | None = None,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        self.database = Database(place, files)
        self._now = now

    def add(self, path: Path | str, name: str | None = None, choices: Mapping[str, str] | None = None) -> Added:
        """Put a package on the shelf; the same package twice changes nothing.

        Parameters
        ----------
        path : Path or str
            Folder or zip.
        name : str, optional
            What to call it; the campaign's own key unless told.
        choices : mapping of str to {"shelf", "package"}, optional
            Which side to take where an entry of that name differs; see `frusta.campaign.shelf.conflicts.merge`.

        Returns
        -------
        Added

        Raises
        ------
        PackageError
            If the package cannot be read, or a file is not what its datapackage.json says; the shelf is untouched.
        ParameterError
            If the name is no key, or a choice fits no conflict.
        OutputError
            If the shelf cannot be written.
        """
        package = open_package(path)
        refuse(tuple(faults_of_description(package.root)))
        entry = _checked_name(name or package.campaign.campaign)
        contents, paths = contents_of(package)
        for file, (sha256, _) in contents.files.items():
            keep(self.database.files, paths[file], sha256)
        with self.database.write() as connection:
            held = self._contents(connection, entry)
            if held is None:
                self._put(connection, entry, contents, str(package.source.absolute()), new=True)
                return Added(entry, "new")
            if held.content == contents.content:
                return Added(entry, "same")
            merged = merge(held, contents, choices or {})
            if merged.open:
                return Added(entry, "conflict", merged.added, merged.open)
            if merged.merged.content == held.content:
                return Added(entry, "same")
            self._put(connection, entry, merged.merged, str(package.source.absolute()), new=False)
            return Added(entry, "changed", merged.added)

    def entries(self) -> list[Entry]:
        """Return what is on the shelf, by name."""
        with self.database.read() as connection:
            rows = connection.execute(select(ENTRIES).order_by(ENTRIES.c.entry)).mappings().all()
            analysed = {(r.entry, r.content): r.made_by for r in connection.execute(select(ANALYSES))}
            titles = {r.entry: r.title for r in connection.execute(select(ROWS["campaign"]))}
            counts = {table: _counts(connection, ROWS[table]) for table in ("takes", "specimens")}
        return [
            Entry(
                row["entry"],
                titles.get(row["entry"], ""),
                row["source"],
                row["added_at"],
                row["changed_at"],
                counts["takes"].get(row["entry"], 0),
                counts["specimens"].get(row["entry"], 0),
                analysed.get((row["entry"], row["content"])),
            )
            for row in rows
        ]

    def contents(self, entry: str) -> Contents:
        """Return an entry's rows and files.

        Raises
        ------
        ParameterError
            If there is no such entry.
        """
        with self.database.read() as connection:
            held = self._contents(connection, entry)
        if held is None:
            raise self._missing(entry)
        return held

    def remove(self, entry: str) -> None:
        """Take an entry off the shelf; its files stay until `sweep_files`."""
        self.contents(entry)
        with self.database.write() as connection:
            self._clear(connection, entry)
            connection.execute(delete(ENTRIES).where(ENTRIES.c.entry == entry))

    def open(self, entry: str, folder: Path, *, tables_only: bool = False) -> Package:
        """Lay an entry out as a package in a folder and open it.

        Parameters
        ----------
        entry : str
        folder : Path
            Empty.
        tables_only : bool
            Leave recordings out, where findings are at hand and only the tables are asked.

        Raises
        ------
        PackageError
            If a file of the shelf is missing or is not what its hash says.
        """
        contents = self.contents(entry)
        for table, rows in contents.rows.items():
            model = TABLES[table]
            (folder / f"{table}.csv").write_bytes(write_table(model, [model.model_validate(row) for row in rows]))
        for path, (sha256, _) in () if tables_only else contents.files.items():
            source = place_of(self.database.files, sha256)
            if not source.exists() or sha256_of(source) != sha256:
                raise PackageError(
                    f"{entry}, {path}: must be in {self.database.files} as it was taken in (it is "
                    f"{'damaged' if source.exists() else 'missing'}); restore a backup or add the package again"
                )
            if not is_inside(path):
                raise PackageError(
                    f"{entry}, {path!a}: must lie inside its package; remove the entry, its shelf is broken"
                )
            target = folder / path
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(source.read_bytes())
        return open_package(folder)

    def export(self, entry: str, out: Path | str) -> Path:
        """Give an entry back as a package that analyses to the same findings.

        Parameters
        ----------
        entry : str
        out : Path or str
            ``NAME.zip`` or a folder.
        """
        with tempfile.TemporaryDirectory(prefix="frusta-shelf-") as place:
            return export_package(self.open(entry, Path(place).resolve()), out)

    def findings(self, entry: str) -> Findings | None:
        """Return the findings of what an entry holds now, or None if it was not analysed since it changed.

        Raises
        ------
        ParameterError
            If there is no such entry.
        """
        of_now = and_(ANALYSES.c.entry == ENTRIES.c.entry, ANALYSES.c.content == ENTRIES.c.content)
        query = select(ENTRIES.c.entry, ANALYSES.c.findings).outerjoin(ANALYSES, of_now).where(ENTRIES.c.entry == entry)
        with self.database.read() as connection:
            row = connection.execute(query).first()
        if row is None:
            raise self._missing(entry)
        found = row.findings
        try:
            return Findings.model_validate_json(found) if found is not None else None
        except ValidationError:
            return None  # written by another version: analyse again

    def keep_findings(self, entry: str, content: str, findings: Findings) -> bool:
        """Keep an entry's findings unless it changed since they were begun.

        Parameters
        ----------
        entry : str
        content : str
            `Contents.content` of what was analysed.
        findings : Findings

        Returns
        -------
        bool
            Whether they were kept.
        """
        with self.database.write() as connection:
            held = self._contents(connection, entry)
            if held is None or held.content != content:
                return False
            for table in (ANALYSES, READINGS, MODES):
                connection.execute(delete(table).where(table.c.entry == entry))
            row = {"entry": entry, "content": content, "made_by": findings.made_by}
            connection.execute(insert(ANALYSES).values(**row, findings=findings.model_dump_json()))
            for table, items in ((READINGS, findings.readings), (MODES, findings.modes)):
                columns = [c.name for c in table.columns if c.name not in ("entry", "place")]
                _insert(
                    connection,
                    table,
                    [
                        {"entry": entry, "place": i, **{c: getattr(item, c) for c in columns}}
                        for i, item in enumerate(items)
                    ],
                )
            return True

    def close(self) -> None:
        """Let go of the database."""
        self.database.close()

    def _missing(self, entry: str) -> ParameterError:
        names = ", ".join(e.entry for e in self.entries()) or "none yet"
        return ParameterError(f"{entry}: must be on the shelf (there are: {names}); add it with frusta shelf add")

    def _contents(self, connection: Connection, entry: str) -> Contents | None:
        if connection.execute(select(ENTRIES.c.entry).where(ENTRIES.c.entry == entry)).first() is None:
            return None
        rows: dict[str, Sequence[Cells]] = {}
        for table, model in TABLES.items():
            store = ROWS[table]
            found = connection.execute(select(store).where(store.c.entry == entry).order_by(store.c.place)).mappings()
            known = [dict(row) for row in found]
            if known:
                rows[table] = [
                    {
                        **{n: row[n] for n in model.model_fields if row[n] is not None},
                        **_loaded(row["extra_columns"]),
                    }
                    for row in known
                ]
        held = connection.execute(select(FILES).where(FILES.c.entry == entry).order_by(FILES.c.path))
        return Contents(rows, {row.path: (row.sha256, row.size) for row in held})

    def _put(self, connection: Connection, entry: str, contents: Contents, source: str, *, new: bool) -> None:
        now = self._now().astimezone(UTC).isoformat(timespec="seconds")
        held = {"content": contents.content, "source": source, "changed_at": now}
        if new:
            connection.execute(insert(ENTRIES).values(entry=entry, added_at=now, **held))
        else:
            connection.execute(update(ENTRIES).where(ENTRIES.c.entry == entry).values(**held))
            self._clear(connection, entry)
        for table, rows in contents.rows.items():
            known = set(TABLES[table].model_fields)
            blank = dict.fromkeys(known)
            _insert(
                connection,
                ROWS[table],
                [
                    {
                        "entry": entry,
                        "place": place,
                        **blank,
                        **{k: v for k, v in row.items() if k in known},
                        "extra_columns": {k: v for k, v in row.items() if k not in known},
                    }
                    for place, row in enumerate(rows)
                ],
            )
        files = [{"entry": entry, "path": p, "sha256": h, "size": s} for p, (h, s) in contents.files.items()]
        _insert(connection, FILES, files)

    def _clear(self, connection: Connection, entry: str) -> None:
        for table in METADATA.sorted_tables:
            if table is not ENTRIES:
                connection.execute(delete(table).where(table.c.entry == entry))


def _counts(connection: Connection, table: Table) -> dict[str, int]:
    """How many rows of a table each entry has."""
    rows = connection.execute(select(table.c.entry, func.count()).group_by(table.c.entry))
    return {str(entry): int(count) for entry, count in rows}


def _insert(connection: Connection, table: Table, rows: Sequence[Mapping[str, Any]]) -> None:
    if rows:
        connection.execute(insert(table), list(rows))


def _loaded(extra: Any) -> dict[str, Any]:
    return dict(json.loads(extra)) if isinstance(extra, str) else dict(extra or {})


def _checked_name(name: str) -> str:
    if not re.fullmatch(SLUG_PATTERN, name):
        raise ParameterError(
            f"name must be a short key such as spring-2026 (got {name!r}); use a-z, 0-9, '.', '_', '-'"
        )
    return name
