"""The plan of an import: what was understood of each file, and what must still be told."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

Kind = Literal["sweep", "impulse", "tap"]


@dataclass(frozen=True)
class Choices:
    """What the user tells about all files of an import; None leaves it to be understood or asked.

    Attributes
    ----------
    specimen : str or None
        Key of specimens.csv.
    session, rig : str or None
        Keys; one of them.
    kind : {"sweep", "impulse", "tap"} or None
        What the recordings are.
    sweep : str or None
        Key of sweeps.csv: what was played.
    signal : Path or None
        The file that was played, where it is not in the package yet; becomes a row of sweeps.csv.
    seating : int, "new" or None
        The seating of all files, or "new": each file is a further seating of its specimen.
    microphone_channel, reference_channel, current_channel : int or None
        From 1.
    drive_gain_db : float or None
        Gain of the drive re the session's full scale.
    """

    specimen: str | None = None
    session: str | None = None
    rig: str | None = None
    kind: Kind | None = None
    sweep: str | None = None
    signal: Path | None = None
    seating: int | Literal["new"] | None = None
    microphone_channel: int | None = None
    reference_channel: int | None = None
    current_channel: int | None = None
    drive_gain_db: float | None = None


@dataclass(frozen=True)
class Question:
    """What must be told before a file can be imported.

    Attributes
    ----------
    column : str
        The column of takes.csv that it is about.
    text : str
        What is not known, and why.
    option : str
        How to tell it.
    """

    column: str
    text: str
    option: str

    def __str__(self) -> str:
        """Return the question as one line."""
        return f"{self.column}: {self.text}; {self.option}"


@dataclass(frozen=True)
class ImportItem:
    """One file on its way to become a take.

    Attributes
    ----------
    source : Path
        The file.
    target : str
        Where it will lie in the package.
    row : dict of str to str
        Cells of its row in takes.csv.
    understood : tuple of str
        What was understood and from what.
    questions : tuple of Question
        What must be told.
    already : str or None
        The take that holds the same bytes; such a file is left out.
    """

    source: Path
    target: str
    row: dict[str, str]
    understood: tuple[str, ...] = ()
    questions: tuple[Question, ...] = ()
    already: str | None = None


@dataclass(frozen=True)
class ImportPlan:
    """What an import will do.

    Attributes
    ----------
    into : Path
        The package.
    items : tuple of ImportItem
        The recordings.
    signal : ImportItem or None
        A sweep's file that becomes a row of sweeps.csv.
    """

    into: Path
    items: tuple[ImportItem, ...]
    signal: ImportItem | None = None

    @property
    def questions(self) -> tuple[Question, ...]:
        """All that must be told before the plan can be carried out."""
        return tuple(q for item in self.items for q in item.questions)

    def lines(self) -> list[str]:
        """Return the plan in words, a line each."""
        found: list[str] = []
        for item in ([self.signal] if self.signal else []) + list(self.items):
            if item.already:
                found.append(f"{item.source}: left out, take {item.already} holds the same recording")
                continue
            key = item.row.get("take") or item.row["sweep"]
            found.append(f"{item.source} -> {item.target} ({'take' if 'take' in item.row else 'sweep'} {key})")
            found += [f"  {text}" for text in item.understood]
            found += [f"  ? {question}" for question in item.questions]
        return found
