"""A package without what was meant for its maker alone: notes, and columns that frusta does not know."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from frusta.campaign.package import Package
from frusta.campaign.rows import TABLES, Row

PRIVATE = ("notes",)


def without_private(package: Package) -> Package:
    """Return the package with notes and unknown columns left out of all tables; the campaign's own notes stay.

    Parameters
    ----------
    package : Package
        Stays as it is.
    """
    changed: dict[str, Any] = {}
    for name in TABLES:
        if name == "campaign":
            continue
        held = getattr(package, name)
        if isinstance(held, dict):
            changed[name] = {key: _bare(row) for key, row in held.items()}
        else:
            changed[name] = tuple(_bare(row) for row in held)
    campaign = package.campaign
    bare = type(campaign).model_validate({c: getattr(campaign, c) for c in type(campaign).model_fields})
    return replace(package, campaign=bare, **changed)


def _bare(row: Row) -> Row:
    model = type(row)
    return model.model_validate({c: getattr(row, c) for c in model.model_fields if c not in PRIVATE})
