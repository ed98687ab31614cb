"""Files kept once by their hash, in a folder beside the database."""

from __future__ import annotations

import hashlib
import os
import secrets
from pathlib import Path

from frusta.errors import OutputError, PackageError

_BLOCK = 2**20


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file's content, hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def place_of(folder: Path, sha256: str) -> Path:
    """Return where content of that hash lies."""
    return folder / sha256[:2] / sha256


def keep(folder: Path, source: Path, sha256: str) -> bool:
    """Copy a file's content under its hash unless it is there.

    Parameters
    ----------
    folder : Path
    source : Path
    sha256 : str
        Of its content, as hashed before; held against what is copied.

    Returns
    -------
    bool
        Whether it was copied.

    Raises
    ------
    OutputError
        If it cannot be written.
    PackageError
        If the file changed meanwhile.
    """
    place = place_of(folder, sha256)
    if place.exists():
        return False
    part = place.with_name(f".{sha256[:16]}-{secrets.token_hex(4)}")
    digest = hashlib.sha256()
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        with source.open("rb") as file, part.open("xb") as out:
            while block := file.read(_BLOCK):
                digest.update(block)
                out.write(block)
            out.flush()
            os.fsync(out.fileno())
        if digest.hexdigest() != sha256:
            raise PackageError(f"{source}: must stay as it is while it is taken in (it changed); try again")
        part.replace(place)
    except OSError as error:
        raise OutputError(f"{place}: must be writable ({error.strerror}); free some space or allow writing") from error
    finally:
        part.unlink(missing_ok=True)
    return True
