"""Edits of a package's tables from the page: checked before, written whole, taken back with one key."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from frusta.bench.tables import edit_table
from frusta.campaign.appending import with_rows
from frusta.campaign.atomic import write_atomically
from frusta.campaign.one_writer import one_writer
from frusta.campaign.package import Package
from frusta.campaign.rows import TABLES
from frusta.campaign.spreadsheet import RawTable
from frusta.campaign.table_fault import refuse
from frusta.campaign.tables import typed
from frusta.errors import PackageError, ParameterError

MOST_STEPS = 100


@dataclass(frozen=True)
class Step:
    """One edit that can be taken back."""

    said: str
    path: Path
    before: bytes | None
    after: bytes | None


@dataclass
class Edits:
    """Edits of one package, the last one last."""

    steps: list[Step] = field(default_factory=list)
    lock: threading.RLock = field(default_factory=threading.RLock, repr=False)

    def put(self, package: Package, root: Path, table: str, cells: Mapping[str, str], said: str) -> None:
        """Put a row into a table by its key; only the cells given change.

        Parameters
        ----------
        package : Package
            For what the row's links must name.
        root : Path
        table : str
        cells : mapping of str to str
            By column; an empty text empties the cell.
        said : str
            What was done, for the undo.

        Raises
        ------
        ParameterError
            If there is no such table, or a column is none of its.
        PackageError
            If the row would be at fault: column, what must hold, what came.
        """
        key = str(TABLES[_known(table)].KEY)
        with self.lock:
            held = getattr(package, table, {})
            row = held.get(cells.get(key, "")) if isinstance(held, dict) else None
            if table == "campaign":
                row = package.campaign
            whole = {} if row is None else _cells_of(row)
            check_row(package, table, {**whole, **cells})
            self._do(root, table, said, lambda: edit_table(root, table, [dict(cells)]))

    def append(self, package: Package, root: Path, table: str, cells: Mapping[str, str], said: str) -> None:
        """Add a row to a table without keys; raises as `put`."""
        _known(table)
        with self.lock:
            check_row(package, table, cells)
            path = root / f"{table}.csv"
            with one_writer(root):
                self._do(root, table, said, lambda: bool(write_atomically(path, with_rows(root, table, [dict(cells)]))))

    def change(self, root: Path, table: str, said: str, make: Callable[[], bool]) -> None:
        """Let a table be changed by what another part of frusta writes, and remember how that is taken back.

        Parameters
        ----------
        root : Path
        table : str
        said : str
            What was done, for the undo.
        make : callable
            Writes it, and returns whether anything changed.

        Raises
        ------
        ParameterError
            If there is no such table; and what ``make`` raises.
        """
        _known(table)
        with self.lock:
            self._do(root, table, said, make)

    def drop(self, root: Path, table: str, key: str, said: str) -> None:
        """Take a row out of a table."""
        _known(table)
        with self.lock:
            self._do(root, table, said, lambda: edit_table(root, table, (), [key]))

    def undo(self) -> str:
        """Take the last edit back and return what it was.

        Raises
        ------
        ParameterError
            If there is none.
        PackageError
            If the table was changed elsewhere in the meantime; nothing is done.
        """
        with self.lock:
            if not self.steps:
                raise ParameterError("there is no change left to take back; this is how the tables were opened")
            step = self.steps[-1]
            if _bytes(step.path) != step.after:
                raise PackageError(
                    f"{step.path.name} was changed elsewhere since ({step.said}); take that change back there first"
                )
            if step.before is None:
                step.path.unlink(missing_ok=True)
            else:
                write_atomically(step.path, step.before)
            self.steps.pop()
            return step.said

    def _do(self, root: Path, table: str, said: str, change: Callable[[], bool]) -> None:
        path = root / f"{table}.csv"
        before = _bytes(path)
        if change():
            self.steps.append(Step(said, path, before, _bytes(path)))
            del self.steps[:-MOST_STEPS]


def check_row(package: Package, table: str, cells: Mapping[str, str]) -> None:
    """Refuse a row that would be at fault.

    Raises
    ------
    ParameterError
        If a column is none of the table's.
    PackageError
        If a cell is not what its column holds, or names what is not there.
    """
    model = TABLES[_known(table)]
    filled = {c: v.strip() for c, v in cells.items() if v.strip()}
    raw = RawTable(tuple(filled), (tuple(filled.values()),), (1,))
    refuse(typed(model, raw).faults)
    for column, linked in model.LINKS.items():
        value = filled.get(column)
        if value and value not in getattr(package, linked):
            raise PackageError(f"{column} must name a row of {linked}.csv (got {value}); add it there first")


def _known(table: str) -> str:
    if table not in TABLES:
        raise ParameterError(f"there is no table {table[:40]!r}; use one of {', '.join(TABLES)}")
    return table


def _cells_of(row: object) -> dict[str, str]:
    from frusta.campaign.tables import cell_text

    values = row.model_dump()  # type: ignore[attr-defined]
    return {name: cell_text(value) for name, value in values.items() if value is not None}


def _bytes(path: Path) -> bytes | None:
    return path.read_bytes() if path.exists() else None
