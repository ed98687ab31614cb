"""`frusta import`: recordings, sweeps and impulse responses made elsewhere become takes."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Literal, cast

import typer

from frusta.campaign.counts import counted
from frusta.cli.say import say, spoken
from frusta.errors import PackageError

Channel = Annotated[int | None, typer.Option(min=1, help="Channel of the recording, counted from 1.")]


def import_(
    files: Annotated[list[Path], typer.Argument(metavar="FILES", help="WAV or FLAC: recordings, impulse responses.")],
    into: Annotated[Path, typer.Option("--into", metavar="DIR", help="The package (a folder).")],
    specimen: Annotated[str | None, typer.Option(help="Which specimen: a key of specimens.csv.")] = None,
    session: Annotated[str | None, typer.Option(help="Which session: a key of sessions.csv.")] = None,
    rig: Annotated[str | None, typer.Option(help="Which rig, where there are no sessions.")] = None,
    kind: Annotated[str | None, typer.Option(help="What the files are: sweep, impulse or tap.")] = None,
    sweep: Annotated[str | None, typer.Option(help="What was played: a key of sweeps.csv.")] = None,
    signal: Annotated[
        Path | None, typer.Option(metavar="FILE", help="What was played, as a file; becomes a row of sweeps.csv.")
    ] = None,
    seating: Annotated[
        str | None, typer.Option(help="Number of the seating, or `new`: each file is a further seating.")
    ] = None,
    microphone_channel: Channel = None,
    reference_channel: Channel = None,
    current_channel: Channel = None,
    drive_gain_db: Annotated[float | None, typer.Option(help="Gain of the drive, dB re the session's.")] = None,
    yes: Annotated[bool, typer.Option("--yes", "-y", help="Write without asking, if nothing is open.")] = False,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Show what was understood; write nothing.")] = False,
) -> None:
    """Take in recordings, sweeps and impulse responses made elsewhere.

    Shows what was understood of each file and from what; what cannot be known is asked for by naming the option
    that tells it. Nothing is written while a question is open, nothing is ever written over, and recordings are
    copied byte for byte.
    """
    from frusta.campaign.import_plan import Choices
    from frusta.campaign.importing import apply_import, plan_import

    choices = Choices(
        specimen=specimen,
        session=session,
        rig=rig,
        kind=_kind(kind),
        sweep=sweep,
        signal=signal,
        seating=_seating(seating),
        microphone_channel=microphone_channel,
        reference_channel=reference_channel,
        current_channel=current_channel,
        drive_gain_db=drive_gain_db,
    )
    plan = plan_import(files, into, choices)
    for line in plan.lines():
        say(line)
    if plan.questions:
        raise PackageError(f"{len(plan.questions)} open, nothing was written; first: {plan.questions[0]}")
    if dry_run:
        say("Nothing was written (--dry-run).")
        return
    if not yes and sys.stdin.isatty() and not typer.confirm(spoken("Write this?"), default=True):
        say("Nothing was written.")
        return
    takes = apply_import(plan)
    say(f"{counted(len(takes), 'take')} written: {', '.join(takes) or 'none were new'}")


def _kind(text: str | None) -> Literal["sweep", "impulse", "tap"] | None:
    if text in {None, "sweep", "impulse", "tap"}:
        return cast("Literal['sweep', 'impulse', 'tap'] | None", text)
    raise PackageError(f"--kind must be sweep, impulse or tap (got {text!r})")


def _seating(text: str | None) -> int | Literal["new"] | None:
    if text is None:
        return None
    if text == "new":
        return "new"
    if text.isdigit():
        return int(text)
    raise PackageError(f"--seating must be a whole number or `new` (got {text!r})")
