"""What the Bench shows while the rig's constants are measured: the order, what was found beside what the table says."""

from __future__ import annotations

from typing import Any

from markupsafe import Markup

from frusta.bench.fit_drawing import PAGE, PHONE, fit_svg
from frusta.bench.rig_constants import RigConstants
from frusta.campaign.rows import Rig
from frusta.publish.words import NBSP, listed
from frusta.web.plus_minus import plus_minus
from frusta.web.rig_measuring import MeasuringState, RigMeasuring

Z_95 = 1.96
CONSTANTS = (
    ("force_factor_tm", "Force factor", f"T{NBSP}m"),
    ("suspension_stiffness_n_mm", "Suspension stiffness", "N/mm"),
    ("suspension_resistance_ns_m", "Suspension resistance", f"N{NBSP}s/m"),
    ("coil_resistance_ohm", "Coil resistance", "ohm"),
    ("coil_inductance_mh", "Coil inductance", "mH"),
)
MOVING = ("total_mass_g", "All that moves: cone, coil, air", "g")


def constants_of(measuring: RigMeasuring) -> dict[str, Any]:
    """Return all that the ticket shows."""
    state = measuring.state
    stage = "sweep" if state.sounding else state.step
    told: dict[str, Any] = {
        "stage": stage,
        "at": state.step,
        "specimen": state.specimen,
        "rig": state.rig,
        "added": f"{state.added_g:g}{NBSP}g",
        "by_current": state.by_current,
        "problem": state.problem,
        "rows": [],
        "missing": "",
    }
    if state.found is not None:
        told |= {
            "rows": rows_of(state.found, measuring.rig),
            "missing": missing_words(state.found),
            "left": f"{100 * state.found.misfit:.2g}{NBSP}%",
            "drawing": Markup(fit_svg(state.found, PAGE)),  # numbers and our own words only
            "drawing_slim": Markup(fit_svg(state.found, PHONE)),
        }
    return told


def plain_constants(state: MeasuringState) -> dict[str, Any]:
    """Return where the measuring stands as plain values; uncertainties are standard ones."""
    found = state.found
    return {
        "rig": state.rig,
        "specimen": state.specimen,
        "added_mass_g": state.added_g,
        "step": state.step,
        "sounding": state.sounding,
        "error": None if state.problem is None else state.problem.body()["error"],
        "values": {} if found is None else found.values,
        "uncertainties": {} if found is None else found.uncertainties,
        "reasons": {} if found is None else found.reasons,
    }


def rows_of(found: RigConstants, rig: Rig) -> list[tuple[str, str, str]]:
    """Return the constants that were found: name, value with half of its 95 % interval, what the table says."""
    rows = []
    for key, name, unit in (*CONSTANTS, MOVING):
        if key not in found.values:
            continue
        half = Z_95 * found.uncertainties[f"{key}_u"]
        held = getattr(rig, key, None)
        before = "" if key == MOVING[0] else known_words(held, unit)
        rows.append((name, plus_minus(found.values[key], half, unit), before))
    return rows


def known_words(value: float | None, unit: str) -> str:
    r"""Return what a table says of a constant.

    >>> known_words(None, "mH"), known_words(4.1, "mH")
    ('not known', '4.1\xa0mH')
    """
    return "not known" if value is None else f"{value:g}{NBSP}{unit}"


def missing_words(found: RigConstants) -> str:
    """Return which constants could not be had, and why; nothing where all were."""
    names = [name.lower() for key, name, _ in CONSTANTS if key in found.reasons]
    if not names:
        return ""
    why = next(iter(found.reasons.values()))
    said = listed(names)
    return f"{said[0].upper()}{said[1:]}: none. {why[0].upper()}{why[1:]}."


def summary_of(rig: Rig | None) -> str:
    """Return in words which constants a rig has."""
    if rig is None:
        return "of the rig that you choose"
    names = [name for key, name, _ in CONSTANTS if getattr(rig, key) is None]
    if not names:
        return "all known"
    if len(names) == len(CONSTANTS):
        return "none known yet"
    said = listed([name.lower() for name in names])
    return f"{said} not known"
