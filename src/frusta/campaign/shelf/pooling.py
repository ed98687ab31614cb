"""Packages from several rigs side by side: what each rig does, learned from check cones that travelled.

Every look is tied to the first by specimens that both heard, directly or over others between; what a rig does to
level and modes is then taken out, with its uncertainty, and results stay labelled by rig.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from frusta.campaign.shelf.ageing import Comparison, compare_looks
from frusta.campaign.shelf.look import Look
from frusta.campaign.shelf.shifts import Shift
from frusta.errors import ParameterError

SAME_CONE = 0.05
"""Farther apart in mass (natural logarithm), two cones of one key are not one cone."""

SAME_MODES = 0.10
"""The same of their modes: rigs differ by joints, by a few per cent."""


@dataclass(frozen=True)
class RigEffect:
    """What one look's rig does compared with the first look's; add up along the way.

    Attributes
    ----------
    look, rig : str
    via : tuple of str
        Looks between, nearest to the first first.
    shared : tuple of str
        Specimens that tie it to the look before.
    level_db, level_db_u : float or None
    every, first : Shift or None
        Of all modes, and more of first modes, natural logarithm.
    reason : str
        Why there is none.
    """

    look: str
    rig: str
    via: tuple[str, ...]
    shared: tuple[str, ...]
    level_db: float | None
    level_db_u: float | None
    every: Shift | None
    first: Shift | None
    reason: str = ""


def rig_effects(looks: Sequence[Look]) -> tuple[RigEffect, ...]:
    """Return what each look's rig does, the first being the measure.

    Parameters
    ----------
    looks : sequence of Look
        At least one; names differ.

    Returns
    -------
    tuple of RigEffect
        In the order given. A look that no specimen ties to the others has no effect but the reason; a specimen whose
        mass or modes show that it is another cone of the same key ties nothing.

    Raises
    ------
    ParameterError
        If there is no look.
    """
    if not looks:
        raise ParameterError("looks must hold at least one (got none); name campaigns of the shelf")
    start = looks[0]
    nothing = Shift(0.0, 0.0)
    found = {start.name: RigEffect(start.name, _rig(start), (), (), 0.0, 0.0, nothing, nothing)}
    reached = [start]
    for base in reached:
        for look in looks:
            if look.name in found:
                continue
            effect = _tied(found[base.name], base, look)
            if effect is not None:
                found[look.name] = effect
                reached.append(look)
    why = "no check cone or other specimen was heard on it and on a rig that is tied to the first; let one travel"
    return tuple(
        found.get(look.name) or RigEffect(look.name, _rig(look), (), (), None, None, None, None, why) for look in looks
    )


def effect_lines(effects: Sequence[RigEffect]) -> list[str]:
    """Return rig effects in words, a line a look."""
    lines = []
    for effect in effects:
        head = f"{effect.look} (rig {effect.rig})"
        if effect.every is None or effect.first is None:
            lines.append(f"{head}: cannot be pooled: {effect.reason}.")
            continue
        if not effect.shared:
            lines.append(f"{head}: the measure of the others.")
            continue
        way = f" over {', '.join(effect.via)}" if effect.via else ""
        level = "level not comparable"
        if effect.level_db is not None and effect.level_db_u is not None:
            level = f"level {effect.level_db:+.2f} ± {effect.level_db_u:.2f} dB"
        moved = f"modes {_percent(effect.every)}, first modes {_percent(effect.first)} more"
        lines.append(f"{head}: {level}, {moved}, by {', '.join(effect.shared)}{way}.")
    return lines


def _tied(base: RigEffect, before: Look, look: Look) -> RigEffect | None:
    """The effect of a look that shares true specimens with one that is tied already."""
    shared = [name for name in look.specimens if name in before.specimens and _one_cone(before, look, name)]
    if not shared or base.every is None or base.first is None:
        return None
    try:
        comparison: Comparison = compare_looks(_only(before, shared), _only(look, shared), other_rig=True)
    except ParameterError:
        return None
    if abs(comparison.frequency.every.value) > SAME_MODES or not any(c.modes >= 3 for c in comparison.specimens):
        return None
    level, level_u = None, None
    if comparison.level is not None and base.level_db is not None and base.level_db_u is not None:
        level = base.level_db + comparison.level.level_db
        level_u = math.hypot(base.level_db_u, comparison.level.level_db_u)
    return RigEffect(
        look.name,
        _rig(look),
        (*base.via, before.name) if base.shared else (),
        tuple(c.specimen for c in comparison.specimens),
        level,
        level_u,
        _sum(base.every, comparison.frequency.every),
        _sum(base.first, comparison.frequency.first),
    )


def _one_cone(a: Look, b: Look, name: str) -> bool:
    """Whether two looks mean the same thing by one key, as far as kind and mass tell."""
    if a.specimens[name].kind != b.specimens[name].kind:
        return False
    masses = a.mass_kg.get(name), b.mass_kg.get(name)
    if masses[0] is None or masses[1] is None:
        return True
    return abs(math.log(masses[1][0] / masses[0][0])) <= SAME_CONE


def _only(look: Look, names: Sequence[str]) -> Look:
    """A look at some specimens alone."""
    kept = tuple(r for r in look.readings if r.specimen in names)
    takes = {r.take for r in kept}
    return Look(
        look.name,
        {name: look.specimens[name] for name in names},
        look.sessions,
        look.rigs,
        look.history,
        kept,
        tuple(m for m in look.modes if m.take in takes),
        {k: v for k, v in look.rig_of.items() if k in takes},
        look.absolute,
        look.mass_kg,
    )


def _rig(look: Look) -> str:
    return ", ".join(sorted(set(look.rig_of.values()))) or "none"


def _sum(a: Shift, b: Shift) -> Shift:
    return Shift(a.value + b.value, math.hypot(a.u, b.u))


def _percent(shift: Shift) -> str:
    return f"{100 * math.expm1(shift.value):+.2f} ± {100 * shift.u:.2f} %"
