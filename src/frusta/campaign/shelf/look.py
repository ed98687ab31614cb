"""A look at some specimens: what was read of each on the days of one campaign."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from statistics import median

from frusta.campaign.findings import ModeRow, Reading
from frusta.campaign.package import Package
from frusta.campaign.resolve import resolve_take
from frusta.campaign.rows import HistoryEvent, Rig, Session, Specimen


@dataclass(frozen=True)
class Look:
    """One campaign's readings with what stands in its tables.

    Attributes
    ----------
    name : str
        What the user called it.
    specimens, sessions, rigs : mapping of str to row
        Rows by key.
    history : sequence of HistoryEvent
        Of all specimens.
    readings, modes : sequence of Reading, ModeRow
        As analysed.
    rig_of : mapping of str to str
        Rig by take.
    absolute : bool
        Whether every level is in pascals, so that it can be compared with another campaign's.
    mass_kg : mapping of str to tuple of float
        Bare mass by specimen and its standard uncertainty, kg, where weighed.
    """

    name: str
    specimens: Mapping[str, Specimen]
    sessions: Mapping[str, Session]
    rigs: Mapping[str, Rig]
    history: Sequence[HistoryEvent]
    readings: Sequence[Reading]
    modes: Sequence[ModeRow]
    rig_of: Mapping[str, str]
    absolute: bool
    mass_kg: Mapping[str, tuple[float, float]]

    def usable(self) -> list[Reading]:
        """Return the readings that need no repeat."""
        return [r for r in self.readings if r.quality != "repeat"]

    def temperature_c(self, specimen: str) -> float | None:
        """Return the median temperature at which a specimen was heard, degrees Celsius."""
        keys = {r.session for r in self.usable() if r.specimen == specimen and r.session}
        known = [t for key in sorted(keys) if (t := self.sessions[key].temperature_c) is not None]
        return float(median(known)) if known else None

    def days(self, specimen: str | None = None) -> tuple[date, date] | None:
        """Return the first and last day on which a specimen, or any, was heard; None where no session has a date."""
        keys = {r.session for r in self.readings if r.session and specimen in (None, r.specimen)}
        known = sorted(d for key in keys if (d := day_of(self.sessions[key].date)) is not None)
        return (known[0], known[-1]) if known else None


MASS_U_KG = 2e-5
"""Uncertainty of a mass whose own is not given, kg: a kitchen scale of 0.01 g, twice."""


def look_at(name: str, package: Package, readings: Sequence[Reading], modes: Sequence[ModeRow]) -> Look:
    """Return a campaign's look from its package and findings.

    Parameters
    ----------
    name : str
        What the user calls it.
    package : Package
        The tables.
    readings, modes : sequence of Reading, ModeRow
        Of its takes.
    """
    resolved = [resolve_take(package, take) for take in package.takes.values()]
    masses = {
        take.specimen.specimen: (take.cone_mass_kg, take.cone_mass_u_kg or MASS_U_KG)
        for take in resolved
        if take.cone_mass_kg is not None
    }
    return Look(
        name=name,
        specimens=package.specimens,
        sessions=package.sessions,
        rigs=package.rigs,
        history=package.history,
        readings=tuple(readings),
        modes=tuple(modes),
        rig_of={take.take.take: take.rig.rig for take in resolved},
        absolute=all(take.full_scale_pa is not None for take in resolved if take.kind == "sweep"),
        mass_kg=masses,
    )


def day_of(text: str | None) -> date | None:
    """Return the day that a date of a table names, or None if it names none.

    Examples
    --------
    >>> day_of("2026-05-04T10:00"), day_of("in spring")
    (datetime.date(2026, 5, 4), None)
    """
    try:
        return date.fromisoformat((text or "").strip()[:10])
    except ValueError:
        return None
