"""Compare two packages or two entries of the shelf, whichever the names name."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from frusta.campaign.analysis import read_takes
from frusta.campaign.findings import ModeRow, Reading
from frusta.campaign.package import Package, open_package
from frusta.campaign.rows import SLUG_PATTERN
from frusta.campaign.shelf.ageing import Comparison, compare_looks
from frusta.campaign.shelf.drivers import Standing, standings
from frusta.campaign.shelf.look import Look, look_at
from frusta.campaign.shelf.store import Shelf
from frusta.errors import ParameterError

Progress = Callable[[int, int], None]
OpenShelf = Callable[[], Shelf]


def compare(
    earlier: str,
    later: str,
    open_shelf: OpenShelf,
    *,
    cores: int | None = None,
    progress: Progress | None = None,
) -> Comparison:
    """Compare two looks at the same specimens.

    Parameters
    ----------
    earlier, later : str
        Paths of packages, or names of entries; what lies there as a file or folder is a path.
    open_shelf : callable
        Opens the shelf; called only where a name is no path.
    cores, progress
        For packages that must be read.

    Raises
    ------
    PackageError
        If a package cannot be used.
    ParameterError
        If a name is neither, or the two share no specimen.
    """
    return compare_looks(
        look_of(earlier, open_shelf, cores=cores, progress=progress),
        look_of(later, open_shelf, cores=cores, progress=progress),
    )


def look_of(name: str, open_shelf: OpenShelf, *, cores: int | None = None, progress: Progress | None = None) -> Look:
    """Return the look that a path or an entry's name means; findings on the shelf are used if they are up to date."""
    with _opened(name, open_shelf, cores, progress) as (package, readings, modes):
        return look_at(_short(name), package, readings, modes)


def standings_of(name: str, open_shelf: OpenShelf, *, cores: int | None = None) -> tuple[Standing, ...]:
    """Return `frusta.campaign.shelf.drivers.standings` of a package's path or an entry's name."""
    with _opened(name, open_shelf, cores, None) as (package, readings, _):
        return standings(package, readings)


@contextmanager
def _opened(
    name: str, open_shelf: OpenShelf, cores: int | None, progress: Progress | None
) -> Iterator[tuple[Package, Sequence[Reading], Sequence[ModeRow]]]:
    """A package with its readings and modes, as long as its files are needed."""
    if Path(name).exists() or not re.fullmatch(SLUG_PATTERN, name):
        package = open_package(name)
        yield package, *read_takes(package, cores=cores, progress=progress)
        return
    shelf = open_shelf()
    try:
        findings = shelf.findings(name)
    except ParameterError as error:
        raise ParameterError(
            f"{name}: must be a package's path or a name on the shelf (it is neither); {error}"
        ) from error
    with tempfile.TemporaryDirectory(prefix="frusta-shelf-") as place:
        package = shelf.open(name, Path(place).resolve(), tables_only=findings is not None)
        if findings is not None:
            yield package, findings.readings, findings.modes
        else:
            yield package, *read_takes(package, cores=cores, progress=progress)


def _short(name: str) -> str:
    return Path(name).name or name
