"""The steps of the bench as a state machine: pure, no clock, no disk, no sound.

cone → weigh → seat → level → sweep → verdict → next cone; a failure anywhere leads to ``fault`` and back. `after`
gives the next state for an event; the same events give the same state, so that a journal of them is the whole memory.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from frusta.bench.events import (
    Added,
    Began,
    Chosen,
    Ended,
    Ending,
    Event,
    Failed,
    Fetched,
    Kept,
    Levelled,
    Mended,
    NotWeighed,
    Recorded,
    Repeated,
    Reseated,
    Seated,
    Skipped,
    SoundStopped,
    SweepBegan,
    Tabled,
    TakeVerdict,
    Turn,
    Undone,
    Weighed,
)
from frusta.errors import ParameterError

Step = Literal["cone", "weigh", "seat", "level", "sweep", "verdict", "fault", "done"]


@dataclass(frozen=True)
class TakeMade:
    """A take that lies on disk, kept or not."""

    take: str
    recording: str
    turn: Turn
    verdict: TakeVerdict
    drive_gain_db: float
    level_index: int
    taken_at: str


@dataclass(frozen=True)
class State:
    """Where the bench stands.

    Parameters
    ----------
    session : str
        Key of the sitting.
    step : str
        What is to be done now.
    queue : tuple of Turn
        The turn at hand first, then all that are to come.
    skipped : tuple of Turn
        Put off to another day.
    levels_db : tuple of float
        Levels of a series, dB re the levelled gain; one for a plain sweep.
    level_index : int
        Which of them is next.
    level_rule : {"equal level", "equal voltage"}
    weigh : tuple of str
        Specimens whose mass is still wanted.
    masses : dict of str to tuple
        By specimen: column, mass in g (None: taken back), and what the table said before.
    drive_gain_db : float or None
        Of this seating, once levelled.
    target_db : float or None
        Level that all cones of the sitting are brought to.
    take : TakeMade or None
        The take that waits for its verdict.
    running : str or None
        Name of the take that sounds.
    made : tuple of TakeMade
        Every take on disk, in order; undo never removes one.
    kept : tuple of str
        Names of those that are kept.
    fault : Failed or None
        What failed.
    failed_in : str or None
        The step in which it failed.
    past : State or None
        What undo leads back to.
    """

    session: str
    step: Step
    queue: tuple[Turn, ...]
    skipped: tuple[Turn, ...] = ()
    levels_db: tuple[float, ...] = (0.0,)
    level_index: int = 0
    level_rule: Literal["equal level", "equal voltage"] = "equal level"
    weigh: tuple[str, ...] = ()
    masses: dict[str, tuple[str, float | None, str]] = field(default_factory=dict)
    drive_gain_db: float | None = None
    target_db: float | None = None
    take: TakeMade | None = None
    running: str | None = None
    made: tuple[TakeMade, ...] = ()
    kept: tuple[str, ...] = ()
    fault: Failed | None = None
    failed_in: Step | None = None
    past: State | None = field(default=None, compare=False, repr=False)

    @property
    def turn(self) -> Turn | None:
        """The pushing-on at hand."""
        return self.queue[0] if self.queue and self.step != "done" else None

    @property
    def kept_takes(self) -> tuple[TakeMade, ...]:
        """The takes that are kept, in order."""
        return tuple(t for t in self.made if t.take in self.kept)


def begin(event: Began) -> State:
    """Return the first state of a sitting."""
    state = State(
        session=event.session,
        step="cone",
        queue=event.queue,
        levels_db=event.levels_db,
        level_rule=event.level_rule,
        weigh=event.weigh,
    )
    return state if event.queue else replace(state, step="done")


def after(state: State, event: Event) -> State:
    """Return the state after an event.

    Parameters
    ----------
    state : State
    event : Event

    Returns
    -------
    State

    Raises
    ------
    ParameterError
        If the event cannot happen in this step; the state stays what it was.
    """
    kind = type(event)
    if kind not in _ALLOWED:
        raise ParameterError(f"{kind.__name__} cannot happen here; begin a sitting first")
    steps, change = _ALLOWED[kind]
    if state.step not in steps:
        raise ParameterError(
            f"{kind.__name__} must come in step {' or '.join(steps)} (now: {state.step}); follow what the bench shows"
        )
    new = change(state, event)
    return replace(new, past=state) if kind in _DECISIONS else new


def last_tabled(events: Sequence[Event]) -> State | None:
    """Return the state that the tables were last brought in line with, or None if they never were.

    Raises
    ------
    ParameterError
        If the events contradict each other.
    """
    ends = [place for place, event in enumerate(events) if isinstance(event, Tabled)]
    return replay(events[: ends[-1]]) if ends else None


def replay(events: Iterable[Event]) -> State | None:
    """Return the state after all events of a journal, or None if it is empty.

    Raises
    ------
    ParameterError
        If the events contradict each other.
    """
    state: State | None = None
    for event in events:
        if isinstance(event, Began):
            state = begin(event)
        elif state is None:
            raise ParameterError("a journal must begin with the beginning of a sitting")
        else:
            state = after(state, event)
    return state


def _fetched(state: State, _: Fetched) -> State:
    turn = state.queue[0]
    return replace(state, step="weigh" if turn.specimen in state.weigh else "seat")


def _skipped(state: State, _: Skipped) -> State:
    return _next_turn(replace(state, skipped=(*state.skipped, state.queue[0])))


def _chosen(state: State, event: Chosen) -> State:
    """Bring a specimen's next turn to the front, a skipped one before a new one."""
    for place, turn in enumerate(state.queue):
        if turn.specimen == event.specimen and turn.why == "cone":
            return replace(state, queue=(turn, *state.queue[:place], *state.queue[place + 1 :]), step="cone")
    for place, turn in enumerate(state.skipped):
        if turn.specimen == event.specimen:
            rest = (*state.skipped[:place], *state.skipped[place + 1 :])
            return replace(state, queue=(turn, *state.queue), skipped=rest, step="cone")
    made = [t.turn.seating for t in state.made if t.turn.specimen == event.specimen]
    new = Turn(event.specimen, max([event.new_seating, *(number + 1 for number in made)]))
    return replace(state, queue=(new, *state.queue), step="cone")


