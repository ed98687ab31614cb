"""Two edits of one package: what is only in one, what differs cell by cell, and what was chosen."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from frusta.campaign.rows import TABLES
from frusta.campaign.shelf.contents import Cells, Contents
from frusta.errors import ParameterError

SHELF, PACKAGE = "shelf", "package"


@dataclass(frozen=True)
class Conflict:
    """One place where shelf and package differ and somebody must choose.

    Attributes
    ----------
    place : str
        ``TABLE/KEY/COLUMN``, ``TABLE/KEY`` for a row that is only on the shelf, ``files/PATH``.
    on_shelf, in_package : str
        What stands there; "" is nothing.
    """

    place: str
    on_shelf: str
    in_package: str

    def __str__(self) -> str:
        return f"{self.place}: shelf has {self.on_shelf or 'nothing'}, package has {self.in_package or 'nothing'}"


@dataclass(frozen=True)
class Merge:
    """What comes of two edits.

    Attributes
    ----------
    merged : Contents
        With every choice made; conflicts not chosen keep the shelf's side.
    added : tuple of str
        Rows and files that only the package has: ``TABLE/KEY``.
    open : tuple of Conflict
        Those that nobody chose.
    """

    merged: Contents
    added: tuple[str, ...]
    open: tuple[Conflict, ...]


def merge(shelf: Contents, package: Contents, choices: Mapping[str, str]) -> Merge:
    """Bring two edits of a package together.

    Parameters
    ----------
    shelf, package : Contents
    choices : mapping of str to {"shelf", "package"}
        By a conflict's place, by the beginning of one (``specimens``, ``specimens/otter-1``), or ``all``.

    Returns
    -------
    Merge
        Rows and files that only the package has are added. All else that differs is a conflict.

    Raises
    ------
    ParameterError
        If a choice names neither side, or no conflict.
    """
    wrong = [f"{k}={v}" for k, v in choices.items() if v not in (SHELF, PACKAGE)]
    if wrong:
        raise ParameterError(f"--choose must be PLACE=shelf or PLACE=package (got {', '.join(wrong)})")
    asked: list[Conflict] = []
    added: list[str] = []
    rows: dict[str, list[Cells]] = {}
    for table in TABLES:
        if table in shelf.rows or table in package.rows:
            one, other = shelf.rows.get(table, ()), package.rows.get(table, ())
            rows[table] = _merge_table(table, one, other, choices, asked, added)
    files = dict(shelf.files)
    for path, held in package.files.items():
        if path not in files:
            files[path] = held
            added.append(f"files/{path}")
        elif files[path] != held:
            conflict = Conflict(f"files/{path}", _file_words(files[path]), _file_words(held))
            asked.append(conflict)
            if chosen(choices, conflict.place) == PACKAGE:
                files[path] = held
    unknown = [k for k in choices if k != "all" and not any(c.place == k or c.place.startswith(f"{k}/") for c in asked)]
    if unknown:
        raise ParameterError(
            f"--choose must name a conflict or the beginning of one (got {', '.join(unknown)}); they are: "
            + ("; ".join(c.place for c in asked) or "none")
        )
    still = tuple(c for c in asked if chosen(choices, c.place) is None)
    return Merge(Contents(rows, files), tuple(added), still)


def chosen(choices: Mapping[str, str], place: str) -> str | None:
    """Return the side that was chosen for a place, the most exact choice first."""
    parts = place.split("/")
    for length in range(len(parts), 0, -1):
        if found := choices.get("/".join(parts[:length])):
            return found
    return choices.get("all")


def _merge_table(
    table: str,
    shelf: Sequence[Cells],
    package: Sequence[Cells],
    choices: Mapping[str, str],
    asked: list[Conflict],
    added: list[str],
) -> list[Cells]:
    key = TABLES[table].KEY
    if key is None:
        return _merge_unkeyed(table, shelf, package, choices, asked, added)
    theirs = {row[key]: row for row in package}
    merged: list[Cells] = []
    for row in shelf:
        other = theirs.pop(row[key], None)
        place = f"{table}/{row[key]}"
        if other is None:
            asked.append(Conflict(place, "the row", ""))
            if chosen(choices, place) != PACKAGE:
                merged.append(row)
            continue
        out = dict(row)
        for column in dict.fromkeys([*row, *other]):
            if row.get(column) == other.get(column):
                continue
            asked.append(Conflict(f"{place}/{column}", _words(row.get(column)), _words(other.get(column))))
            if chosen(choices, f"{place}/{column}") == PACKAGE:
                out.pop(column, None)
                if column in other:
                    out[column] = other[column]
        merged.append(out)
    added += [f"{table}/{name}" for name in theirs]
    return merged + list(theirs.values())


def _merge_unkeyed(
    table: str,
    shelf: Sequence[Cells],
    package: Sequence[Cells],
    choices: Mapping[str, str],
    asked: list[Conflict],
    added: list[str],
) -> list[Cells]:
    """Rows without a key are the same only if every cell is."""
    theirs = Counter(_frozen(row) for row in package)
    merged: list[Cells] = []
    for number, row in enumerate(shelf, start=1):
        if theirs[_frozen(row)]:
            theirs[_frozen(row)] -= 1
            merged.append(row)
            continue
        place = f"{table}/{number}"
        asked.append(Conflict(place, ", ".join(_words(v) for v in row.values()), ""))
        if chosen(choices, place) != PACKAGE:
            merged.append(row)
    for row in package:
        if theirs[_frozen(row)]:
            theirs[_frozen(row)] -= 1
            added.append(f"{table}/{', '.join(_words(v) for v in row.values())}")
            merged.append(row)
    return merged


def _frozen(row: Cells) -> str:
    return json.dumps(row, sort_keys=True)


def _words(value: Any) -> str:
    return "" if value is None else str(value)


def _file_words(held: tuple[str, int]) -> str:
    return f"{held[1]} bytes ({held[0][:12]})"
