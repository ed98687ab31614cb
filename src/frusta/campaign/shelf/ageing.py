"""Has a cone changed, or the rig? Two looks at the same specimens, compared."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Literal

import numpy as np
from scipy.stats import norm
from scipy.stats import t as student_t

from frusta.campaign.findings import ModeRow
from frusta.campaign.shelf.look import Look, day_of
from frusta.campaign.shelf.mode_pairs import HeardMode, heard_modes, pair_modes
from frusta.campaign.shelf.rig_level import RigLevel, rig_level
from frusta.campaign.shelf.shifts import (
    Moved,
    Shared,
    Shift,
    common_shift,
    moved,
    one_mode_shift,
    seating_scatter,
    shared_shift,
)
from frusta.errors import ParameterError

Verdict = Literal["changed", "unchanged", "unclear"]

FREQUENCY_SLOPE_PER_K = -1.5e-3
"""Relative change of a printed cone's modes per kelvin, a handbook's (moduli fall by some 0.3 % a kelvin); from
memory."""

FREQUENCY_SLOPE_U_PER_K = 1.5e-3
LOSS_SLOPE_PER_K, LOSS_SLOPE_U_PER_K = 5e-3, 1e-2

UNEXPLAINED = {"frequency_hz": 3e-3, "loss_factor": 0.03}
"""Standard deviation of what all specimens share at equal temperature: humidity, thermometer, air."""

OTHER_RIG_SD = 0.1
"""The same of all modes between two rigs."""

FIRST_MODE_SD = {"frequency_hz": 0.03, "loss_factor": 0.1}
"""The same of first modes' extra share: a joint that wears from 10 to 5 N/µm lowers them by some 3 %."""

NEGLIGIBLE = {"frequency_hz": 2.5e-3, "loss_factor": 0.04, "mass": 0.01, "level_db": 0.2}
"""Smaller changes are not called changes: less than half of what two prints of one cone differ by, natural logarithm
or dB."""

RULED_OUT = {"frequency_hz": 6.5e-3, "loss_factor": 0.10, "level_db": 0.4}
"""Unchanged means that at 95 % more than this did not happen: modes of two prints of one cone differ by 0.65 %."""

ONE_MODE = 0.02
"""|ln f| within which the break-up that was read, and a mode, are one; the next mode of a cone lies farther off."""

FIGURES: tuple[Literal["frequency_hz", "loss_factor"], ...] = ("frequency_hz", "loss_factor")


@dataclass(frozen=True)
class SpecimenChange:
    """What two looks say of one specimen; ratios are later over earlier with rig and air taken out.

    Attributes
    ----------
    specimen, kind : str
    frequency_ratio, loss_factor_ratio : Shift or None
        Of the break-up (of the lowest paired mode where there is no break-up), natural logarithm.
    all_modes, all_losses : Shift or None
        Of all modes together, natural logarithm.
    mass : Shift or None
        Natural logarithm.
    modes : int
        Paired modes.
    mode_hz : float or None
        The break-up's frequency in the earlier look.
    verdict : {"changed", "unchanged", "unclear"}
    probability_changed : float or None
        That a change larger than negligible happened in frequency or loss factor, the larger of the two.
    level_95 : float
        t factor of a 95 % interval.
    events : tuple of str
        What the history tells between the looks.
    strays : tuple of (Hz, log ratio)
        Modes that moved by themselves.
    reasons : dict of str to str
    breakup_now_hz : float or None
        Where it breaks up in the later look, if that is another mode than the earlier break-up.
    """

    specimen: str
    kind: str
    frequency_ratio: Shift | None
    loss_factor_ratio: Shift | None
    all_modes: Shift | None
    all_losses: Shift | None
    mass: Shift | None
    modes: int
    mode_hz: float | None
    verdict: Verdict
    probability_changed: float | None
    level_95: float
    events: tuple[str, ...] = ()
    strays: tuple[tuple[float, float], ...] = ()
    reasons: dict[str, str] = field(default_factory=dict)
    breakup_now_hz: float | None = None


@dataclass(frozen=True)
class Comparison:
    """Two looks compared.

    Attributes
    ----------
    earlier, later : Look
    level : RigLevel or None
        Of the rig.
    level_verdict : {"changed", "unchanged", "unclear"}
    distance_db : float or None
        What a moved microphone explains of the level.
    frequency, loss : Shared
        What all specimens share.
    specimens : tuple of SpecimenChange
        Those heard in both looks, in the order of the later table.
    only : tuple of (str, str)
        Specimens of one look alone, with which.
    warmer_k : float or None
        Temperature of the later less the earlier look.
    """

    earlier: Look
    later: Look
    level: RigLevel | None
    level_reason: str
    level_verdict: Verdict
    distance_db: float | None
    frequency: Shared
    loss: Shared
    specimens: tuple[SpecimenChange, ...]
    only: tuple[tuple[str, str], ...]
    warmer_k: float | None