def _added(state: State, event: Added) -> State:
    """Put the new turns before the check cone that comes last."""
    new = tuple(Turn(event.specimen, event.first_seating + i) for i in range(event.seatings))
    last = [t for t in state.queue if t.why == "check last"]
    rest = [t for t in state.queue if t.why != "check last"]
    weigh = (*state.weigh, event.specimen) if event.weigh and event.specimen not in state.weigh else state.weigh
    step = "cone" if state.step == "done" else state.step
    return replace(state, queue=(*rest, *new, *last), weigh=weigh, step=step)


def _weighed(state: State, event: Weighed) -> State:
    name = state.queue[0].specimen
    first = state.masses.get(name, ("", None, event.before))
    masses = {**state.masses, name: (event.column, event.mass_g, first[2])}
    return replace(state, masses=masses, weigh=tuple(s for s in state.weigh if s != name), step="seat")


def _not_weighed(state: State, _: NotWeighed) -> State:
    return replace(state, step="seat")


def _seated(state: State, _: Seated) -> State:
    return replace(state, step="level", level_index=0, drive_gain_db=None)


def _levelled(state: State, event: Levelled) -> State:
    target = state.target_db if event.target_db is None else event.target_db
    return replace(state, step="sweep", drive_gain_db=event.drive_gain_db, target_db=target)


def _sweep_began(state: State, event: SweepBegan) -> State:
    return replace(state, running=event.take)


def _sound_stopped(state: State, _: SoundStopped) -> State:
    return replace(state, step="seat", running=None)


def _recorded(state: State, event: Recorded) -> State:
    take = TakeMade(
        event.take,
        event.recording,
        state.queue[0],
        event.verdict,
        event.drive_gain_db,
        state.level_index,
        event.taken_at,
    )
    return replace(state, step="verdict", take=take, running=None, made=(*state.made, take))


