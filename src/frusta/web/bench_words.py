"""What the Bench shows in each step: the ticket's stub, the routing row, the field, the tray."""

from __future__ import annotations

import re
from typing import Any

from frusta.bench.judging import RESEAT
from frusta.bench.since_before import FURTHER
from frusta.bench.steps import State
from frusta.campaign.package import Package
from frusta.campaign.rows import Specimen
from frusta.publish.words import NBSP, count, plain, quantity
from frusta.web.cone_words import name_of
from frusta.web.views import glyph

STEPS = (
    ("cone", "Cone"),
    ("weigh", "Weigh"),
    ("seat", "Seat"),
    ("level", "Level"),
    ("sweep", "Sweep"),
    ("verdict", "Verdict"),
)
WHY = {
    "check first": "The check cone comes first and last in every sitting: it tells whether the rig has moved.",
    "check last": "The check cone closes the sitting: it tells whether the rig has moved.",
    "cone": "The order is shuffled, so that a rig which drifts through the evening cannot pass for a better material.",
    "seating test": "The same cone again and again shows what the joint alone does.",
}
TRAY = 11


def ticket_of(state: State, package: Package, with_coil: bool) -> dict[str, Any]:
    """Return all that the ticket shows.

    Parameters
    ----------
    state : State
        Of the bench.
    package : Package
    with_coil : bool
        Whether cones are weighed with their coils on.
    """
    turn = state.turn
    row = package.specimens.get(turn.specimen) if turn else None
    kept = [t.turn for t in state.kept_takes]
    total = len(set(kept)) + len(state.queue)
    return {
        "step": state.step,
        "turn": turn,
        "row": row,
        "place": f"Seating {min(len(set(kept)) + 1, total)} of {total} today" if total else "Nothing planned",
        "name": name_of(row, package) if row else "",
        "glyph": glyph(package.profiles.get(row.profile or ""), 232, 84) if row else glyph(None, 232, 84),
        "size": _size(turn.specimen if turn else ""),
        "facts": _facts(row, turn, package) if row and turn else [],
        "why": WHY[turn.why] if turn else "",
        "routing": _routing(state, row),
        "weigh": _weigh(state, row, package, with_coil) if row else {},
        "verdict": _verdict(state),
        "fault": state.fault,
        "tray": _tray(state, package),
        "tray_says": f"{len(set(kept))} of {total} done",
        "last_of_cone": bool(turn) and not any(t.specimen == turn.specimen for t in state.queue[1:]) if turn else False,
        "closing": _closing(state, package),
        "can_undo": state.past is not None,
        "target": "" if state.target_db is None else f"{plain(state.target_db, 1)}{NBSP}dB",
    }


def _facts(row: Specimen, turn: Any, package: Package) -> list[tuple[str, str, bool]]:
    recipe = package.recipes.get(row.recipe or "")
    printed = ", ".join(
        w for w in (row.recipe, f"dried {recipe.dried}" if recipe and recipe.dried else "", row.printed_on) if w
    )
    facts = []
    if printed:
        facts.append(("Printed", printed, True))
    profile = package.profiles.get(row.profile or "")
    if profile:
        facts.append(("Wall", f"{profile.wall_mm:g}{NBSP}mm", False))
    facts.append(("Seating", str(turn.seating), False))
    return facts


def _routing(state: State, row: Specimen | None) -> list[tuple[str, str, str]]:
    """Each step: name, standing (done, now, todo), and its value once done."""
    step = state.failed_in or state.step if state.step == "fault" else state.step
    keys = [key for key, _ in STEPS]
    at = keys.index(step) if step in keys else (len(keys) if step == "done" else 0)
    turn = state.turn
    mass = state.masses.get(turn.specimen, ("", None, ""))[1] if turn else None
    if mass is None and row is not None:
        mass = row.mass_g or row.mass_with_coil_g
    values = {
        "cone": turn.specimen if turn else "",
        "weigh": f"{mass:.2f}{NBSP}g" if mass else "",
        "seat": f"seating {turn.seating}" if turn else "",
        "level": "" if state.drive_gain_db is None else f"{plain(state.drive_gain_db, 1)}{NBSP}dB",
        "sweep": "heard",
        "verdict": "",
    }
    return [
        (name, "done" if i < at else ("now" if i == at and step != "done" else "todo"), values[key])
        for i, (key, name) in enumerate(STEPS)
    ]