def compare_looks(earlier: Look, later: Look, *, other_rig: bool = False) -> Comparison:
    """Compare two looks at the same specimens.

    Parameters
    ----------
    earlier, later : Look
        Specimens are the same where their keys are.
    other_rig : bool
        Whether the looks are of two rigs: nothing is then expected of what all specimens share.

    Returns
    -------
    Comparison

    Raises
    ------
    ParameterError
        If no specimen was heard in both.
    """
    both = [name for name in later.specimens if name in earlier.specimens and _heard(earlier, later, name)]
    if not both:
        raise ParameterError(
            f"{earlier.name} and {later.name} must share a specimen that was heard in both (none has the same key in "
            "both specimens.csv and usable takes in both); give the same cone the same key"
        )
    heard = {name: (_heard_modes(earlier, name), _heard_modes(later, name)) for name in both}
    pairs = {name: pair_modes(*heard[name]) for name in both}
    events = {name: events_between(earlier, later, name) for name in both}
    anchors = [name for name in both if later.specimens[name].kind == "check"]
    warmer = {name: _warmer(earlier, later, name) for name in both}
    known = [w for w in warmer.values() if w is not None]
    warmer_k = float(np.median(known)) if known else None
    moves: dict[str, dict[str, Moved]] = {}
    shared: dict[str, Shared] = {}
    degrees = np.inf
    for figure in FIGURES:
        scatter = seating_scatter(figure, [look for name in both for look in heard[name]])
        degrees = min(degrees, scatter.degrees)
        moves[figure] = {name: moved(figure, *heard[name], pairs[name], scatter) for name in both}
        suspects = [name for name in both if events[name]]
        expected = Shift(0.0, OTHER_RIG_SD) if other_rig else _expected(figure, warmer_k)
        shared[figure] = shared_shift(moves[figure], anchors, suspects, expected, FIRST_MODE_SD[figure])
    changes = tuple(
        _specimen(name, earlier, later, heard[name][0], pairs[name], moves, shared, degrees, len(both), events[name])
        for name in both
    )
    level, why = _level(earlier, later, changes)
    return Comparison(
        earlier,
        later,
        level,
        why,
        _level_verdict(level),
        _distance_db(earlier, later),
        shared["frequency_hz"],
        shared["loss_factor"],
        changes,
        _only(earlier, later, both),
        warmer_k,
    )


def _specimen(
    name: str,
    earlier: Look,
    later: Look,
    modes: Sequence[HeardMode],
    pairs: Sequence[tuple[int, int]],
    moves: Mapping[str, Mapping[str, Moved]],
    shared: Mapping[str, Shared],
    degrees: float,
    family: int,
    events: tuple[str, ...],
) -> SpecimenChange:
    mass = _mass(earlier, later, name)
    kind = later.specimens[name].kind
    reasons = {} if mass else {"mass_ratio": "it was not weighed for both looks"}
    if not pairs:
        why = "no mode was heard in both looks"
        reasons |= dict.fromkeys(("frequency_ratio", "loss_factor_ratio"), why)
        return SpecimenChange(
            name, kind, None, None, None, None, mass, 0, None, "unclear", None, 1.96, events, (), reasons
        )
    index = _breakup_pair(earlier, name, modes, pairs)
    whole: dict[str, Shift] = {}
    one: dict[str, Shift] = {}
    for figure in FIGURES:
        move, common = moves[figure][name], shared[figure].of(name)
        whole[figure] = common_shift(move, common.every, common.first)
        one[figure] = one_mode_shift(move, index, whole[figure], common.every, common.first)
    verdict, probability = _judge(whole, mass, degrees, family)
    return SpecimenChange(
        name,
        kind,
        one["frequency_hz"],
        one["loss_factor"],
        whole["frequency_hz"],
        whole["loss_factor"],
        mass,
        len(pairs),
        float(np.exp(modes[pairs[index][0]].log_frequency)),
        verdict,
        probability,
        float(student_t.ppf(0.975, degrees)),
        events,
        _strays(
            modes,
            pairs,
            moves["frequency_hz"][name],
            whole["frequency_hz"],
            shared["frequency_hz"].of(name),
            degrees,
        ),
        reasons,
        _another_breakup(
            earlier, later, name, modes[pairs[index][0]], float(moves["frequency_hz"][name].log_ratio[index])
        ),
    )


