"""The refusal of a file, told as a fault of the row that names it."""

from __future__ import annotations

from frusta.campaign.table_fault import TableFault
from frusta.errors import PackageError

_WORDS = (("there is none", "missing file"), ("sample rate", "wrong rate"), ("0 bytes", "empty file"))


def fault_of_file(error: PackageError, table: str, number: int | None, column: str, take: str | None) -> TableFault:
    """Return the refusal of a file as a fault of the row that names it.

    Parameters
    ----------
    error : PackageError
        Why the file cannot be used; the remedy stands after the last semicolon.
    table, number, column : str, int or None, str
        The cell that names the file.
    take : str or None
        The take it belongs to, where it is a recording.
    """
    what, _, remedy = str(error).rpartition("; ")
    fault = next((name for text, name in _WORDS if text in what), "unreadable")
    return TableFault(table, number, column, fault, f"the file {what}", remedy, take)
