"""Text tables as spreadsheets write them: encodings, separators, decimal commas; and plain ones out."""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from frusta.campaign.counts import counted
from frusta.campaign.table_fault import TableFault
from frusta.errors import PackageError

SEPARATORS = (",", ";", "\t")
LARGEST_TABLE_BYTES = 64 * 2**20
"""A table of a campaign holds some thousand rows; more than this is another kind of file."""


@dataclass(frozen=True)
class RawTable:
    """A table as text: stripped header names, cells as written, and each row's number.

    Attributes
    ----------
    header : tuple of str
        Names of the columns.
    rows : tuple of tuple of str
        Cells, as many a row as the header has.
    numbers : tuple of int
        Row numbers as a spreadsheet shows them (the header is row 1).
    separator : str
        Comma, semicolon or tab.
    faults : tuple of TableFault
        What was wrong with single rows; those rows are left out.
    """

    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: tuple[int, ...]
    separator: str = ","
    faults: tuple[TableFault, ...] = ()


def decode(name: str, data: bytes) -> str:
    """Return the text of a table: UTF-8 with or without mark, or UTF-16 with its mark.

    Parameters
    ----------
    name : str
        The file's name, for the message.
    data : bytes
        The whole file.

    Raises
    ------
    PackageError
        If the bytes are in another encoding; names the first bad byte and its line.
    """
    if data.startswith((codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE)):
        raise PackageError(f"{name}: must be UTF-8 (its mark says UTF-32); save it again as CSV UTF-8")
    wide = data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    try:
        text = data.decode("utf-16" if wide else "utf-8")
        bad = None if wide or "\0" not in text else data.index(b"\0")
    except UnicodeDecodeError as error:
        bad = error.start
        if not wide and b"\0" in data[:bad]:
            bad = data.index(b"\0")
    if bad is not None:
        line = data[:bad].count(b"\n") + 1
        raise PackageError(
            f"{name}: must be UTF-8, or UTF-16 with its mark (byte {bad + 1}, line {line}, is 0x{data[bad]:02x}, "
            "which is not); save it again as CSV UTF-8"
        )
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise PackageError(f"{name}: must be text (line {line} holds a zero byte); save it again as CSV UTF-8")
    return text.removeprefix("\ufeff")


def read_raw(name: str, data: bytes, known: Collection[str]) -> RawTable:
    """Read a table of text.

    Parameters
    ----------
    name : str
        Name of the table without ``.csv``.
    data : bytes
        The whole file.
    known : collection of str
        Names of the columns to expect; the separator is the one that finds most of them.

    Returns
    -------
    RawTable
        Rows without any cell filled are left out; cells missing at a row's end are empty.

    Raises
    ------
    PackageError
        If the file is empty, too large, in another encoding, or its header cannot be used.
    """
    file = f"{name}.csv"
    if len(data) > LARGEST_TABLE_BYTES:
        raise PackageError(
            f"{file}: must be at most {LARGEST_TABLE_BYTES >> 20} MiB (it has {len(data) >> 20}); "
            "is it really the table?"
        )
    text = decode(file, data)
    text, given = _without_separator_line(text)
    if not re.search(r'[^\s,;"]', text):
        raise PackageError(
            f"{file}: must begin with a line of column names (it has no text); "
            "write the header, or remove the file if it is not needed"
        )
    separator = given or _separator(text, known)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    try:
        lines = list(reader)
    except csv.Error as error:
        reason = str(error).replace("\t", "tab")
        raise PackageError(
            f"{file}: must be a table with matching quotes (line {reader.line_num}: {reason}); "
            "look for a lone quotation mark"
        ) from error
    first = 1 if given else 0
    start = next(i for i, cells in enumerate(lines) if any(c.strip() for c in cells))
    header = _header(file, lines[start], known)
    rows, numbers, faults = [], [], []
    for index in range(start + 1, len(lines)):
        cells = [cell.strip() for cell in lines[index]]
        number = index + 1 + first
        if not any(cells):
            continue
        if any(cells[len(header) :]):
            faults.append(
                TableFault(
                    name,
                    number,
                    None,
                    "cells",
                    f"must have at most {counted(len(header), 'cell')}, as the header has (got {len(cells)})",
                    "put text that holds the separator in quotation marks",
                )
            )
            continue
        cells = cells[: len(header)] + [""] * (len(header) - len(cells))
        rows.append(tuple(c for c, column in zip(cells, header, strict=True) if column))
        numbers.append(number)
        if any(c for c, column in zip(cells, header, strict=True) if not column):
            faults.append(
                TableFault(
                    name,
                    number,
                    None,
                    "column name",
                    "must have a name over every filled column (got a cell under an empty name)",
                    "name the column or empty the cell",
                )
            )
    return RawTable(tuple(h for h in header if h), tuple(rows), tuple(numbers), separator, tuple(faults))


def write_raw(header: Sequence[str], rows: Sequence[Sequence[str]]) -> bytes:
    """Return a table as plain UTF-8 with commas and line feeds.

    Parameters
    ----------
    header : sequence of str
        Names of the columns.
    rows : sequence of sequence of str
        Cells.

    Raises
    ------
    PackageError
        If a cell holds half of a character, which no file can.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(header)
    for row in rows:
        if len(row) == 1 and not row[0]:
            out.write('""\n')
        else:
            writer.writerow(row)
    text = out.getvalue()
    try:
        return text.encode("utf-8")
    except UnicodeEncodeError as error:
        raise PackageError(
            f"a cell must be text (got {text[max(error.start - 20, 0) : error.end]!a}, whose last character is half of "
            "one); write it again"
        ) from error


def _without_separator_line(text: str) -> tuple[str, str | None]:
    """Cut a spreadsheet's own ``sep=;`` line; return the rest and its separator."""
    line, _, rest = text.partition("\n")
    line = line.strip("\r").strip('"')
    if line.lower().startswith("sep=") and line[4:] in SEPARATORS:
        return rest, line[4:]
    return text, None


def _separator(text: str, known: Collection[str]) -> str:
    """The separator under which the first line names most known columns, then most columns."""
    line = next(line for line in text.splitlines() if line.strip())[:100_000]
    lowered = set(known)

    def merit(separator: str) -> tuple[int, int]:
        cells = next(csv.reader([line], delimiter=separator))
        return sum(c.strip().lower() in lowered for c in cells), len(cells)

    return max(SEPARATORS, key=merit)


def _header(file: str, cells: Sequence[str], known: Collection[str]) -> list[str]:
    """Strip names, bring known ones to lower case, refuse names that come twice."""
    lowered = set(known)
    names = [c.strip() for c in cells]
    names = [n.lower() if n.lower() in lowered else n for n in names]
    while names and not names[-1]:
        names.pop()
    for name in names:
        if name and names.count(name) > 1:
            raise PackageError(
                f"{file}, row 1, column {' '.join(name.split())}: must be there once (got {names.count(name)} times); "
                "rename or remove one"
            )
    return names
