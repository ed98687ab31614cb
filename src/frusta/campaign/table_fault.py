"""A fault of a package: the place, what must hold and what came, what to do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from frusta.campaign.counts import counted
from frusta.errors import PackageError


@dataclass(frozen=True)
class TableFault:
    """One fault of a table, a link or a file of a package.

    Attributes
    ----------
    table : str
        Name of the table without ``.csv``, or the file's own path where no table names it.
    row : int or None
        Row as a spreadsheet counts: the header is row 1.
    column : str or None
        Name of the column.
    fault : str
        One short word or two for the kind of fault, such as ``duplicate`` or ``missing file``.
    what : str
        What must hold and what came.
    what_to_do : str
        The remedy.
    take : str or None
        The take that the fault belongs to, where it is one.
    """

    table: str
    row: int | None
    column: str | None
    fault: str
    what: str
    what_to_do: str
    take: str | None = None

    @property
    def where(self) -> str:
        """The place in words: file, row, column."""
        name = self.table if "." in self.table or "/" in self.table else f"{self.table}.csv"
        place = [name]
        if self.row is not None:
            place.append(f"row {self.row}")
        if self.column is not None:
            place.append(f"column {self.column}")
        return ", ".join(place)

    def __str__(self) -> str:
        """Return the fault as one line; what cannot be shown is replaced by a question mark."""
        line = f"{self.where}: {self.what}; {self.what_to_do}"
        return "".join(c if c.isprintable() else "?" for c in line)


def refuse(faults: Sequence[TableFault]) -> None:
    """Raise the first fault as an error, saying how many more there are; do nothing if there is none.

    Raises
    ------
    PackageError
        If there is any fault.
    """
    if not faults:
        return
    others = len(faults) - 1
    more = f" ({counted(others, 'more fault')}: frusta check lists them all)" if others else ""
    raise PackageError(f"{faults[0]}{more}")
