"""A take on the disk: its name, its place, its writing beside the place and moving there."""

from __future__ import annotations

import io
from collections.abc import Collection
from pathlib import Path

import numpy as np
import soundfile

from frusta.bench.device import Floats
from frusta.bench.steps import State
from frusta.campaign.atomic import write_atomically

RECORDINGS = "recordings"


def recording_of(session: str, take: str) -> str:
    """Return where the recording of a take lies in its package."""
    return f"{RECORDINGS}/{session}/{take}.wav"


def new_take(root: Path, state: State, taken: Collection[str]) -> str:
    """Return a name that no take and no file has: specimen, seating, level of a series, a number if repeated.

    Parameters
    ----------
    root : Path
        Of the package.
    state : State
        The first of its queue is recorded.
    taken : collection of str
        Takes of takes.csv.
    """
    turn = state.queue[0]
    series = f"-l{state.level_index + 1}" if len(state.levels_db) > 1 else ""
    stem = f"{turn.specimen[:48]}-{turn.seating}{series}"
    used = {*taken, *(t.take for t in state.made)}
    number, name = 1, stem
    while name in used or (root / recording_of(state.session, name)).exists():
        number += 1
        name = f"{stem}.{number}"
    return name


def write_recording(path: Path, samples: Floats, sample_rate_hz: int) -> None:
    """Write a take beside its place, flushed, and move it there: 24 bits, or float where it goes over full scale.

    Raises
    ------
    OutputError
        If it cannot be written; nothing is left behind.
    """
    subtype = "PCM_24" if float(np.max(np.abs(samples), initial=0.0)) < 1.0 else "FLOAT"
    held = io.BytesIO()
    soundfile.write(held, samples, sample_rate_hz, subtype=subtype, format="WAV")
    write_atomically(path, held.getvalue(), overwrite=False)


def remove_unfinished(root: Path, session: str) -> None:
    """Remove what a killed process left half written beside takes and tables."""
    for folder in (root, root / RECORDINGS / session):
        if folder.is_dir():
            for part in folder.glob(".*.part"):
                if part.is_file():
                    part.unlink(missing_ok=True)
