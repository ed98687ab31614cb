"""Every error that frusta raises on purpose: what must hold, what came, what to do."""

from __future__ import annotations


class FrustaError(Exception):
    """Root of all errors that a user can mend; the command line prints its text as one line."""


class ParameterError(FrustaError, ValueError):
    """An argument of a function is out of its range."""


class PackageError(FrustaError):
    """A package, table or recording cannot be used as it stands."""


class OutputError(FrustaError):
    """A result could not be written; whatever was there before is untouched."""
