"""What the Cones room says of specimens: their place in the rack, what they wait for, their readings in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from frusta.campaign.findings import Findings, Reading
from frusta.campaign.package import Package
from frusta.campaign.rows import HistoryEvent, Recipe, Specimen
from frusta.publish.groups import UNNAMED, Groups, profile_name, profile_order
from frusta.publish.words import NBSP, count, listed, quantity
from frusta.web.plus_minus import plus_minus
from frusta.web.unlike_seatings import unlike_seatings

SEEN_FIGURES = (
    ("level_db", "Level", "dB"),
    ("breakup_hz", "Breaks up", "Hz"),
    ("breakup_loss_factor", "Loss factor there", ""),
    ("decay_2_percent_ms", "Falls to 2 % in", "ms"),
    ("input_thd_peak_percent", "Input distortion", "%"),
)
CHANGING = ("annealed", "coated", "played", "dropped", "stored", "aged", "glued", "treated", "washed", "heated")
OTHER_ROWS = (("check", "Check cone"), ("driver", "Finished drivers"), ("coupon", "Coupons"))


@dataclass(frozen=True)
class Tag:
    """A specimen in the rack."""

    key: str
    mass: str
    seatings: int
    due: str
    to_print: bool


@dataclass(frozen=True)
class RackRow:
    """A material and recipe, and its tags by column."""

    name: str
    says: tuple[str, ...]
    cells: tuple[tuple[str, tuple[Tag, ...]], ...]


@dataclass(frozen=True)
class Rack:
    """All specimens: columns are profiles, rows material and recipe."""

    columns: tuple[tuple[str, str], ...]
    rows: tuple[RackRow, ...]
    sentence: str
    due: tuple[tuple[str, str], ...]
    to_print: tuple[str, ...]


def rack_of(package: Package, findings: Findings | None, wanted: str = "") -> Rack:
    """Return the rack.

    Parameters
    ----------
    package : Package
    findings : Findings or None
        For what takes a second look.
    wanted : str
        Only specimens whose key or material holds this text; all if empty.
    """
    seatings = _seatings(package)
    due = reasons_to_look(package, findings)
    shown = [s for s in package.specimens.values() if _fits(s, wanted, package)]
    cones = [s for s in shown if s.kind == "cone"]
    columns = profile_order({s.profile or "" for s in cones}, package)
    groups = Groups((), package)
    by_place: dict[tuple[str, str, str], list[Tag]] = {}
    for s in cones:
        by_place.setdefault((s.material or "", s.recipe or "", s.profile or ""), []).append(
            _tag(s, seatings, due, package)
        )
    rows = []
    for group in groups.all:
        cells = tuple((p, tuple(by_place.get((group.material, group.recipe, p), ()))) for p in columns)
        if any(tags for _, tags in cells):
            rows.append(RackRow(group.name, _recipe_says(package, group.material, group.recipe), cells))
    for kind, name in OTHER_ROWS:
        tags = tuple(_tag(s, seatings, due, package) for s in shown if s.kind == kind)
        if tags:
            rows.append(RackRow(name, (), (("", tags),)))
    all_cones = [s for s in package.specimens.values() if s.kind == "cone"]
    to_print = tuple(s.specimen for s in all_cones if _to_print(s, seatings))
    return Rack(
        tuple((p, profile_name(p, package)) for p in columns),
        tuple(rows),
        _sentence(len(all_cones), len(due), len(to_print)),
        tuple(due.items()),
        to_print,
    )


def reasons_to_look(package: Package, findings: Findings | None) -> dict[str, str]:
    """Return the specimens that want another look, and why.

    Spoiled takes only, treated since they were heard, or seatings that differ more than other cones' do.
    """
    found: dict[str, str] = {}
    by_specimen: dict[str, list[Reading]] = {}
    for r in findings.readings if findings else ():
        by_specimen.setdefault(r.specimen, []).append(r)
    for key, readings in by_specimen.items():
        if key in package.specimens and all(r.quality == "repeat" for r in readings):
            fault = next((f for r in readings for f in r.faults), None)
            why = f": {fault.fault}, {fault.where}" if fault else ""
            found[key] = f"No take of it counts{why}. {_upper(fault.what_to_do) if fault else 'Sweep it again'}."
    heard = _last_heard(package)
    for event in package.history:
        word = event.event.lower().strip()
        if word.startswith(CHANGING) and event.specimen in heard and event.date[:10] > heard[event.specimen]:
            found.setdefault(
                event.specimen, f"{_upper(event.event)} on {event.date}, not heard since. Due to be heard again."
            )
    for key, why in unlike_seatings(findings).items() if findings else ():
        if key in package.specimens:
            found.setdefault(key, why)
    return found


def recipe_words(recipe: Recipe | None) -> str:
    """Return a recipe in words: "2 lines of 0.4 mm, 0.2 mm layers, 48 mm/s, 262 °C, neck down, dried"."""
    if recipe is None:
        return "recipe not given"
    parts = []
    if recipe.lines and recipe.line_width_mm:
        parts.append(f"{recipe.lines:g} lines of {recipe.line_width_mm:g}{NBSP}mm")
    elif recipe.line_width_mm:
        parts.append(f"lines of {recipe.line_width_mm:g}{NBSP}mm")
    if recipe.layer_mm:
        parts.append(f"{recipe.layer_mm:g}{NBSP}mm layers")
    if recipe.speed_mm_s:
        parts.append(f"{recipe.speed_mm_s:g}{NBSP}mm/s")
    if recipe.nozzle_c:
        parts.append(f"{recipe.nozzle_c:g}{NBSP}°C")
    if recipe.orientation:
        parts.append(recipe.orientation.replace("-", " "))
    if recipe.dried:
        parts.append(recipe.dried if "dr" in recipe.dried else f"dried {recipe.dried}")
    return ", ".join(parts) or recipe.recipe


def history_of(package: Package, specimen: str) -> list[HistoryEvent]:
    """Return the dated events of a specimen, printing first."""
    events = [e for e in package.history if e.specimen == specimen]
    row = package.specimens[specimen]
    if row.printed_on and not any(e.event.lower().startswith("printed") for e in events):
        details = f"batch {row.batch}" if row.batch else None
        events.append(HistoryEvent(specimen=specimen, date=row.printed_on, event="printed", details=details))
    return sorted(events, key=lambda e: e.date)


def figures_of(findings: Findings | None, specimen: str) -> list[dict[str, Any]]:
    """Return the readings of a specimen in words, a take each."""
    found = []
    for r in findings.readings if findings else ():
        if r.specimen == specimen:
            found.append(
                {
                    "take": r.take,
                    "seating": r.seating,
                    "session": r.session or "no session",
                    "quality": r.quality,
                    "why": "; ".join(f"{f.fault}: {f.where}. {_upper(f.what_to_do)}" for f in r.faults),
                    "cells": [
                        (name, figure_words(r, key, unit), getattr(r, key) is None) for key, name, unit in SEEN_FIGURES
                    ],
                }
            )
    return found


def figure_words(reading: Reading, key: str, unit: str) -> str:
    """Return a figure with its uncertainty (95 %), or the reason why there is none."""
    value = getattr(reading, key)
    if value is None:
        return reading.reasons.get(key, "not read")
    u = getattr(reading, f"{key}_u")
    if not u:
        return quantity(value, unit, trim=False)
    return plus_minus(value, 1.96 * u, unit)


def mass_words(row: Specimen, package: Package) -> list[tuple[str, str]]:
    """Return the masses of a specimen with names, as weighed and as derived."""
    u = f" ±{NBSP}{row.mass_u_g:g}" if row.mass_u_g else ""
    found = []
    if row.mass_with_coil_g:
        found.append(("With its coil", f"{row.mass_with_coil_g:.2f}{NBSP}g{u}"))
    if row.mass_g:
        found.append(("Without coil", f"{row.mass_g:.2f}{NBSP}g{u}"))
    elif row.mass_with_coil_g:
        coil = row.coil_mass_g or next((r.coil_mass_g for r in package.rigs.values() if r.coil_mass_g), None)
        if coil:
            found.append(("Without coil", f"{row.mass_with_coil_g - coil:.2f}{NBSP}g{u}"))
    return found or [("Mass", "not weighed yet")]


def name_of(row: Specimen, package: Package) -> str:
    """Return what a specimen is in words: "Rook, slow, straight"."""
    material = package.materials.get(row.material or "")
    words = [material.name if material else (row.material or ("" if row.kind == "driver" else UNNAMED))]
    if row.recipe and sum(s.material == row.material for s in package.specimens.values()) > 1:
        recipes = {s.recipe for s in package.specimens.values() if s.material == row.material}
        words.append(row.recipe if len(recipes) > 1 else "")
    if row.profile:
        words.append(profile_name(row.profile, package))
    if row.kind != "cone":
        words.append({"check": "check cone", "driver": "finished driver", "coupon": "coupon"}[row.kind])
    return ", ".join(w for w in words if w)


def _tag(s: Specimen, seatings: Mapping[str, int], due: Mapping[str, str], package: Package) -> Tag:
    mass = s.mass_g or s.mass_with_coil_g
    times = seatings.get(s.specimen, 0)
    words = f"{mass:.2f}{NBSP}g" if mass else "not weighed"
    return Tag(s.specimen, words, times, due.get(s.specimen, ""), _to_print(s, seatings))


def _to_print(s: Specimen, seatings: Mapping[str, int]) -> bool:
    return s.kind == "cone" and not (s.mass_g or s.mass_with_coil_g or s.printed_on) and not seatings.get(s.specimen)


def _seatings(package: Package) -> dict[str, int]:
    found: dict[str, set[int]] = {}
    for take in package.takes.values():
        found.setdefault(take.specimen, set()).add(take.seating)
    return {key: len(numbers) for key, numbers in found.items()}


def _last_heard(package: Package) -> dict[str, str]:
    found: dict[str, str] = {}
    for take in package.takes.values():
        session = package.sessions.get(take.session or "")
        day = (take.taken_at or (session.date if session else ""))[:10]
        found[take.specimen] = max(found.get(take.specimen, ""), day)
    return {key: day for key, day in found.items() if day}


def _recipe_says(package: Package, material: str, recipe: str) -> tuple[str, ...]:
    row = package.materials.get(material)
    says: Sequence[str | None] = (recipe or None, row.polymer if row else None)
    return tuple(w for w in says if w)


def _fits(s: Specimen, wanted: str, package: Package) -> bool:
    if not wanted:
        return True
    material = package.materials.get(s.material or "")
    words = " ".join(w for w in (s.specimen, s.material, material.name if material else "", s.recipe, s.profile) if w)
    return all(part in words.lower() for part in wanted.lower().split())


def _sentence(cones: int, due: int, to_print: int) -> str:
    if not cones:
        return "No cone is listed yet."
    rest = []
    if due:
        rest.append(f"{_number(due)} want{'s' if due == 1 else ''} another look")
    if to_print:
        rest.append(f"{_number(to_print)} {'is' if to_print == 1 else 'are'} still to print")
    return (
        f"{count(cones, 'cone').capitalize()}. {_upper(listed(rest))}."
        if rest
        else (f"{count(cones, 'cone').capitalize()}, none wants another look.")
    )


def _number(value: int) -> str:
    words = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
    return words[value] if value < len(words) else str(value)


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]
