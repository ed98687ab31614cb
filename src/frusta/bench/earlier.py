"""Kept takes of this and other sittings: what a new seating is compared with."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

from frusta.bench.journal import other_journals
from frusta.bench.judging import Earlier
from frusta.bench.steps import State, TakeMade, replay
from frusta.errors import FrustaError


def seating_before(known: Sequence[TakeMade], state: State) -> Earlier | None:
    """Return the kept take of the seating before, of the cone at hand at the same level of the series, or None.

    Parameters
    ----------
    known : sequence of TakeMade
        Of other sittings, oldest first.
    state : State
        Of this one.
    """
    turn = state.queue[0]
    before = [
        t
        for t in (*known, *state.kept_takes)
        if t.turn.specimen == turn.specimen and t.level_index == state.level_index and t.turn.seating < turn.seating
    ]
    if not before:
        return None
    last = max(before, key=lambda t: t.turn.seating)
    return Earlier(last.turn.seating, last.verdict.figures, last.verdict.uncertainties)


def seating_pairs(kept: Sequence[TakeMade]) -> list[tuple[dict[str, float], dict[str, float]]]:
    """Return the figures of consecutive kept seatings of the same cone at the same level."""
    by_cone: dict[tuple[str, int], list[TakeMade]] = {}
    for take in kept:
        by_cone.setdefault((take.turn.specimen, take.level_index), []).append(take)
    return [
        (a.verdict.figures, b.verdict.figures)
        for takes in by_cone.values()
        for a, b in pairwise(takes)
        if a.turn.seating != b.turn.seating
    ]


def kept_before(root: Path, session: str) -> tuple[TakeMade, ...]:
    """Return kept takes of all other sittings that left a journal, oldest first; a damaged one is passed over."""
    kept: list[TakeMade] = []
    for journal in other_journals(root, session):
        try:
            state = replay(journal.read())
        except FrustaError:
            continue
        kept += state.kept_takes if state else ()
    return tuple(kept)
