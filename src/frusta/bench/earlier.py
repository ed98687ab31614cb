"""Kept takes of this and earlier sittings: what a new seating is compared with."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

from frusta.bench.journal import other_journals
from frusta.bench.judging import Earlier
from frusta.bench.since_before import Past
from frusta.bench.steps import State, TakeMade, replay
from frusta.campaign.package import Package
from frusta.errors import FrustaError


@dataclass(frozen=True)
class SittingBefore:
    """An earlier sitting that left a journal, and the takes that were kept in it."""

    session: str
    kept: tuple[TakeMade, ...]


def sittings_before(root: Path, session: str) -> tuple[SittingBefore, ...]:
    """Return all other sittings that left a journal, oldest first; a damaged one is passed over.

    Parameters
    ----------
    root : Path
        Folder of the package.
    session : str
        The sitting at hand.
    """
    found: list[SittingBefore] = []
    for journal in other_journals(root, session):
        try:
            state = replay(journal.read())
        except FrustaError:
            continue
        if state is not None:
            found.append(SittingBefore(state.session, state.kept_takes))
    return tuple(found)


def standing(kept: Iterable[TakeMade], package: Package) -> tuple[TakeMade, ...]:
    """Return the takes that still stand in takes.csv; those set aside there count no longer."""
    return tuple(t for t in kept if t.take in package.takes)


def seating_before(kept: Sequence[TakeMade], state: State) -> Earlier | None:
    """Return the kept take of the seating before, of the cone at hand at the same level of the series, or None.

    Parameters
    ----------
    kept : sequence of TakeMade
        Of this sitting: what differs from one sitting to the next is no matter of how a cone was pushed on.
    state : State
    """
    turn = state.queue[0]
    before = [t for t in _alike(kept, turn.specimen, state.level_index) if t.turn.seating < turn.seating]
    if not before:
        return None
    last = max(before, key=lambda t: t.turn.seating)
    return Earlier(last.turn.seating, last.verdict.figures, last.verdict.uncertainties)


def seating_pairs(sittings: Iterable[Sequence[TakeMade]]) -> list[tuple[dict[str, float], dict[str, float]]]:
    """Return the figures of consecutive kept seatings of the same cone at the same level within a sitting."""
    pairs = []
    for kept in sittings:
        by_cone: dict[tuple[str, int], list[TakeMade]] = {}
        for take in kept:
            by_cone.setdefault((take.turn.specimen, take.level_index), []).append(take)
        pairs += [
            (a.verdict.figures, b.verdict.figures)
            for takes in by_cone.values()
            for a, b in pairwise(takes)
            if a.turn.seating != b.turn.seating
        ]
    return pairs


def past_of(known: Sequence[SittingBefore], state: State, package: Package, sweep: str) -> Past | None:
    """Return what the last sitting that had the cone at hand found of it, or None if there is none to compare with.

    Parameters
    ----------
    known : sequence of SittingBefore
        Of one day, oldest first.
    state : State
        Of the sitting at hand.
    package : Package
    sweep : str
        Key: only takes of the same sweep, through the same rig, are compared.
    """
    here, turn = package.sessions.get(state.session), state.queue[0]
    days = {key: row.date for key, row in package.sessions.items()}
    newest_first = sorted(enumerate(known), key=lambda one: (days.get(one[1].session, ""), one[0]), reverse=True)
    for _, sitting in newest_first:
        there = package.sessions.get(sitting.session)
        if here is None or there is None or there.rig != here.rig:
            continue
        kept = [t for t in standing(sitting.kept, package) if package.takes[t.take].sweep == sweep]
        alike = _by_seating(_alike(kept, turn.specimen, state.level_index))
        if not alike:
            continue
        known_pa = (package.rigs[there.rig].full_scale_pa if there.rig in package.rigs else None) is not None
        same_level = (here.full_scale_pa is not None or known_pa) == (there.full_scale_pa is not None or known_pa)
        past = Past(
            there.date,
            len(alike),
            _means([t.verdict.figures for t in alike]),
            _means([t.verdict.uncertainties for t in alike]),
            same_level,
            is_check=turn.why in ("check first", "check last"),
        )
        return past if past.is_check else _beside_check(past, kept, standing(state.kept_takes, package), package)
    return None


def _beside_check(past: Past, then: Sequence[TakeMade], now: Sequence[TakeMade], package: Package) -> Past:
    """Add by how much the check cone plays louder in this sitting than in that one."""
    checks = [row.specimen for row in package.specimens.values() if row.kind == "check"]
    for check in checks:
        before, today = (_by_seating(_alike(takes, check, 0)) for takes in (then, now))
        levels = [
            [t.verdict.figures["level_db"] for t in takes if "level_db" in t.verdict.figures]
            for takes in (before, today)
        ]
        if all(levels):
            a, b = levels
            moved = sum(b) / len(b) - sum(a) / len(a)
            return replace(past, check_moved_db=moved, check_terms=1.0 / len(a) + 1.0 / len(b))
    return past


def _alike(kept: Iterable[TakeMade], specimen: str, level_index: int) -> list[TakeMade]:
    return [t for t in kept if t.turn.specimen == specimen and t.level_index == level_index]


def _by_seating(takes: Iterable[TakeMade]) -> list[TakeMade]:
    """The last take of each seating."""
    return list({t.turn.seating: t for t in takes}.values())


def _means(figures: Sequence[dict[str, float]]) -> dict[str, float]:
    """The mean of each figure over those that have it."""
    keys = {key for one in figures for key in one}
    held = {key: [one[key] for one in figures if key in one] for key in sorted(keys)}
    return {key: math.fsum(values) / len(values) for key, values in held.items()}
