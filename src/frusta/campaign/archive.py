"""Unpack the zip of a package safely: no path out of it, no links, no bombs."""

from __future__ import annotations

import shutil
import stat
import struct
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from pathlib import Path, PurePosixPath

from frusta.errors import OutputError, PackageError

FREE_BYTES = 256 * 2**20
"""What any zip may unpack to."""
RATIO = 20
"""What it may unpack to beyond, as a multiple of its own size: sound packs 1.5 to 5 times, tables 10 times."""
LARGEST_BYTES = 64 * 2**30
MOST_FILES = 100_000
_BLOCK = 2**20
_PACKED = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_DAMAGE = (zipfile.BadZipFile, zlib.error, struct.error, EOFError, ValueError, NotImplementedError, RuntimeError)
"""What `zipfile` lets out on damaged bytes; a name in a wrong encoding is a ValueError."""


def unpack(archive: Path, folder: Path) -> Path:
    """Unpack a package and return the folder that holds its tables.

    Parameters
    ----------
    archive : Path
        The zip; its tables stand at the top or in one folder.
    folder : Path
        An empty folder of ours.

    Returns
    -------
    Path
        ``folder``, or the one folder within it that holds campaign.csv.

    Raises
    ------
    PackageError
        If it is no zip, is damaged or encrypted, holds absolute or '..' paths, links, one name twice, or unpacks to
        far more than its size explains.
    OutputError
        If there is no space to unpack it.
    """
    try:
        with zipfile.ZipFile(archive) as package:
            members = _members(archive, package)
            limit = _limit(archive, members, folder)
            written = 0
            for info, path in members:
                target = folder / path
                target.parent.mkdir(parents=True, exist_ok=True)
                with target.open("xb") as out:
                    for block in _blocks(archive, package, info):
                        written += len(block)
                        if written > limit:
                            raise _bomb(archive, limit)
                        out.write(block)
    except _DAMAGE as error:
        raise _damaged(archive, error) from error
    except OSError as error:
        raise OutputError(
            f"{archive}: must be unpacked to {folder} ({error.strerror or error}); free some space, or "
            "unpack it by hand"
        ) from error
    return root_within(folder)


def _blocks(archive: Path, package: zipfile.ZipFile, info: zipfile.ZipInfo) -> Iterator[bytes]:
    """A member's content, block by block; whatever stops the reading is the zip's damage, not the disk's."""
    try:
        with package.open(info) as source:
            while block := source.read(_BLOCK):
                yield block
    except OSError as error:
        raise _damaged(archive, error) from error


def _damaged(archive: Path, error: Exception) -> PackageError:
    return PackageError(f"{archive}: must be a whole zip ({error}); fetch or pack it again")


def root_within(folder: Path) -> Path:
    """Return the folder of campaign.csv: the one given, or the only one below it that has it."""
    if (folder / "campaign.csv").exists():
        return folder
    below = [f.parent for f in sorted(folder.glob("*/campaign.csv")) if f.parent.name != "__MACOSX"]
    return below[0] if len(below) == 1 else folder


def _members(archive: Path, package: zipfile.ZipFile) -> list[tuple[zipfile.ZipInfo, PurePosixPath]]:
    """The files to unpack with their checked paths."""
    infos = package.infolist()
    if len(infos) > MOST_FILES:
        raise PackageError(
            f"{archive}: must hold at most {MOST_FILES} files (it holds {len(infos)}); unpack it by hand"
        )
    members: dict[str, tuple[zipfile.ZipInfo, PurePosixPath]] = {}
    for info in infos:
        name = info.filename.replace("\\", "/")
        path = PurePosixPath(name)
        if path.is_absolute() or ".." in path.parts or ":" in name.split("/")[0] or "\0" in info.orig_filename:
            raise PackageError(
                f"{archive}, member {_shown(info.filename)}: must lie inside the package (its path is absolute or "
                "leads out by '..'); pack the folder again with plain relative paths"
            )
        mode = info.external_attr >> 16
        kind = stat.S_IFMT(mode)
        if kind and not (stat.S_ISREG(mode) or stat.S_ISDIR(mode)):
            raise PackageError(
                f"{archive}, member {_shown(info.filename)}: must be a plain file or folder (it is a link or device); "
                "pack the folder again with the files themselves"
            )
        if info.flag_bits & 1:
            raise PackageError(
                f"{archive}, member {_shown(info.filename)}: must not be encrypted; pack the folder without a password"
            )
        if info.compress_type not in _PACKED:
            raise PackageError(
                f"{archive}, member {_shown(info.filename)}: must be stored or deflated (it is packed by method "
                f"{info.compress_type}); pack the folder again as a plain zip"
            )
        if name.endswith("/") or not path.parts:
            continue
        if str(path) in members:
            raise PackageError(
                f"{archive}, member {_shown(info.filename)}: must be there once (it comes twice); pack the folder again"
            )
        members[str(path)] = (info, path)
    for text in members:
        above = next((str(p) for p in PurePosixPath(text).parents if str(p) in members), None)
        if above:
            raise PackageError(
                f"{archive}, member {_shown(above)}: must be either a file or a folder (it is both); "
                "pack the folder again"
            )
    return list(members.values())


def _limit(archive: Path, members: Sequence[tuple[zipfile.ZipInfo, PurePosixPath]], folder: Path) -> int:
    """Bytes that may be written; refuses what its own headers already say to be more."""
    limit = min(FREE_BYTES + RATIO * archive.stat().st_size, LARGEST_BYTES)
    declared = sum(info.file_size for info, _ in members)
    if declared > limit:
        raise _bomb(archive, limit)
    free = shutil.disk_usage(folder).free
    if declared > free:
        raise OutputError(
            f"{archive}: needs {declared / 1e9:.1f} GB to unpack in {folder} ({free / 1e9:.1f} GB are free); "
            "free some space, or unpack it by hand"
        )
    return limit


def _bomb(archive: Path, limit: int) -> PackageError:
    return PackageError(
        f"{archive}: must unpack to at most {limit / 1e9:.2f} GB, which its size of "
        f"{archive.stat().st_size / 1e6:.2f} MB explains (it unpacks to more); if you trust it, "
        "unpack it by hand and give the folder"
    )


def _shown(name: str) -> str:
    return repr(name if len(name) <= 80 else name[:77] + "...")
