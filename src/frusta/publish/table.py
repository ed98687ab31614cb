"""A table of the report: cells in words."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class TableOf:
    """A table, as behind a drawing: its headings and its cells in words."""

    head: list[str]
    rows: list[list[str]]
