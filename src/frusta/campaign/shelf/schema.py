"""The shelf's tables: those of a package, one entry after another, with files by hash and what was analysed.

A package's table becomes ``rows_TABLE``: the same columns, the entry and the place in its table before them, and
columns that frusta does not know after them as JSON.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    JSON,
    BigInteger,
    Column,
    Float,
    ForeignKeyConstraint,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
)
from sqlalchemy.types import TypeEngine

from frusta.campaign.findings import ModeRow, Reading
from frusta.campaign.rows import TABLES, Row
from frusta.campaign.tables import kind_of_column

NAME_LENGTH = 64

METADATA = MetaData()

ENTRIES = Table(
    "entries",
    METADATA,
    Column("entry", String(NAME_LENGTH), primary_key=True),
    Column("content", String(64), nullable=False),
    Column("source", Text, nullable=False),
    Column("added_at", String(32), nullable=False),
    Column("changed_at", String(32), nullable=False),
)
"""Packages on the shelf: ``content`` is the hash of all rows and files."""

FILES = Table(
    "files",
    METADATA,
    Column("entry", String(NAME_LENGTH), primary_key=True),
    Column("path", String(512), primary_key=True),
    Column("sha256", String(64), nullable=False, index=True),
    Column("size", BigInteger, nullable=False),
    ForeignKeyConstraint(["entry"], ["entries.entry"], ondelete="CASCADE"),
)
"""Files that an entry's tables name, by the hash under which their content lies beside the database once."""

ANALYSES = Table(
    "analyses",
    METADATA,
    Column("entry", String(NAME_LENGTH), primary_key=True),
    Column("content", String(64), nullable=False),
    Column("made_by", String(64), nullable=False),
    Column("findings", Text, nullable=False),
    ForeignKeyConstraint(["entry"], ["entries.entry"], ondelete="CASCADE"),
)
"""Findings of an entry as they were written, with the content they were drawn from and the method's version."""


def _column(model: type[Row], name: str) -> Column[Any]:
    kinds: dict[str, type[TypeEngine[Any]]] = {"number": Float, "whole": Integer}
    kind = kinds.get(kind_of_column(model, name), Text)
    return Column(name, kind, nullable=not model.model_fields[name].is_required())


def _table(model: type[Row]) -> Table:
    return Table(
        f"rows_{model.TABLE}",
        METADATA,
        Column("entry", String(NAME_LENGTH), primary_key=True),
        Column("place", Integer, primary_key=True),
        *(_column(model, name) for name in model.model_fields),
        Column("extra_columns", JSON, nullable=False),
        ForeignKeyConstraint(["entry"], ["entries.entry"], ondelete="CASCADE"),
    )


def _list_table(name: str, model: type[Any]) -> Table:
    """Scalar figures of one list of the findings, for search."""
    columns: list[Column[Any]] = []
    for key, field in model.model_fields.items():
        words = str(field.annotation)
        if "float" in words and "dict" not in words:
            columns.append(Column(key, Float))
        elif field.annotation is int:
            columns.append(Column(key, Integer))
        elif field.annotation in (str, str | None):
            columns.append(Column(key, Text))
        elif key == "quality":
            columns.append(Column(key, String(8)))
    return Table(
        name,
        METADATA,
        Column("entry", String(NAME_LENGTH), primary_key=True),
        Column("place", Integer, primary_key=True),
        *columns,
        ForeignKeyConstraint(["entry"], ["entries.entry"], ondelete="CASCADE"),
    )


ROWS = {name: _table(model) for name, model in TABLES.items()}
"""Tables of the package by their name there."""

READINGS = _list_table("readings", Reading)
MODES = _list_table("modes", ModeRow)

SEARCHED = (
    Index("ix_readings_take", READINGS.c.entry, READINGS.c.take),
    *(
        Index(f"ix_rows_{table}_{column}", ROWS[table].c.entry, ROWS[table].c[column])
        for table, column in (
            ("specimens", "specimen"),
            ("sessions", "session"),
            ("materials", "material"),
            ("history", "specimen"),
        )
    ),
)
"""What a search joins by."""
