"""Tables of text to typed rows and back."""

from __future__ import annotations

import re
import types
import typing
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, TypeVar

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from frusta.campaign.rows import SLUG_PATTERN, Row
from frusta.campaign.spreadsheet import RawTable, read_raw, write_raw
from frusta.campaign.table_fault import TableFault
from frusta.errors import PackageError

R = TypeVar("R", bound=Row)

_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2}(,\d{3})+", re.ASCII)
_SPACES = dict.fromkeys(map(ord, "\u00a0\u202f\u2009"), None)
_MINUS = str.maketrans({"−": "-"})


@dataclass(frozen=True)
class Table(typing.Generic[R]):
    """Typed rows with their row numbers, and what was wrong with the others.

    Attributes
    ----------
    rows : tuple of Row
        Rows that could be read.
    numbers : tuple of int
        Their row numbers as a spreadsheet shows them.
    faults : tuple of TableFault
        Everything wrong in the table.
    keys : frozenset of str
        Keys of all rows, those of faulty rows included, so that one fault does not become many.
    """

    rows: tuple[R, ...] = ()
    numbers: tuple[int, ...] = ()
    faults: tuple[TableFault, ...] = ()
    keys: frozenset[str] = frozenset()


@cache
def kind_of_column(model: type[Row], column: str) -> str:
    """Return ``number``, ``whole``, ``word`` (one of a list), ``slug`` or ``text`` for a known column."""
    field = model.model_fields[column]
    bare = next(a for a in _parts(field.annotation) if a is not type(None))
    if bare is float:
        return "number"
    if bare is int:
        return "whole"
    if typing.get_origin(bare) is typing.Literal:
        return "word"
    pattern = any(getattr(m, "pattern", None) == SLUG_PATTERN for m in _metadata(model, column))
    return "slug" if pattern else "text"


def read_table(model: type[R], data: bytes) -> Table[R]:
    """Read a table's file to typed rows; every fault is collected, none is raised.

    Parameters
    ----------
    model : type of Row
        What the rows are.
    data : bytes
        The whole file.
    """
    try:
        raw = read_raw(model.TABLE, data, tuple(model.model_fields))
    except PackageError as error:
        return Table(faults=(_from_error(model.TABLE, error),))
    return typed(model, raw)


def typed(model: type[R], raw: RawTable) -> Table[R]:
    """Make typed rows of a table of text; faulty rows are left out and told.

    Parameters
    ----------
    model : type of Row
        What the rows are.
    raw : RawTable
        The table as text.
    """
    faults = list(raw.faults)
    absent = [n for n, f in model.model_fields.items() if f.is_required() and n not in raw.header]
    faults += [
        TableFault(model.TABLE, 1, column, "missing column", "must be there (the header has no such column)", "add it")
        for column in absent
    ]
    if absent:
        return Table(faults=tuple(faults))
    rows: list[R] = []
    numbers: list[int] = []
    for cells, number in zip(raw.rows, raw.numbers, strict=True):
        row, bad = _row(model, raw, cells, number)
        faults += bad
        if row is not None:
            rows.append(row)
            numbers.append(number)
    kept, repeated = _unrepeated(model, rows, numbers)
    keys = frozenset(cells[raw.header.index(model.KEY)] for cells in raw.rows) if model.KEY else frozenset()
    return Table(tuple(rows[i] for i in kept), tuple(numbers[i] for i in kept), tuple(faults + repeated), keys)


def write_table(model: type[R], rows: Sequence[R]) -> bytes:
    """Return rows as plain CSV (UTF-8, comma, point): known columns first, unknown ones after.

    Parameters
    ----------
    model : type of Row
        What the rows are; its needed columns and every column that any row fills are written.
    rows : sequence of Row
        The rows.
    """
    known = [
        name
        for name, field in model.model_fields.items()
        if field.is_required() or any(getattr(row, name) is not None for row in rows)
    ]
    extra: dict[str, None] = {}
    for row in rows:
        extra.update(dict.fromkeys(row.model_extra or {}))
    cells = [
        [cell_text(getattr(row, name)) for name in known]
        + [cell_text((row.model_extra or {}).get(name)) for name in extra]
        for row in rows
    ]
    return write_raw([*known, *extra], cells)


def cell_text(value: object) -> str:
    """Return a value as the text of a cell; None is empty, numbers have a point and lose no digit.

    Examples
    --------
    >>> cell_text(0.13), cell_text(24.0), cell_text(None)
    ('0.13', '24', '')
    """
    if value is None:
        return ""
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    return str(value)


def plain_number(text: str, separator: str) -> str | None:
    """Return a number's text with a point, or None if it is not a number.

    Parameters
    ----------
    text : str
        A cell.
    separator : str
        The table's separator: a decimal comma is read where it is a semicolon, and where it is a tab
        unless the comma could as well part thousands.
    """
    text = text.translate(_SPACES).translate(_MINUS)
    comma_is_decimal = separator == ";" or (separator == "\t" and not _THOUSANDS.fullmatch(text))
    if comma_is_decimal and "." not in text:
        text = text.replace(",", ".", 1)
    return text if _NUMBER.fullmatch(text) else None