def _weigh(state: State, row: Specimen, package: Package, with_coil: bool) -> dict[str, Any]:
    column = "mass_with_coil_g" if with_coil else "mass_g"
    alike = [
        s
        for s in package.specimens.values()
        if s.specimen != row.specimen
        and (s.material, s.recipe, s.profile, s.kind) == (row.material, row.recipe, row.profile, row.kind)
        and getattr(s, column)
    ]
    masses = [float(getattr(s, column)) for s in alike]
    said = ""
    if masses:
        ends = f"{min(masses):.2f} to {max(masses):.2f}" if len(masses) > 1 else f"{masses[0]:.2f}"
        said = f"Its {count(len(masses), 'sister print')} weighed {ends}{NBSP}g."
    held = getattr(row, column)
    return {
        "column": column,
        "says": said or "It is the first of its kind to be weighed.",
        "order": "Weigh it with its coil." if with_coil else "Weigh it without its coil.",
        "value": f"{held:g}" if held else "",
    }


def _verdict(state: State) -> dict[str, Any]:
    if state.take is None:
        return {}
    verdict = state.take.verdict
    lines = [_as_read(line) for line in verdict.lines]
    marked = [(line, place < len(verdict.faults) or FURTHER in line) for place, line in enumerate(lines)]
    head = marked.pop(_reason(lines)) if lines and verdict.advice != "keep" else ("", True)
    return {
        "advice": verdict.advice,
        "quality": verdict.quality,
        "faults": verdict.faults,
        "lines": lines,
        "head": head[0],
        "rest": marked,
        "figures": [
            (name, quantity(verdict.figures[key] + more, unit, trim=False))
            for key, name, unit, more in (
                ("breakup_hz", "Breaks up", "Hz", 0.0),
                ("level_db", "Level", "dB", state.take.drive_gain_db),  # as it was played, like the meter's
            )
            if key in verdict.figures
        ],
    }


def _as_read(line: str) -> str:
    r"""A line of the verdict as a sentence: a true minus, and no break between a number and its unit.

    >>> _as_read("level -0.1 dB")
    'Level −0.1\xa0dB'
    """
    line = re.sub(r"(?<![\w.])-(?=\d)", "\u2212", line[:1].upper() + line[1:])
    return re.sub(r"(?<=\d) (?=(?:dB|Hz|ms|cm|ppm|ohm|K)\b|%)", NBSP, line)


def _reason(lines: list[str]) -> int:
    """Where the reason stands why a take is not simply kept: the seating if that is it, else the first line."""
    return next((place for place, line in enumerate(lines) if RESEAT in line), 0)


def _tray(state: State, package: Package) -> list[dict[str, Any]]:
    """The seatings of today: the last done, the one at hand, those to come."""
    done = list(dict.fromkeys(t.turn for t in state.kept_takes))
    coming = list(state.queue)
    shown = [*(("done", t) for t in done[-4:]), *(("now" if i == 0 else "todo", t) for i, t in enumerate(coming))]
    found = []
    for standing, turn in shown[:TRAY]:
        row = package.specimens.get(turn.specimen)
        name = "Check" if row is not None and row.kind == "check" else turn.specimen
        found.append(
            {
                "name": name,
                "standing": standing,
                "glyph": glyph(package.profiles.get((row.profile if row else None) or ""), 52, 28),
            }
        )
    return found


def _closing(state: State, package: Package) -> list[str]:
    kept = sum(take in package.takes for take in state.kept)  # one may have been set aside in Cones since
    aside = len(state.made) - kept
    lines = [f"{count(kept, 'take')} kept." if kept else "No take was kept."]
    if aside:
        lines.append(f"{count(aside, 'take')} set aside, still on the disk.")
    if state.skipped:
        lines.append(f"{count(len(state.skipped), 'seating')} put off to another day.")
    return [line[:1].upper() + line[1:] for line in lines]


def _size(name: str) -> str:
    return "longer" if len(name) > 12 else ("long" if len(name) > 6 else "")
