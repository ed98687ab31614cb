"""Append rows to a table of a package; what is there keeps its columns, its order and its words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from frusta.campaign.rows import TABLES
from frusta.campaign.spreadsheet import RawTable, read_raw, write_raw
from frusta.campaign.table_fault import refuse
from frusta.campaign.tables import kind_of_column, plain_number


def with_rows(root: Path, table: str, rows: Sequence[Mapping[str, str]]) -> bytes:
    """Return a table's file with rows appended, as plain CSV.

    Parameters
    ----------
    root : Path
        The folder of the package; the table may be absent.
    table : str
        Its name.
    rows : sequence of mapping of str to str
        Cells by column; columns that are new are added at the right.

    Raises
    ------
    PackageError
        If the table that is there cannot be read.
    """
    model = TABLES[table]
    path = root / f"{table}.csv"
    raw = RawTable((), (), ())
    if path.exists():
        raw = read_raw(table, path.read_bytes(), tuple(model.model_fields))
        refuse(raw.faults)
    needed = [n for n, f in model.model_fields.items() if f.is_required()]
    columns = dict.fromkeys([*raw.header, *needed, *(c for row in rows for c in row)])
    old = [
        {c: _plain(table, c, cell, raw.separator) for c, cell in zip(raw.header, cells, strict=True)}
        for cells in raw.rows
    ]
    return write_raw(list(columns), [[row.get(c, "") for c in columns] for row in [*old, *rows]])


def _plain(table: str, column: str, cell: str, separator: str) -> str:
    """A cell with a decimal point where its column holds numbers."""
    model = TABLES[table]
    if column in model.model_fields and kind_of_column(model, column) in ("number", "whole"):
        return plain_number(cell, separator) or cell
    return cell
