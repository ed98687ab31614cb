"""The bench without a maker: every answer is the advised one. For rehearsals, and to show that nothing is lost."""

from __future__ import annotations

from collections.abc import Callable

from frusta.bench.events import Ended, Event, Fetched, Kept, NotWeighed, Repeated, Reseated, Seated, Skipped
from frusta.bench.guide import Guide
from frusta.bench.steps import State
from frusta.errors import FrustaError

MOST_REPEATS = 2


def run_unattended(guide: Guide, say: Callable[[str], None]) -> None:
    """Go through a whole sitting.

    Parameters
    ----------
    guide : Guide
        Begun or resumed.
    say : callable
        Told a line for each take once it is kept or set aside, and each failure.

    Raises
    ------
    FrustaError
        If the device or the disk fails; what was kept is kept, and the sitting can be resumed.
    """
    while guide.state.step != "done":
        guide.wait()
        state = guide.state
        if state.fault is not None:
            raise FrustaError(f"{state.fault.what}; {state.fault.what_to_do}")
        event = _answer(state)
        if event is None:
            raise FrustaError(f"the bench stopped in step {state.step}; run frusta record again to go on")
        guide.press(event)
        if state.take is not None and isinstance(event, Kept | Repeated | Reseated | Skipped):
            word = "kept" if isinstance(event, Kept) else "aside"
            say(f"{word} {state.take.take}: {'; '.join(state.take.verdict.lines)}")
    guide.wait()


def _answer(state: State) -> Event | None:
    match state.step:
        case "cone":
            return Fetched()
        case "weigh":
            return NotWeighed()
        case "seat":
            # a cone that has been set aside so often is left for another day, not swept for ever
            return Skipped() if _set_aside(state) > MOST_REPEATS else Seated()
        case "level" | "sweep":
            return None
        case "verdict":
            if state.take is None:
                return Ended()
            if _set_aside(state) > MOST_REPEATS and state.take.verdict.advice == "repeat":
                return Reseated()
            # a seating is not repeated for being unlike the one before: scatter is what is to be learnt
            return Repeated() if state.take.verdict.advice == "repeat" else Kept()
        case _:
            return Ended()


def _set_aside(state: State) -> int:
    """Takes of the seating at hand that are not kept."""
    return sum(t.turn == state.queue[0] and t.take not in state.kept for t in state.made)
