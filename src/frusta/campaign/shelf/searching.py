"""Find takes on the shelf by material, recipe, event, date and reading."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from sqlalchemy import Column, ColumnElement, and_, select

from frusta.campaign.figures import READING_KEYS
from frusta.campaign.shelf.look import day_of
from frusta.campaign.shelf.schema import READINGS, ROWS
from frusta.campaign.shelf.store import Shelf
from frusta.errors import ParameterError

_CONDITION = re.compile(r"\s*([a-z0-9_]+)\s*(<=|>=|<|>|=)\s*([+-]?[0-9.]+(?:e[+-]?\d+)?)\s*", re.IGNORECASE)


@dataclass(frozen=True)
class Wanted:
    """What is looked for; everything that is given must hold.

    Attributes
    ----------
    material, recipe, profile, specimen, event : str or None
        Words; a material is found by key, name or polymer, an event by a part of its word.
    since, until : str or None
        ISO dates of the session, both included.
    readings : sequence of str
        Conditions such as ``breakup_hz>3000``.
    """

    material: str | None = None
    recipe: str | None = None
    profile: str | None = None
    specimen: str | None = None
    event: str | None = None
    since: str | None = None
    until: str | None = None
    readings: Sequence[str] = field(default_factory=tuple)


@dataclass(frozen=True)
class Found:
    """One take on the shelf.

    Attributes
    ----------
    entry, take, specimen : str
    material, recipe, profile, date : str or None
    breakup_hz, level_db : float or None
        None where it was not analysed, or lacks the figure.
    figures : dict of str to float
        Those that were asked for.
    """

    entry: str
    take: str
    specimen: str
    material: str | None
    recipe: str | None
    profile: str | None
    date: str | None
    breakup_hz: float | None
    level_db: float | None
    figures: dict[str, float]


def search(shelf: Shelf, wanted: Wanted) -> list[Found]:
    """Return takes by entry and place in their table.

    Parameters
    ----------
    shelf : Shelf
    wanted : Wanted

    Raises
    ------
    ParameterError
        If a date or a condition cannot be understood.
    """
    takes, specimens, sessions, materials = (ROWS[t] for t in ("takes", "specimens", "sessions", "materials"))
    conditions = [_condition(words) for words in wanted.readings]
    asked = dict.fromkeys(name for name, _ in conditions)
    since, until = _day("since", wanted.since), _day("until", wanted.until)
    query = (
        select(
            takes.c.entry,
            takes.c.take,
            takes.c.specimen,
            specimens.c.material,
            specimens.c.recipe,
            specimens.c.profile,
            sessions.c.date,
            READINGS.c.breakup_hz,
            READINGS.c.level_db,
            *(READINGS.c[name].label(f"asked_{name}") for name in asked),
        )
        .join(specimens, and_(specimens.c.entry == takes.c.entry, specimens.c.specimen == takes.c.specimen))
        .outerjoin(sessions, and_(sessions.c.entry == takes.c.entry, sessions.c.session == takes.c.session))
        .outerjoin(READINGS, and_(READINGS.c.entry == takes.c.entry, READINGS.c.take == takes.c.take))
        .outerjoin(materials, and_(materials.c.entry == takes.c.entry, materials.c.material == specimens.c.material))
        .order_by(takes.c.entry, takes.c.place)
    )
    for words, columns in (
        (wanted.material, (specimens.c.material, materials.c.name, materials.c.polymer)),
        (wanted.recipe, (specimens.c.recipe,)),
        (wanted.profile, (specimens.c.profile,)),
        (wanted.specimen, (specimens.c.specimen,)),
    ):
        if words:
            query = query.where(_any_like(columns, words))
    if wanted.event:
        history = ROWS["history"]
        has = select(history.c.specimen).where(
            history.c.entry == takes.c.entry,
            history.c.specimen == takes.c.specimen,
            history.c.event.icontains(wanted.event, autoescape=True),
        )
        query = query.where(has.exists())
    for _, clause in conditions:
        query = query.where(clause)
    with shelf.database.read() as connection:
        rows = connection.execute(query).mappings().all()
    return [
        Found(
            **{k: row[k] for k in ("entry", "take", "specimen", "material", "recipe", "profile", "date")},
            breakup_hz=row["breakup_hz"],
            level_db=row["level_db"],
            figures={name: row[f"asked_{name}"] for name in asked},
        )
        for row in rows
        if _within(row["date"], since, until)
    ]


def _any_like(columns: Sequence[Column[str]], words: str) -> ColumnElement[bool]:
    clause: ColumnElement[bool] = columns[0].icontains(words, autoescape=True)
    for column in columns[1:]:
        clause = clause | column.icontains(words, autoescape=True)
    return clause


def _condition(words: str) -> tuple[str, ColumnElement[bool]]:
    found = _CONDITION.fullmatch(words)
    if not found or found[1].lower() not in READING_KEYS:
        raise ParameterError(
            f"--reading must be a figure, a sign and a number, such as breakup_hz>3000 (got {words!r}); figures are "
            + ", ".join(READING_KEYS)
        )
    column, value = READINGS.c[found[1].lower()], float(found[3])
    clauses = {
        "<": column < value,
        ">": column > value,
        "<=": column <= value,
        ">=": column >= value,
        "=": column == value,
    }
    return found[1].lower(), clauses[found[2]]


def _day(option: str, words: str | None) -> str | None:
    if words is None:
        return None
    if re.fullmatch(r"\d{4}(-\d\d){0,2}", words) is None:
        raise ParameterError(f"--{option} must be a date such as 2026, 2026-05 or 2026-05-04 (got {words!r})")
    return words


def _within(date: str | None, since: str | None, until: str | None) -> bool:
    if since is None and until is None:
        return True
    day = day_of(date)
    if day is None:
        return False
    text = day.isoformat()
    return (since is None or text >= since) and (until is None or text[: len(until)] <= until)
