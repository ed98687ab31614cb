"""Links between the tables of a package: what one names, another must hold."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from typing import cast

from frusta.campaign.rows import TABLES, Row, Session, SweepRow, Take
from frusta.campaign.table_fault import TableFault
from frusta.campaign.tables import Table


def faults_of_links(tables: Mapping[str, Table[Row]]) -> list[TableFault]:
    """Return every link that leads nowhere, and what rows need beyond their own columns.

    Parameters
    ----------
    tables : mapping of str to Table
        Every table of `frusta.campaign.rows.TABLES`; absent ones empty.
    """
    faults = []
    for name, model in TABLES.items():
        for row, number in zip(tables[name].rows, tables[name].numbers, strict=True):
            for column, target in model.LINKS.items():
                key = getattr(row, column)
                held = tables[target]
                if held.faults and not held.keys:
                    continue  # a table that cannot be read is one fault, not one for each link to it
                if key is not None and key not in held.keys:
                    faults.append(_dangling(name, number, column, key, target, held))
    return faults + _faults_of_takes(tables) + _faults_of_sweeps(tables)


def _dangling(table: str, number: int, column: str, key: str, target: str, held: Table[Row]) -> TableFault:
    near = difflib.get_close_matches(key, sorted(held.keys), n=1, cutoff=0.7)
    remedy = f"did you mean {near[0]}?" if near else f"add it to {target}.csv or correct it"
    what = f"must name a row of {target}.csv (got {key!r}, which is not there)"
    return TableFault(table, number, column, "dangling link", what, remedy)


def _faults_of_takes(tables: Mapping[str, Table[Row]]) -> list[TableFault]:
    """A take needs a session or a rig that agree, and a sweep or a reference to divide by."""
    faults = []
    sessions = {s.session: s for s in cast("tuple[Session, ...]", tables["sessions"].rows)}
    for row, number in zip(tables["takes"].rows, tables["takes"].numbers, strict=True):
        take = cast("Take", row)
        if take.session is None and take.rig is None:
            faults.append(
                TableFault(
                    "takes",
                    number,
                    "session",
                    "empty cell",
                    "must be filled, or else rig (both are empty)",
                    "name the session, or the rig where there was none",
                    take.take,
                )
            )
        session = sessions.get(take.session) if take.session else None
        if session is not None and take.rig is not None and take.rig != session.rig:
            faults.append(
                TableFault(
                    "takes",
                    number,
                    "rig",
                    "contradiction",
                    f"must be the rig of its session, {session.rig} (got {take.rig!r})",
                    "leave it empty or correct the session",
                    take.take,
                )
            )
        if (take.recording_is or "sweep") == "sweep" and take.sweep is None and take.reference_channel is None:
            faults.append(
                TableFault(
                    "takes",
                    number,
                    "sweep",
                    "empty cell",
                    "must be filled for a recorded sweep without a reference channel (the cell is empty)",
                    "name the row of sweeps.csv, or say in recording_is what it is",
                    take.take,
                )
            )
    return faults


def _faults_of_sweeps(tables: Mapping[str, Table[Row]]) -> list[TableFault]:
    """A sweep is a file, or numbers enough to make it."""
    faults = []
    for row, number in zip(tables["sweeps"].rows, tables["sweeps"].numbers, strict=True):
        sweep = cast("SweepRow", row)
        if sweep.signal is None:
            faults += [
                TableFault(
                    "sweeps",
                    number,
                    column,
                    "empty cell",
                    "must be filled where signal is empty (the cell is empty)",
                    "fill it, or name the file that was played under signal",
                )
                for column in ("start_hz", "stop_hz", "duration_s")
                if getattr(sweep, column) is None
            ]
        if sweep.start_hz and sweep.stop_hz and sweep.start_hz >= sweep.stop_hz:
            faults.append(
                TableFault(
                    "sweeps",
                    number,
                    "stop_hz",
                    "out of range",
                    f"must be above start_hz, {sweep.start_hz:g} (got {sweep.stop_hz:g})",
                    "correct one of them",
                )
            )
        if sweep.stop_hz and sweep.sample_rate_hz and sweep.stop_hz > sweep.sample_rate_hz / 2:
            faults.append(
                TableFault(
                    "sweeps",
                    number,
                    "stop_hz",
                    "out of range",
                    f"must be at most half the sample rate, {sweep.sample_rate_hz / 2:g} (got {sweep.stop_hz:g})",
                    "lower it or play at a higher rate",
                )
            )
    return faults
