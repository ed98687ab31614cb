"""Sittings that left no journal, as in a package that came from elsewhere: the few takes asked for are read."""

from __future__ import annotations

from collections.abc import Collection

from frusta.bench.earlier import SittingBefore
from frusta.bench.events import TakeVerdict, Turn
from frusta.bench.judging import held_figures
from frusta.bench.steps import State, TakeMade
from frusta.campaign.package import Package
from frusta.campaign.resolve import calibration_of, resolve_take
from frusta.campaign.rows import Take
from frusta.errors import FrustaError

SEATINGS = 2
"""How many seatings of a cone are read: each costs the better part of a second before the verdict."""


class TableSittings:
    """Reads earlier takes of a cone, each once."""

    def __init__(self) -> None:
        self._read: dict[str, TakeMade | None] = {}

    def last(self, package: Package, state: State, sweep: str, journals: Collection[str]) -> SittingBefore | None:
        """Return the last sitting without a journal that has takes of the cone at hand, or None.

        Parameters
        ----------
        package : Package
        state : State
            Of the sitting at hand; only the first level of a series is compared.
        sweep : str
            Key; takes of another one are left out.
        journals : collection of str
            Sessions that left a journal.

        Returns
        -------
        SittingBefore or None
            With the last seatings of the cone, and what was read before of the same sitting: the check cone's.
        """
        turn, here = state.queue[0], package.sessions.get(state.session)
        if here is None or state.level_index > 0:
            return None
        rows: dict[str, list[Take]] = {}
        for row in package.takes.values():
            session = package.sessions.get(row.session or "")
            if session is None or session.session in journals or session.session == state.session:
                continue
            swept = row.sweep == sweep and (row.recording_is or "sweep") == "sweep"
            if row.specimen == turn.specimen and swept and session.rig == here.rig:
                rows.setdefault(session.session, []).append(row)
        if not rows:
            return None
        last = max(rows, key=lambda key: package.sessions[key].date)
        by_seating: dict[int, Take] = {}
        for row in rows[last]:
            held = by_seating.get(row.seating)
            if held is None or (row.drive_gain_db or 0.0) > (held.drive_gain_db or 0.0):
                by_seating[row.seating] = row
        own = [self._take(package, by_seating[seating]) for seating in sorted(by_seating)[-SEATINGS:]]
        known = [t for t in self._read.values() if t and t not in own and package.takes[t.take].session == last]
        return SittingBefore(last, tuple(t for t in (*known, *own) if t is not None))

    def _take(self, package: Package, row: Take) -> TakeMade | None:
        if row.take not in self._read:
            self._read[row.take] = _read(package, row)
        return self._read[row.take]


def _read(package: Package, row: Take) -> TakeMade | None:
    """A take as the bench would have kept it; None where it cannot be read."""
    try:
        resolved = resolve_take(package, row)
        figures, uncertainties = held_figures(package, resolved, calibration_of(package, resolved.rig))
    except FrustaError:
        return None
    verdict = TakeVerdict("ok", (), figures, uncertainties)
    turn = Turn(row.specimen, row.seating)
    return TakeMade(row.take, row.recording, turn, verdict, row.drive_gain_db or 0.0, 0, row.taken_at or "")
