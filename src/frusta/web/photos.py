"""Photos of specimens on the page: kept, shown, taken away; the browser has made them small before."""

from __future__ import annotations

from pathlib import Path

from frusta.campaign.atomic import write_atomically
from frusta.campaign.package import Package
from frusta.campaign.photos import MOST, bare_jpeg, photo_name
from frusta.errors import ParameterError
from frusta.web.edits import Edits, Step


def photos_of(package: Package, specimen: str) -> list[int]:
    """Return the numbers of a specimen's photos."""
    return [n for n in range(1, MOST + 1) if _path(package.root, specimen, n).is_file()]


def photo_path(package: Package, specimen: str, number: int) -> Path:
    """Return where a photo lies; its name is made of a key of the package and a number, never of a path.

    Raises
    ------
    ParameterError
        If there is none.
    """
    if specimen not in package.specimens or number not in photos_of(package, specimen):
        raise ParameterError("there is no such photo; reload the page")
    return _path(package.root, specimen, number)


def keep_photo(package: Package, root: Path, edits: Edits, specimen: str, data: bytes) -> int:
    """Keep a photo of a specimen, without what a camera wrote into it, and return its number.

    Raises
    ------
    ParameterError
        If there is no such specimen, the bytes are no JPEG, or there are too many.
    OutputError
        If it cannot be written.
    """
    if specimen not in package.specimens:
        raise ParameterError(f"specimen must be one of specimens.csv (got {specimen[:64]!r}); reload the page")
    data = bare_jpeg(data)
    number = next((n for n in range(1, MOST + 1) if not _path(root, specimen, n).exists()), None)
    if number is None:
        raise ParameterError(f"a specimen can have {MOST} photos (it has them); take one away first")
    path = _path(root, specimen, number)
    with edits.lock:
        write_atomically(path, data, overwrite=False)
        edits.steps.append(Step(f"Added a photo of {specimen}.", path, None, data))
    return number


def take_away(package: Package, root: Path, edits: Edits, specimen: str, number: int) -> None:
    """Take a photo out of the package; undo brings it back.

    Raises
    ------
    ParameterError
        If there is none.
    """
    photo_path(package, specimen, number)
    path = _path(root, specimen, number)
    with edits.lock:
        data = path.read_bytes()
        path.unlink()
        edits.steps.append(Step(f"Took away a photo of {specimen}.", path, data, None))


def _path(root: Path, specimen: str, number: int) -> Path:
    return root / photo_name(specimen, number)
