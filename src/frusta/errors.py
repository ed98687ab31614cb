"""Every error that frusta raises on purpose: what must hold, what came, what to do."""

from __future__ import annotations


class FrustaError(Exception):
    r"""Root of all errors that a user can mend; its text is one line that is safe in a terminal.

    Names from elsewhere may hold anything: what cannot be shown stands as a question mark.

    Examples
    --------
    >>> str(FrustaError("two\nlines\x1b[2J: must be one"))
    'two?lines?[2J: must be one'
    """

    def __str__(self) -> str:
        """Return the text as one line."""
        return "".join(c if c.isprintable() else "?" for c in super().__str__())


class ParameterError(FrustaError, ValueError):
    """An argument of a function is out of its range."""


class PackageError(FrustaError):
    """A package, table or recording cannot be used as it stands."""


class OutputError(FrustaError):
    """A result could not be written; whatever was there before is untouched."""
