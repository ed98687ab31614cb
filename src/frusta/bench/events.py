"""What can happen at the bench, as small values that a journal keeps: decisions of the maker and news of the device."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from frusta.errors import PackageError

Reason = Literal["check first", "cone", "check last", "seating test"]
MassColumn = Literal["mass_g", "mass_with_coil_g"]


@dataclass(frozen=True)
class Turn:
    """One pushing-on that is still to come.

    Parameters
    ----------
    specimen : str
    seating : int
        Counted per specimen.
    why : {"check first", "cone", "check last", "seating test"}
    """

    specimen: str
    seating: int
    why: Reason = "cone"


@dataclass(frozen=True)
class TakeFaultNote:
    """A fault of a take in words."""

    fault: str
    where: str
    what_to_do: str


@dataclass(frozen=True)
class TakeVerdict:
    """What is to be known of a take before it is kept.

    Parameters
    ----------
    quality : {"ok", "look", "repeat"}
    faults : tuple of TakeFaultNote
    figures, uncertainties : dict of str to float
        The few figures that the bench compares (level_db, breakup_hz, ...), and their standard uncertainties.
    lines : tuple of str
        The verdict in words, most important first.
    advice : {"keep", "repeat", "reseat"}
    """

    quality: Literal["ok", "look", "repeat"]
    faults: tuple[TakeFaultNote, ...] = ()
    figures: dict[str, float] = field(default_factory=dict)
    uncertainties: dict[str, float] = field(default_factory=dict)
    lines: tuple[str, ...] = ()
    advice: Literal["keep", "repeat", "reseat"] = "keep"


@dataclass(frozen=True)
class Event:
    """Anything that changes the state of the bench."""


@dataclass(frozen=True)
class Began(Event):
    """A sitting began: what is to be done, at which levels (dB re the levelled gain), which cones are to be weighed."""

    session: str
    queue: tuple[Turn, ...]
    levels_db: tuple[float, ...] = (0.0,)
    weigh: tuple[str, ...] = ()
    level_rule: Literal["equal level", "equal voltage"] = "equal level"


@dataclass(frozen=True)
class Fetched(Event):
    """The cone is in the hand."""


@dataclass(frozen=True)
class Skipped(Event):
    """Not this one today."""


@dataclass(frozen=True)
class Chosen(Event):
    """Take this specimen next; a seating of the number given is added if none is left."""

    specimen: str
    new_seating: int = 1


@dataclass(frozen=True)
class Added(Event):
    """A specimen that was not planned joins, with so many seatings."""

    specimen: str
    seatings: int = 1
    first_seating: int = 1
    weigh: bool = True


@dataclass(frozen=True)
class Weighed(Event):
    """A mass was read; `before` is what the table said."""

    mass_g: float
    column: MassColumn = "mass_g"
    before: str = ""


@dataclass(frozen=True)
class NotWeighed(Event):
    """Go on without the mass."""


@dataclass(frozen=True)
class Seated(Event):
    """The cone is on."""


@dataclass(frozen=True)
class Levelled(Event):
    """The level stood on its target; the gain it took, and the level that the sweep will have."""

    drive_gain_db: float
    level_db: float | None = None
    target_db: float | None = None


@dataclass(frozen=True)
class SweepBegan(Event):
    """A take begins under this name."""

    take: str
    drive_gain_db: float = 0.0


@dataclass(frozen=True)
class SoundStopped(Event):
    """The maker stopped the sound."""


@dataclass(frozen=True)
class Recorded(Event):
    """A take is on disk, and this is its verdict."""

    take: str
    recording: str
    verdict: TakeVerdict
    taken_at: str = ""
    drive_gain_db: float = 0.0


@dataclass(frozen=True)
class Kept(Event):
    """Keep the take."""


@dataclass(frozen=True)
class Repeated(Event):
    """Set the take aside and sweep again, the cone left on."""


@dataclass(frozen=True)
class Reseated(Event):
    """Set the take aside, pull the cone off and push it on again."""


@dataclass(frozen=True)
class Failed(Event):
    """Sound, disk or device failed: what, where, what to do."""

    what: str
    where: str = ""
    what_to_do: str = ""


@dataclass(frozen=True)
class Mended(Event):
    """Go on after a failure."""


@dataclass(frozen=True)
class Undone(Event):
    """Take the last decision back."""


@dataclass(frozen=True)
class Ending(Event):
    """Enough for today: only the check cone is still to come."""


@dataclass(frozen=True)
class Ended(Event):
    """The sitting is over."""


@dataclass(frozen=True)
class Tabled(Event):
    """The tables were brought in line with the bench; what is changed in them afterwards is the maker's own."""


EVENTS: Mapping[str, type[Event]] = {
    kind.__name__: kind
    for kind in (
        Began,
        Fetched,
        Skipped,
        Chosen,
        Added,
        Weighed,
        NotWeighed,
        Seated,
        Levelled,
        SweepBegan,
        SoundStopped,
        Recorded,
        Kept,
        Repeated,
        Reseated,
        Failed,
        Mended,
        Undone,
        Ending,
        Ended,
        Tabled,
    )
}


def to_plain(event: Event) -> dict[str, Any]:
    """Return an event as plain values for JSON, its kind under ``event``."""
    return {"event": type(event).__name__, **dataclasses.asdict(event)}


def from_plain(values: Mapping[str, Any]) -> Event:
    """Return the event that `to_plain` wrote.

    Raises
    ------
    PackageError
        If the kind or a field is not known: another version wrote it.
    """
    name = None
    try:
        rest = dict(values)
        name = rest.pop("event", None)
        kind = EVENTS[str(name)]
        if kind is Began:
            rest["queue"] = tuple(Turn(**turn) for turn in rest["queue"])
            rest["levels_db"] = tuple(rest["levels_db"])
            rest["weigh"] = tuple(rest["weigh"])
        if kind is Recorded:
            rest["verdict"] = _verdict(rest["verdict"])
        return kind(**rest)
    except (KeyError, TypeError, ValueError) as error:
        raise PackageError(
            f"the bench's journal must hold events of this version (got {name!r}: {error}); "
            "remove the journal to begin the sitting anew, takes stay"
        ) from error


def _verdict(values: Mapping[str, Any]) -> TakeVerdict:
    rest = dict(values)
    rest["faults"] = tuple(TakeFaultNote(**fault) for fault in rest["faults"])
    rest["lines"] = tuple(rest["lines"])
    return TakeVerdict(**rest)
