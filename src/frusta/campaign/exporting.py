"""Export a package: plain tables, the files they name, and datapackage.json; the same package, the same bytes."""

from __future__ import annotations

import shutil
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import BinaryIO

from frusta.campaign.atomic import write_atomically, write_folder_atomically
from frusta.campaign.datapackage import NAME, describe
from frusta.campaign.package import Package
from frusta.campaign.photos import bare_photo, photo_names
from frusta.campaign.rows import TABLES
from frusta.campaign.tables import write_table
from frusta.errors import OutputError

Files = Mapping[str, bytes | Path]

_WORDS = ("readme", "licence", "license", "changes", "changelog")
_EPOCH = (1980, 1, 1, 0, 0, 0)
_PACKED_ALREADY = (".flac", ".zip", ".png", ".jpg")


def export_package(package: Package, out: Path | str, *, photos: bool = True) -> Path:
    """Write a package to another place, as a zip where its name ends so, else as a folder.

    Parameters
    ----------
    package : Package
        An opened package.
    out : Path or str
        ``NAME.zip`` or a folder.
    photos : bool
        Whether photos of specimens go along; without what a camera wrote into them.

    Returns
    -------
    Path
        ``out``.

    Raises
    ------
    PackageError
        If a file that a table names is missing or lies outside, or a photo is no whole JPEG.
    OutputError
        If it cannot be written, or is the package itself; what was there is untouched.
    """
    out = Path(out)
    if out.resolve() in (package.source.resolve(), package.root.resolve()):
        raise OutputError(f"{out}: must be another place than the package itself; name a new zip or folder")
    files = files_of(package)
    if photos:
        bare: Files = {name: bare_photo(package, name) for name in photo_names(package)}
        files = with_description(package, {**files, **bare})
    if out.suffix.lower() == ".zip":
        return write_atomically(out, lambda file: write_zip(file, files))
    return write_folder_atomically(out, lambda folder: _write_folder(folder, files))


def files_of(package: Package) -> dict[str, bytes | Path]:
    """Return what a package is made of: path within it to content, datapackage.json first.

    Tables are written plain; unknown columns stay. Of other files, those that tables name and those
    that speak of the package (readme, licence) belong to it; photos are for who asks for them.

    Raises
    ------
    PackageError
        If a file that a table names is missing or lies outside.
    """
    files: dict[str, bytes | Path] = {}
    for name, model in TABLES.items():
        if name == "campaign" or (package.root / f"{name}.csv").exists():
            files[f"{name}.csv"] = write_table(model, package.rows(name))
    for file in sorted(_named(package) | _words(package.root)):
        files[file] = package.path_of(file)
    return with_description(package, files)


def with_description(package: Package, files: Files) -> dict[str, bytes | Path]:
    """Return the files of a package with the datapackage.json that describes them, first."""
    plain = {name: content for name, content in files.items() if name != NAME}
    return {NAME: describe(package.campaign, plain), **plain}


def write_zip(file: BinaryIO, files: Files) -> None:
    """Write files to a zip whose bytes depend on their names and contents only.

    Parameters
    ----------
    file : binary file
        Open for writing.
    files : mapping of str to bytes or Path
        Path within the zip to content.
    """
    with zipfile.ZipFile(file, "w") as archive:
        for name, content in files.items():
            info = zipfile.ZipInfo(name, _EPOCH)
            packed = name.lower().endswith(_PACKED_ALREADY)
            info.compress_type = zipfile.ZIP_STORED if packed else zipfile.ZIP_DEFLATED
            info.external_attr = 0o100644 << 16
            info.create_system = 3
            info.file_size = len(content) if isinstance(content, bytes) else content.stat().st_size
            with archive.open(info, "w") as target:
                if isinstance(content, bytes):
                    target.write(content)
                else:
                    with content.open("rb") as source:
                        shutil.copyfileobj(source, target, 2**20)


def _write_folder(folder: Path, files: Files) -> None:
    for name, content in files.items():
        target = folder / name
        target.parent.mkdir(parents=True, exist_ok=True)
        if isinstance(content, bytes):
            target.write_bytes(content)
        else:
            shutil.copyfile(content, target)


def _named(package: Package) -> set[str]:
    """Files that tables name, with plain slashes."""
    return {
        str(file).replace("\\", "/")
        for name, model in TABLES.items()
        for row in package.rows(name)
        for column in model.FILES
        if (file := getattr(row, column)) is not None
    }


def _words(root: Path) -> set[str]:
    """Files at the top that speak of the package."""
    return {
        path.name for path in root.iterdir() if path.is_file() and not path.is_symlink() and path.stem.lower() in _WORDS
    }
