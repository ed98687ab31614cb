"""Bring a package's tables in line with the bench's state; doing it twice changes nothing the second time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from frusta.bench.steps import State, TakeMade
from frusta.campaign.atomic import write_atomically
from frusta.campaign.one_writer import one_writer
from frusta.campaign.rows import TABLES
from frusta.campaign.spreadsheet import RawTable, read_raw, write_raw
from frusta.campaign.table_fault import refuse
from frusta.campaign.tables import kind_of_column, plain_number

Cells = dict[str, str]


def edit_table(
    root: Path,
    table: str,
    put: Sequence[Mapping[str, str]] = (),
    drop: Sequence[str] = (),
) -> bool:
    """Put rows into a table by key, or take them out; all other cells stay as they are.

    Parameters
    ----------
    root : Path
        Folder of the package.
    table : str
        A table whose rows have a key; made if absent.
    put : sequence of mapping
        Cells by column; of a row that is there only these cells change, a new one goes to the end.
    drop : sequence of str
        Keys of rows to take out.

    Returns
    -------
    bool
        Whether the file changed.

    Raises
    ------
    PackageError
        If the table cannot be read.
    OutputError
        If it cannot be written; it is then as it was.
    """
    with one_writer(root):
        return _edit(root, table, put, drop)


def _edit(root: Path, table: str, put: Sequence[Mapping[str, str]], drop: Sequence[str]) -> bool:
    model = TABLES[table]
    key = str(model.KEY)
    path = root / f"{table}.csv"
    old = path.read_bytes() if path.exists() else b""
    raw = read_raw(table, old, tuple(model.model_fields)) if old else RawTable((), (), ())
    refuse(raw.faults)
    rows = [
        {c: _plain(table, c, cell, raw.separator) for c, cell in zip(raw.header, cells, strict=True)}
        for cells in raw.rows
    ]
    kept = [row for row in rows if row.get(key) not in drop]
    by_key = {row.get(key): row for row in kept}
    changed = len(kept) < len(rows)
    for cells in put:
        row = by_key.get(cells[key])
        if row is None:
            row = {}
            kept.append(row)
            by_key[cells[key]] = row
        changed = changed or any(row.get(c, "") != v for c, v in cells.items())
        row.update(cells)
    if not changed:
        return False
    needed = [n for n, f in model.model_fields.items() if f.is_required()]
    columns = dict.fromkeys([*raw.header, *needed, *(c for row in kept for c in row)])
    write_atomically(path, write_raw(list(columns), [[row.get(c, "") for c in columns] for row in kept]))
    return True


def bring_in_line(
    root: Path, state: State, channels: Mapping[str, str], sweep: str, before: State | None = None
) -> bool:
    """Write the kept takes and the masses of a sitting into takes.csv and specimens.csv.

    Only what changed since ``before`` is written: a take that was set aside in the table in the meantime, or a cell
    that was corrected there, stays as the maker left it.

    Parameters
    ----------
    root : Path
        Folder of the package.
    state : State
        Of the bench.
    channels : mapping of str to str
        microphone_channel and, where there are, reference_channel and current_channel.
    sweep : str
        Key of the sweep.
    before : State, optional
        What the tables were last brought in line with; all of the sitting is written where it is not known.

    Returns
    -------
    bool
        Whether there was anything to write.
    """
    known = () if before is None else before.kept
    put = [take_row(take, state.session, channels, sweep) for take in state.kept_takes if take.take not in known]
    gone = [take.take for take in state.made if take.take not in state.kept]
    drop = [take for take in gone if before is None or take in known]
    if put or drop:
        edit_table(root, "takes", put, drop)
    masses = [
        {"specimen": name, column: unweighed if mass_g is None else _number(mass_g)}
        for name, (column, mass_g, unweighed) in state.masses.items()
        if before is None or before.masses.get(name) != state.masses[name]
    ]
    if masses:
        edit_table(root, "specimens", masses)
    return bool(put or drop or masses)


def take_row(take: TakeMade, session: str, channels: Mapping[str, str], sweep: str) -> Cells:
    """Return the row of a kept take."""
    return {
        "take": take.take,
        "specimen": take.turn.specimen,
        "session": session,
        "sweep": sweep,
        "seating": str(take.turn.seating),
        "recording": take.recording,
        "recording_is": "sweep",
        **channels,
        "drive_gain_db": _number(take.drive_gain_db),
        "taken_at": take.taken_at,
    }


def _number(value: float) -> str:
    return f"{value:.4f}".rstrip("0").rstrip(".") or "0"


def _plain(table: str, column: str, cell: str, separator: str) -> str:
    """A cell with a decimal point where its column holds numbers."""
    model = TABLES[table]
    if column in model.model_fields and kind_of_column(model, column) in ("number", "whole"):
        return plain_number(cell, separator) or cell
    return cell