def _judge(whole: Mapping[str, Shift], mass: Shift | None, degrees: float, family: int) -> tuple[Verdict, float]:
    """Changed where the joint 95 % interval leaves out none and the change matters; unchanged where
    `RULED_OUT` is at 95 %; else unclear.
    """
    joint = float(student_t.ppf(1 - (1 - 0.95 ** (1 / (2 * family))) / 2, degrees))
    single = float(student_t.ppf(0.975, degrees))
    tested = {figure: (whole[figure], joint, single) for figure in whole}
    if mass is not None:
        tested["mass"] = (mass, float(norm.ppf(1 - (1 - 0.95 ** (1 / family)) / 2)), 1.96)
    changed = any(abs(s.value) > j * s.u and abs(s.value) >= NEGLIGIBLE[k] for k, (s, j, _) in tested.items())
    same = all(abs(s.value) + one * s.u <= RULED_OUT[k] for k, (s, _, one) in tested.items() if k != "mass")
    probability = max(
        float(student_t.sf((NEGLIGIBLE[k] - abs(s.value)) / s.u, degrees))
        + float(student_t.cdf((-NEGLIGIBLE[k] - abs(s.value)) / s.u, degrees))
        for k, s in whole.items()
    )
    return ("changed" if changed else "unchanged" if same else "unclear"), probability


def _strays(
    modes: Sequence[HeardMode],
    pairs: Sequence[tuple[int, int]],
    move: Moved,
    whole: Shift,
    shared: Shared,
    degrees: float,
) -> tuple[tuple[float, float], ...]:
    """Modes that moved apart from the rest: a crack, a lead wire, a neighbour that pulls."""
    rest = move.log_ratio - shared.every.value - np.where(move.first, shared.first.value, 0.0) - whole.value
    spread = np.sqrt(move.variance + whole.u**2 + (0.15 * whole.value) ** 2 + (0.5 * NEGLIGIBLE["frequency_hz"]) ** 2)
    factor = float(student_t.ppf(1 - 0.0005, degrees))
    return tuple(
        (float(np.exp(modes[i].log_frequency)), float(rest[k] + whole.value))
        for k, (i, _) in enumerate(pairs)
        if abs(rest[k]) > factor * spread[k]
    )


def events_between(earlier: Look, later: Look, specimen: str) -> tuple[str, ...]:
    """Return what a specimen's history tells between two looks: "annealed (2026-06-01)".

    Parameters
    ----------
    earlier, later : Look
        Events of either table; those without a readable date count if only the later table has them.
    specimen : str
    """
    before, after = earlier.days(specimen), later.days(specimen)
    found: dict[str, None] = {}
    for row in later.history:
        day = day_of(row.date)
        inside = day is not None and before is not None and after is not None and before[1] <= day <= after[1]
        new = day is None and row not in earlier.history
        if row.specimen == specimen and (inside or new) and row.event.strip().lower() not in ("measured", "stored"):
            found[f"{row.event} ({row.date})"] = None
    return tuple(found)


def _heard(earlier: Look, later: Look, name: str) -> bool:
    return all(any(r.specimen == name for r in look.usable()) for look in (earlier, later))


def _heard_modes(look: Look, specimen: str) -> list[HeardMode]:
    rows: dict[str, list[ModeRow]] = {}
    for mode in look.modes:
        if mode.circumferential_order == 0:
            rows.setdefault(mode.take, []).append(mode)
    return heard_modes([(r.seating, rows.get(r.take, [])) for r in look.usable() if r.specimen == specimen])


def _breakup_pair(earlier: Look, specimen: str, modes: Sequence[HeardMode], pairs: Sequence[tuple[int, int]]) -> int:
    """Which pair is the break-up of the earlier look; the first where none was read."""
    known = _breakups(earlier, specimen)
    if not known:
        return 0
    breakup = float(np.median(known))
    return int(np.argmin([abs(modes[i].log_frequency - breakup) for i, _ in pairs]))


def _breakups(look: Look, specimen: str) -> list[float]:
    """Break-ups of one specimen as read, natural logarithm of Hz."""
    return [float(np.log(r.breakup_hz)) for r in look.usable() if r.specimen == specimen and r.breakup_hz is not None]


