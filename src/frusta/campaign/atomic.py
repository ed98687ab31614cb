"""Write beside and move into place: a result is there whole or what was there before still is."""

from __future__ import annotations

import glob
import os
import secrets
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from frusta.errors import OutputError

LEFT_S = 86_400.0
"""Nothing is written for a day."""

Content = bytes | Callable[[BinaryIO], None]


def write_atomically(path: Path | str, content: Content, *, overwrite: bool = True) -> Path:
    """Write a file beside its place and move it there.

    Parameters
    ----------
    path : Path or str
        Where the file goes; folders above it are made. A device or pipe is written straight.
    content : bytes or callable
        The bytes, or a function that writes them to the open binary file it is given.
    overwrite : bool
        Whether a file that is there is replaced.

    Returns
    -------
    Path
        The path.

    Raises
    ------
    OutputError
        If it cannot be written (no space, no permission, a folder in its place, or already there
        and not to be overwritten); what was there is untouched.
    """
    path = Path(path)
    with told(path):
        target = path.resolve() if path.is_symlink() else path
        if target.is_dir():
            raise OutputError(f"{path}: must be a file (it is a folder); name a file")
        if target.exists() and not target.is_file():
            with target.open("wb") as device:
                _put(device, content)
            return path
        if target.exists() and not overwrite:
            raise OutputError(f"{path}: must not be there yet (it is); choose another name")
        target.parent.mkdir(parents=True, exist_ok=True)
        _forget_leftovers(target)
        part = beside(target)
        try:
            with part.open("xb") as file:
                _put(file, content)
                file.flush()
                os.fsync(file.fileno())
            if target.exists():
                shutil.copymode(target, part)
            _move(part, target, overwrite)
        finally:
            part.unlink(missing_ok=True)
    return path


def write_folder_atomically(path: Path | str, fill: Callable[[Path], None]) -> Path:
    """Fill a folder beside its place and move it, or every file of it, there.

    Parameters
    ----------
    path : Path or str
        The folder; where it is there already, its other files stay and those of the same name are replaced,
        once all of the new ones have been written.
    fill : callable
        Writes the files into the empty folder that it is given.

    Returns
    -------
    Path
        The path.

    Raises
    ------
    OutputError
        If anything cannot be written; what was there is untouched.
    """
    path = Path(path)
    with told(path):
        if path.exists() and not path.is_dir():
            raise OutputError(f"{path}: must be a folder (it is a file); name a folder")
        path.parent.mkdir(parents=True, exist_ok=True)
        _forget_leftovers(path.resolve())
        part = beside(path.resolve())
        part.mkdir()
        try:
            fill(part)
            if not path.exists():
                part.rename(path)
            else:
                _merge(part, path)
        finally:
            shutil.rmtree(part, ignore_errors=True)
    return path


def beside(path: Path) -> Path:
    """Return an unused hidden name in the same folder."""
    return path.with_name(f".{path.name[:100]}.{secrets.token_hex(6)}.part")


def _forget_leftovers(path: Path) -> None:
    """Remove what a kill left beside a place, once it is so old that nobody can still be writing it."""
    for part in path.parent.glob(f".{glob.escape(path.name[:100])}.*.part"):
        try:
            if time.time() - part.lstat().st_mtime < LEFT_S:
                continue
            if part.is_dir() and not part.is_symlink():
                shutil.rmtree(part, ignore_errors=True)
            else:
                part.unlink()
        except OSError:  # somebody else was quicker, or may and we may not
            continue


@contextmanager
def told(path: Path) -> Iterator[None]:
    """Turn the system's refusals within to one clear line about ``path``.

    Raises
    ------
    OutputError
        Where the system refuses.
    """
    try:
        yield
    except OSError as error:
        in_the_way = isinstance(error, FileExistsError | NotADirectoryError)
        reason = "a file stands where a folder must" if in_the_way else (error.strerror or str(error)).lower()
        raise OutputError(
            f"{path}: must be writable ({reason}); nothing that was there has been changed: "
            "free some space or choose another place"
        ) from error


def _put(file: BinaryIO, content: Content) -> None:
    if callable(content):
        content(file)
    else:
        file.write(content)


def _move(part: Path, target: Path, overwrite: bool) -> None:
    """Rename, or link where a file that came in the meantime must not be replaced."""
    if overwrite:
        part.replace(target)
        return
    try:
        os.link(part, target)
    except FileExistsError:
        raise OutputError(f"{target}: must not be there yet (it is); choose another name") from None
    except OSError:  # a file system without hard links
        if target.exists():
            raise OutputError(f"{target}: must not be there yet (it is); choose another name") from None
        part.rename(target)


def _merge(part: Path, path: Path) -> None:
    """Move all files of ``part`` into ``path``; look before that nothing stands in the way."""
    files = sorted(f for f in part.rglob("*") if f.is_file())
    for file in files:
        target = path / file.relative_to(part)
        blocked = [p for p in target.relative_to(path).parents if (path / p).exists() and not (path / p).is_dir()]
        if target.is_dir() or blocked:
            raise OutputError(f"{target}: must be a file in a folder (something else is there); move it away")
    for file in files:
        target = path / file.relative_to(part)
        target.parent.mkdir(parents=True, exist_ok=True)
        file.replace(target)
