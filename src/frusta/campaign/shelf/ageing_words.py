"""A comparison of two looks as sentences and as JSON."""

from __future__ import annotations

import json
import math
from typing import Any

from frusta.campaign.counts import things
from frusta.campaign.sentences import MINUS, NBSP
from frusta.campaign.shelf.ageing import Comparison, SpecimenChange, next_look
from frusta.campaign.shelf.shifts import Shift


def comparison_json(comparison: Comparison) -> bytes:
    """Return a comparison as the bytes of its JSON file: UTF-8, one space of indent."""
    return (json.dumps(comparison_document(comparison), indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode()


def comparison_document(comparison: Comparison) -> dict[str, Any]:
    """Return what the JSON file of a comparison holds.

    Parameters
    ----------
    comparison : Comparison

    Returns
    -------
    dict
        ``rig`` (level_db, level_db_u, verdict, and what is common to all modes), ``specimens`` (ratios later over
        earlier with the rig's share taken out, standard uncertainties, verdict, probability, events, next look,
        sentence), ``not_compared``.
    """
    level, shared = comparison.level, comparison.frequency
    rig: dict[str, Any] = {
        "level_db": level.level_db if level else None,
        "level_db_u": level.level_db_u if level else None,
        "verdict": comparison.level_verdict,
        "microphone_moved_db": comparison.distance_db,
        "frequency_ratio": math.exp(shared.every.value),
        "frequency_ratio_u": math.exp(shared.every.value) * shared.every.u,
        "first_mode_ratio": math.exp(shared.every.value + shared.first.value),
        "first_mode_ratio_u": math.exp(shared.every.value) * math.hypot(shared.every.u, shared.first.u),
        "loss_factor_ratio": math.exp(comparison.loss.every.value),
        "learned_from": list(shared.learned_from),
        "warmer_k": comparison.warmer_k,
        "sentence": rig_sentence(comparison),
        "reasons": {"level_db": comparison.level_reason} if comparison.level_reason else {},
    }
    return {
        "format": 1,
        "earlier": comparison.earlier.name,
        "later": comparison.later.name,
        "rig": rig,
        "specimens": [_row(comparison, change) for change in comparison.specimens],
        "not_compared": [{"specimen": name, "only_in": where} for name, where in comparison.only],
    }


def _row(comparison: Comparison, change: SpecimenChange) -> dict[str, Any]:
    look = next_look(change, comparison.later, comparison.earlier)
    return {
        "specimen": change.specimen,
        "kind": change.kind,
        **_ratio("frequency_ratio", change.frequency_ratio),
        **_ratio("loss_factor_ratio", change.loss_factor_ratio),
        **_ratio("all_modes_ratio", change.all_modes),
        **_ratio("all_losses_ratio", change.all_losses),
        **_ratio("mass_ratio", change.mass),
        "verdict": change.verdict,
        "probability_changed": change.probability_changed,
        "breakup_hz": change.mode_hz,
        "breakup_is_now_hz": change.breakup_now_hz,
        "modes": change.modes,
        "modes_that_moved_alone": [{"frequency_hz": f, "ratio": math.exp(r)} for f, r in change.strays],
        "events": list(change.events),
        "next_look": look[0].isoformat() if look else None,
        "next_look_because": look[1] if look else None,
        "sentence": specimen_sentence(comparison, change),
        "reasons": change.reasons,
    }


def _ratio(key: str, shift: Shift | None) -> dict[str, float | None]:
    if shift is None:
        return {key: None, f"{key}_u": None}
    return {key: math.exp(shift.value), f"{key}_u": math.exp(shift.value) * shift.u}


def comparison_lines(comparison: Comparison) -> list[str]:
    """Return a comparison in words: the rig, then a sentence a specimen, changed ones first."""
    order = {"changed": 0, "unclear": 1, "unchanged": 2}
    changes = sorted(comparison.specimens, key=lambda c: order[c.verdict])
    lines = [f"{comparison.earlier.name} → {comparison.later.name}", rig_sentence(comparison)]
    for change in changes:
        look = next_look(change, comparison.later, comparison.earlier)
        due = f" Next look: {look[0].isoformat()}." if look else ""
        lines.append(f"  {change.specimen}: {specimen_sentence(comparison, change)}{due}")
    for look_name in (comparison.earlier.name, comparison.later.name):
        names = [name for name, where in comparison.only if where == look_name]
        if names:
            lines.append(f"Only in {look_name}: {', '.join(names)}.")
    return lines


def rig_sentence(comparison: Comparison) -> str:
    """Return what the rig did: "The rig plays 0.8 dB louder (0.6 to 1.0); ..."."""
    level, shared = comparison.level, comparison.frequency
    if level is None:
        first = f"The rig's level cannot be compared: {comparison.level_reason}."
    else:
        low, high = (level.level_db + sign * 1.96 * level.level_db_u for sign in (-1, 1))
        interval = f"({_signed(low, 1)} to {_signed(high, 1)}{NBSP}dB, {things(level.specimens, 'specimen')})"
        words = {"changed": "The rig's level changed by", "unchanged": "The rig's level stayed:"}
        begin = words.get(comparison.level_verdict, "Whether the rig's level changed is unclear:")
        first = f"{begin} {_signed(level.level_db, 2)}{NBSP}dB {interval}."
        if comparison.distance_db is not None:
            first += f" The microphone's new place explains about {_signed(comparison.distance_db, 1)}{NBSP}dB of it."
    told = _names(shared.learned_from)
    source = f"from {told}" if shared.learned_from else "assumed: no specimen stayed the same"
    first_modes = Shift(shared.every.value + shared.first.value, math.hypot(shared.every.u, shared.first.u))
    moved = f" Rig and air moved all modes by {_percent(shared.every)}, first by {_percent(first_modes)} ({source})."
    warmer = comparison.warmer_k
    if warmer:
        moved += f" It was {abs(warmer):.1f}{NBSP}K {'warmer' if warmer > 0 else 'colder'}."
    return first + moved


def specimen_sentence(comparison: Comparison, change: SpecimenChange) -> str:
    """Return what happened to a specimen, in one sentence.

    "changed: modes down 2.1 % (1.6 to 2.6) since annealed (2026-06-01); the rig explains 0.1 %."
    """
    if change.all_modes is None or change.all_losses is None:
        return f"{change.verdict}: {change.reasons.get('frequency_ratio', 'no mode to compare')}."
    since = f" since {change.events[-1]}" if change.events else ""
    rig = abs(100 * math.expm1(comparison.frequency.every.value))
    if change.verdict == "unchanged":
        text = f"unchanged{since}: modes {_interval(change.all_modes, change.level_95)}"
        text += f", loss factor {_interval(change.all_losses, change.level_95)}"
    else:
        text = f"{change.verdict}{since}: modes {_moved(change.all_modes, change.level_95)}"
        text += f", loss factor {_moved(change.all_losses, change.level_95)}"
        if change.mass is not None and abs(change.mass.value) > 2 * change.mass.u:
            text += f", mass {_moved(change.mass, 1.96)}"
    text += f"; the rig explains {rig:.1f}{NBSP}%"
    if change.verdict == "unclear":
        text += "; one more seating would tell more"
    if change.breakup_now_hz is not None:
        text += f"; its break-up is now another mode, at {change.breakup_now_hz:.0f}{NBSP}Hz"
    for frequency, ratio in change.strays[:2]:
        text += f"; the mode at {frequency:.0f}{NBSP}Hz moved by itself, {_signed(100 * math.expm1(ratio), 1)}{NBSP}%"
    return text + "."


def _moved(shift: Shift, factor: float) -> str:
    """Return "down 2.1 % (1.6 to 2.6)", or the interval about zero."""
    low, high = (100 * math.expm1(shift.value + sign * factor * shift.u) for sign in (-1, 1))
    middle = 100 * math.expm1(shift.value)
    if low * high <= 0:
        return _interval(shift, factor)
    ends = sorted((abs(low), abs(high)))
    return f"{'up' if middle > 0 else 'down'} {abs(middle):.1f}{NBSP}% ({ends[0]:.1f} to {ends[1]:.1f})"


def _interval(shift: Shift, factor: float) -> str:
    low, high = (100 * math.expm1(shift.value + sign * factor * shift.u) for sign in (-1, 1))
    return f"{_signed(100 * math.expm1(shift.value), 1)}{NBSP}% ({_signed(low, 1)} to {_signed(high, 1)})"


def _percent(shift: Shift) -> str:
    return f"{_signed(100 * math.expm1(shift.value), 2)} ± {100 * shift.u:.2f}{NBSP}%"


def _signed(value: float, decimals: int) -> str:
    text = f"{abs(value):.{decimals}f}"
    if float(text) == 0:
        return text
    return (MINUS if value < 0 else "+") + text


def _names(names: tuple[str, ...]) -> str:
    if len(names) <= 3:
        return " and ".join(names)
    return f"{names[0]} and {len(names) - 1} more"