def _kept(state: State, _: Kept) -> State:
    take = _waiting(state)
    state = replace(state, kept=(*state.kept, take.take), take=None)
    if state.level_index + 1 < len(state.levels_db):
        return replace(state, step="sweep", level_index=state.level_index + 1)
    return _next_turn(state)


def _repeated(state: State, _: Repeated) -> State:
    return replace(state, step="sweep", take=None)


def _reseated(state: State, _: Reseated) -> State:
    return replace(state, step="seat", take=None)


def _failed(state: State, event: Failed) -> State:
    failed_in = state.failed_in if state.step == "fault" else state.step
    return replace(state, step="fault", fault=event, failed_in=failed_in, running=None)


def _mended(state: State, _: Mended) -> State:
    """Back to where it failed; from sound to the seat, as the cone may have been touched."""
    step = state.failed_in if state.failed_in in ("cone", "weigh", "verdict") else "seat"
    return replace(state, step=step or "seat", fault=None, failed_in=None)


def _undone(state: State, _: Undone) -> State:
    """The state before the last decision; takes on disk stay known."""
    if state.past is None:
        raise ParameterError("there is nothing to take back; this is where the sitting began")
    taken_back = {name: (m[0], None, m[2]) for name, m in state.masses.items() if name not in state.past.masses}
    return replace(state.past, made=state.made, masses={**state.past.masses, **taken_back}, running=None)


def _ending(state: State, _: Ending) -> State:
    last = tuple(t for t in state.queue if t.why == "check last")
    left = tuple(t for t in state.queue if t.why != "check last")
    # the check cone closes a sitting only if something was measured in it
    queue = last if state.kept else ()
    return replace(state, queue=queue, skipped=(*state.skipped, *left), step="cone" if queue else "done")


def _ended(state: State, _: Ended) -> State:
    return replace(state, step="done", skipped=(*state.skipped, *state.queue), queue=(), take=None, running=None)


def _tabled(state: State, _: Tabled) -> State:
    return state


def _next_turn(state: State) -> State:
    queue = state.queue[1:]
    return replace(state, queue=queue, step="cone" if queue else "done", level_index=0, drive_gain_db=None, take=None)


def _waiting(state: State) -> TakeMade:
    if state.take is None:
        raise ParameterError("no take waits for a verdict")
    return state.take


_ANYWHERE: tuple[Step, ...] = ("cone", "weigh", "seat", "level", "sweep", "verdict", "fault")
_ALLOWED: dict[type[Event], tuple[tuple[Step, ...], Callable[[State, Any], State]]] = {
    Fetched: (("cone",), _fetched),
    Skipped: (("cone", "weigh", "seat"), _skipped),
    Chosen: (("cone", "done"), _chosen),
    Added: (("cone", "done"), _added),
    Weighed: (("weigh",), _weighed),
    NotWeighed: (("weigh",), _not_weighed),
    Seated: (("seat",), _seated),
    Levelled: (("level",), _levelled),
    SweepBegan: (("sweep",), _sweep_began),
    SoundStopped: (("level", "sweep"), _sound_stopped),
    Recorded: (("sweep",), _recorded),
    Kept: (("verdict",), _kept),
    Repeated: (("verdict",), _repeated),
    Reseated: (("verdict",), _reseated),
    Failed: (_ANYWHERE, _failed),
    Mended: (("fault",), _mended),
    Undone: ((*_ANYWHERE, "done"), _undone),
    Ending: (_ANYWHERE, _ending),
    Ended: ((*_ANYWHERE, "done"), _ended),
    Tabled: ((*_ANYWHERE, "done"), _tabled),
}
_DECISIONS = frozenset({Fetched, Skipped, Chosen, Added, Weighed, NotWeighed, Seated, Kept, Repeated, Reseated, Ending})
"""What undo takes back; news of the device is none."""