def _another_breakup(earlier: Look, later: Look, specimen: str, mode: HeardMode, log_ratio: float) -> float | None:
    """The later break-up, Hz, where it is not the mode that was the earlier one; None also where takes disagree."""
    then, now = _breakups(earlier, specimen), _breakups(later, specimen)
    steady = all(known and max(known) - min(known) < ONE_MODE for known in (then, now))
    if not steady or abs(float(np.median(then)) - mode.log_frequency) > ONE_MODE:
        return None
    breakup = float(np.median(now))
    return float(np.exp(breakup)) if abs(breakup - mode.log_frequency - log_ratio) > ONE_MODE else None


def _warmer(earlier: Look, later: Look, specimen: str) -> float | None:
    a, b = earlier.temperature_c(specimen), later.temperature_c(specimen)
    return None if a is None or b is None else b - a


def _expected(figure: str, warmer_k: float | None) -> Shift:
    """What the temperatures lead to expect of every specimen; 3 K either way where nobody read them."""
    slope, slope_u = (
        (FREQUENCY_SLOPE_PER_K, FREQUENCY_SLOPE_U_PER_K)
        if figure == "frequency_hz"
        else (LOSS_SLOPE_PER_K, LOSS_SLOPE_U_PER_K)
    )
    unexplained = UNEXPLAINED[figure]
    if warmer_k is None:
        return Shift(0.0, float(np.hypot(3 * (abs(slope) + slope_u), unexplained)))
    return Shift(slope * warmer_k, float(np.hypot(slope_u * warmer_k, unexplained)))


def _mass(earlier: Look, later: Look, name: str) -> Shift | None:
    a, b = earlier.mass_kg.get(name), later.mass_kg.get(name)
    if a is None or b is None:
        return None
    return Shift(float(np.log(b[0] / a[0])), float(np.hypot(a[1] / a[0], b[1] / b[0])))


def _level(earlier: Look, later: Look, changes: Sequence[SpecimenChange]) -> tuple[RigLevel | None, str]:
    if earlier.absolute != later.absolute:
        return None, "the level is in pascals in one look only; give full_scale_pa in both"
    found = rig_level(earlier, later, {c.specimen for c in changes if c.verdict == "changed" and c.kind != "check"})
    return found, "" if found else "no unchanged specimen has a level in both looks"


def _level_verdict(level: RigLevel | None) -> Verdict:
    if level is None:
        return "unclear"
    size, reach = abs(level.level_db), 1.96 * level.level_db_u
    if size > reach and size >= NEGLIGIBLE["level_db"]:
        return "changed"
    return "unchanged" if size + reach <= RULED_OUT["level_db"] else "unclear"


def _distance_db(earlier: Look, later: Look) -> float | None:
    """What a microphone put elsewhere explains, by 1/r: near a cone the truth is a little less."""
    distances = [
        {look.rigs[rig].microphone_distance_mm for rig in set(look.rig_of.values())} for look in (earlier, later)
    ]
    if any(len(d) != 1 for d in distances) or distances[0] == distances[1]:
        return None
    return float(-20 * np.log10(distances[1].pop() / distances[0].pop()))


def _only(earlier: Look, later: Look, both: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """Specimens that cannot be compared."""
    return tuple(
        (name, look.name)
        for look in (earlier, later)
        for name in look.specimens
        if name not in both and look.specimens[name].kind != "coupon"
    )


def next_look(change: SpecimenChange, later: Look, earlier: Look) -> tuple[date, str] | None:
    """Return when to look at a specimen again, and why.

    Parameters
    ----------
    change : SpecimenChange
    later, earlier : Look

    Returns
    -------
    (date, str) or None
        Plastics age with the logarithm of time (L. C. E. Struik, Physical Aging, 1978; from memory), so the next look
        is when the age since the last event has doubled for what changed or is unclear, tripled for what did not:
        never before a week, never after two years. None where no date is known.
    """
    days, before = later.days(change.specimen), earlier.days(change.specimen)
    if days is None:
        return None
    row = later.specimens[change.specimen]
    dates = [day_of(row.printed_on), *(day_of(e.date) for e in later.history if e.specimen == change.specimen)]
    begun = [d for d in dates if d is not None and d <= days[1]]
    start = max(begun) if begun else before[0] if before else days[0]
    age = max((days[1] - start).days, 1)
    wait = min(max(age if change.verdict != "unchanged" else 2 * age, 7), 730)
    word = "doubled" if change.verdict != "unchanged" else "tripled"
    return date.fromordinal(days[1].toordinal() + wait), f"its age since {start.isoformat()} has then {word}"
