"""Analyse what is on the shelf, anew where it or the method changed; stopped, it goes on where it was."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from frusta.campaign.analysis import analyse
from frusta.campaign.findings import Findings
from frusta.campaign.parallel import available_cores, map_batches
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
        Processes. Where there are at least as many entries, each works on entries of its own, so that processes
        start once; else they share the takes of one entry after another.
    progress : callable, optional
        Called with entries done and their total.

    Returns
    -------
    Analysed
        Each entry's findings are kept as soon as they are there, so a second run does only what is left.
    """
    old, fresh = stale(shelf, names, anew=anew)
    workers = cores or available_cores()
    if 1 < workers <= len(old):
        place = shelf.database.url.render_as_string(hide_password=False)
        told = map_batches(partial(_analyse_apart, place, str(shelf.database.files)), old, workers, progress)
    else:
        told = []
        for number, name in enumerate(old):
            if progress:
                progress(number, len(old))
            told.append(_try_one(shelf, name, cores))
        if progress:
            progress(len(old), len(old))
    failed = tuple((name, why) for name, why in zip(old, told, strict=True) if why is not None)
    done = tuple(name for name, why in zip(old, told, strict=True) if why is None)
    return Analysed(done, tuple(fresh), failed)


def _analyse_apart(place: str, files: str, name: str) -> str | None:
    """Analyse one entry in a process of its own, and keep its findings at once."""
    shelf = Shelf(place, Path(files))
    try:
        return _try_one(shelf, name, 1)
    finally:
        shelf.close()


def _try_one(shelf: Shelf, name: str, cores: int | None) -> str | None:
    """Analyse one entry; why it cannot be, or None."""
    try:
        _analyse_one(shelf, name, cores)
    except FrustaError as error:
        return str(error)
    return None


def _analyse_one(shelf: Shelf, name: str, cores: int | None) -> None:
    content = shelf.contents(name).content
    shelf.keep_findings(name, content, findings_of(shelf, name, cores))


def findings_of(shelf: Shelf, name: str, cores: int | None = None) -> Findings:
    """Return the findings of an entry, by analysing it now."""
    with tempfile.TemporaryDirectory(prefix="frusta-shelf-") as place:
        folder = Path(place).resolve()
        shelf.open(name, folder)
        return analyse(folder, cores=cores).findings
