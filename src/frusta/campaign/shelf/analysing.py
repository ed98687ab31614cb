"""Analyse what is on the shelf, anew where it or the method changed; stopped, it goes on where it was."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from frusta.campaign.analysis import analyse
from frusta.campaign.findings import Findings
from frusta.campaign.shelf.store import Shelf
from frusta.errors import FrustaError
from frusta.version import __version__

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Analysed:
    """What came of analysing entries.

    Attributes
    ----------
    done : tuple of str
        Analysed now.
    fresh : tuple of str
        Whose findings were up to date.
    failed : tuple of (str, str)
        Entries that cannot be analysed, and why; the others are not held up by them.
    """

    done: tuple[str, ...]
    fresh: tuple[str, ...]
    failed: tuple[tuple[str, str], ...]


def stale(shelf: Shelf, names: Sequence[str] = (), *, anew: bool = False) -> tuple[list[str], list[str]]:
    """Return the entries whose findings are missing or of another version, and those that are up to date."""
    for name in names:
        shelf.contents(name)
    method = f"frusta {__version__}"
    entries = [e for e in shelf.entries() if not names or e.entry in names]
    old = [e.entry for e in entries if anew or e.analysed_by != method]
    return old, [e.entry for e in entries if e.entry not in old]


def analyse_shelf(
    shelf: Shelf,
    names: Sequence[str] = (),
    *,
    anew: bool = False,
    cores: int | None = None,
    progress: Progress | None = None,
) -> Analysed:
    """Analyse entries whose findings are missing or of another version.

    Parameters
    ----------
    shelf : Shelf
    names : sequence of str
        Entries; all by default.
    anew : bool
        Also those that are up to date.
    cores : int, optional
        Processes for each.
    progress : callable, optional
        Called with entries done and their total.

    Returns
    -------
    Analysed
        Each entry's findings are kept as soon as they are there, so a second run does only what is left.
    """
    old, fresh = stale(shelf, names, anew=anew)
    done: list[str] = []
    failed: list[tuple[str, str]] = []
    for number, name in enumerate(old):
        if progress:
            progress(number, len(old))
        try:
            _analyse_one(shelf, name, cores)
            done.append(name)
        except FrustaError as error:
            failed.append((name, str(error)))
    if progress:
        progress(len(old), len(old))
    return Analysed(tuple(done), tuple(fresh), tuple(failed))


def _analyse_one(shelf: Shelf, name: str, cores: int | None) -> None:
    content = shelf.contents(name).content
    shelf.keep_findings(name, content, findings_of(shelf, name, cores))


def findings_of(shelf: Shelf, name: str, cores: int | None = None) -> Findings:
    """Return the findings of an entry, by analysing it now."""
    with tempfile.TemporaryDirectory(prefix="frusta-shelf-") as place:
        folder = Path(place).resolve()
        shelf.open(name, folder)
        return analyse(folder, cores=cores).findings