def _row(model: type[R], raw: RawTable, cells: Sequence[str], number: int) -> tuple[R | None, list[TableFault]]:
    values: dict[str, Any] = {}
    faults = []
    for column, cell in zip(raw.header, cells, strict=True):
        if column not in model.model_fields:
            values[column] = cell
            continue
        if not cell:
            continue
        kind = kind_of_column(model, column)
        if kind in ("number", "whole"):
            plain = plain_number(cell, raw.separator)
            if plain is None or (kind == "whole" and not float(plain).is_integer()):
                faults.append(_not_a_number(model, number, column, cell, kind))
                continue
            values[column] = float(plain) if kind == "number" else int(float(plain))
        else:
            values[column] = cell.lower() if kind == "word" else cell
    numeric = {f.column for f in faults}
    try:
        row = model.model_validate(values)
    except ValidationError as error:
        details = [d for d in error.errors() if d["loc"][0] not in numeric]
        return None, faults + [_from_detail(model, number, d) for d in details]
    return (None if faults else row), faults


def _unrepeated(model: type[R], rows: Sequence[R], numbers: Sequence[int]) -> tuple[list[int], list[TableFault]]:
    """Indices of the rows whose key is new, and a fault for every other."""
    if model.KEY is None:
        return list(range(len(rows))), []
    first: dict[str, int] = {}
    kept, faults = [], []
    for index, (row, number) in enumerate(zip(rows, numbers, strict=True)):
        key = getattr(row, model.KEY)
        if key in first:
            faults.append(
                TableFault(
                    model.TABLE,
                    number,
                    model.KEY,
                    "duplicate",
                    f"must be there once (got {key!r} again, first in row {first[key]})",
                    "rename or remove one of them",
                )
            )
            continue
        first[key] = number
        kept.append(index)
    return kept, faults


def _not_a_number(model: type[Row], number: int, column: str, cell: str, kind: str) -> TableFault:
    want = "a whole number" if kind == "whole" else "a number"
    comma = "," in cell and plain_number(cell, ";") is not None
    remedy = (
        "write the decimal point as a point, or save the table with semicolons"
        if comma
        else "write the bare number, or leave the cell empty where it is not known"
    )
    return TableFault(model.TABLE, number, column, "not a number", f"must be {want} (got {_quoted(cell)})", remedy)


def _from_detail(model: type[Row], number: int, detail: ErrorDetails) -> TableFault:
    """Say one of pydantic's complaints in the words of a table."""
    column = str(detail["loc"][0])
    context = detail.get("ctx", {})
    got = f"(got {_quoted(detail['input'])})"
    match detail["type"]:
        case "missing":
            fault, what, remedy = "empty cell", "must be filled (the cell is empty)", "fill it"
        case "string_pattern_mismatch":
            fault = "bad key"
            what = f"must be a key: a-z, 0-9, '.', '_' or '-', a letter or digit first, at most 64 long {got}"
            remedy = "rename it, here and wherever it is named"
        case "literal_error":
            fault, what, remedy = (
                "bad word",
                f"must be {context['expected']} {got}".replace("'", ""),
                "use one of these",
            )
        case "finite_number":
            fault, what, remedy = "not a number", f"must be a finite number {got}", "correct it"
        case _:
            fault, what = "out of range", f"{_bounds(model, column)} {got}"
            remedy = "mind the unit in the column's name, or leave the cell empty where it is not known"
    if fault == "out of range" and model.model_fields[column].is_required():
        remedy = "mind the unit in the column's name"
    return TableFault(model.TABLE, number, column, fault, what, remedy)


def bounds_of(model: type[Row], column: str) -> dict[str, float]:
    """Return the bounds of a column's numbers: ``gt``, ``ge``, ``lt``, ``le``, as far as it has them."""
    return {
        name: getattr(m, name)
        for name in ("gt", "ge", "lt", "le")
        for m in _metadata(model, column)
        if getattr(m, name, None) is not None
    }


def words_of(model: type[Row], column: str) -> tuple[str, ...]:
    """Return the words that a column may hold; none where it may hold any."""
    for part in _parts(model.model_fields[column].annotation):
        if typing.get_origin(part) is typing.Literal:
            return tuple(typing.get_args(part))
    return ()


def _bounds(model: type[Row], column: str) -> str:
    words = {"gt": "above", "ge": "at least", "lt": "below", "le": "at most"}
    found = [f"{words[name]} {value:g}" for name, value in bounds_of(model, column).items()]
    return "must be " + (" and ".join(found) if found else "a number")


def _metadata(model: type[Row], column: str) -> list[Any]:
    """All constraints of a column, whether or not it may be empty."""
    field = model.model_fields[column]
    found = list(field.metadata)
    for part in typing.get_args(field.annotation):
        if typing.get_origin(part) is typing.Annotated:
            for item in part.__metadata__:
                found += getattr(item, "metadata", None) or [item]
    return found


def _parts(annotation: Any) -> list[Any]:
    """The bare types that a column's annotation joins."""
    origin = typing.get_origin(annotation)
    if origin in (typing.Union, types.UnionType):
        return [p for a in typing.get_args(annotation) for p in _parts(a)]
    if origin is typing.Annotated:
        return _parts(annotation.__origin__)
    return [annotation]


def _quoted(value: object) -> str:
    text = repr(value) if isinstance(value, str) else cell_text(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _from_error(table: str, error: PackageError) -> TableFault:
    """Turn the refusal of a whole file to a fault of its table."""
    text = str(error).removeprefix(f"{table}.csv").lstrip(":, ")
    row, column = None, None
    if match := re.match(r"row (\d+), column (.+?): ", text):
        row, column = int(match[1]), match[2]
        text = text[match.end() :]
    what, _, remedy = text.rpartition("; ")
    return TableFault(table, row, column, "unreadable", what, remedy)
