"""What a package is to the shelf: its rows as cells, and its files by hash."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from frusta.campaign.exporting import files_of
from frusta.campaign.package import Package
from frusta.campaign.photos import photo_names
from frusta.campaign.rows import TABLES
from frusta.campaign.shelf.blobs import sha256_of

Cells = dict[str, Any]
"""A row: known columns with their values, unknown ones as text; empty cells are left out."""

NOT_FILES = ("datapackage.json", *(f"{name}.csv" for name in TABLES))


@dataclass(frozen=True)
class Contents:
    """A package's rows and files.

    Attributes
    ----------
    rows : mapping of str to sequence of Cells
        By table, in order; a table that is absent is left out, an empty one is an empty sequence.
    files : mapping of str to (sha256, size)
        By path in the package.
    """

    rows: Mapping[str, Sequence[Cells]]
    files: Mapping[str, tuple[str, int]]

    @property
    def content(self) -> str:
        """Hash of all rows and files; the same package, however its tables are written, has the same."""
        document = {"rows": {k: list(v) for k, v in self.rows.items() if v}, "files": dict(sorted(self.files.items()))}
        return hashlib.sha256(json.dumps(document, sort_keys=True, ensure_ascii=False).encode()).hexdigest()

    @property
    def size(self) -> int:
        """Bytes of all files."""
        return sum(size for _, size in self.files.values())


def contents_of(package: Package) -> tuple[Contents, dict[str, Path]]:
    """Return what a package is to the shelf, and where its files lie.

    Raises
    ------
    PackageError
        If a file that a table names is missing or lies outside.
    """
    paths = {name: path for name, path in files_of(package).items() if name not in NOT_FILES and isinstance(path, Path)}
    paths |= {name: package.path_of(name) for name in photo_names(package)}
    files = {name: (sha256_of(path), path.stat().st_size) for name, path in paths.items()}
    rows = {
        name: [row.model_dump(exclude_none=True) for row in package.rows(name)]
        for name in TABLES
        if name == "campaign" or (package.root / f"{name}.csv").exists()
    }
    return Contents(rows, files), paths
