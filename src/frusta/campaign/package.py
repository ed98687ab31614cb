"""A package: the tables and files of a campaign, from a folder or a zip of it."""

from __future__ import annotations

import difflib
import os
import shutil
import stat
import tempfile
import weakref
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from functools import cached_property
from pathlib import Path, PurePosixPath
from typing import Any, TypeVar, cast

from frusta.campaign import recordings
from frusta.campaign.archive import root_within, unpack
from frusta.campaign.links import faults_of_links
from frusta.campaign.recordings import Recording
from frusta.campaign.rows import (
    TABLES,
    Campaign,
    Coupon,
    HistoryEvent,
    Material,
    Overhang,
    Profile,
    Recipe,
    Rig,
    Row,
    Session,
    Specimen,
    SweepRow,
    Take,
)
from frusta.campaign.table_fault import TableFault, refuse
from frusta.campaign.tables import Table, read_table
from frusta.errors import PackageError

R = TypeVar("R", bound=Row)


@dataclass(frozen=True, eq=False)
class Package:
    """A campaign as it was read; rows by their key, in the order of their table.

    Attributes
    ----------
    source : Path
        What was opened: folder or zip.
    root : Path
        The folder that holds the tables; of a zip, a temporary one that goes with the package that unpacked it.
    campaign : Campaign
        The one row of campaign.csv.
    materials, recipes, profiles, rigs, sessions, sweeps, specimens, takes : dict
        Rows by key.
    coupons : dict of str to Coupon
        By specimen.
    history : tuple of HistoryEvent
        In the order of the table.
    overhangs : tuple of Overhang
        In the order of the table.
    row_numbers : dict of str to tuple of int
        For each table, the rows' numbers as a spreadsheet shows them (the header is row 1).
    """

    source: Path
    root: Path
    campaign: Campaign
    materials: dict[str, Material] = field(default_factory=dict)
    recipes: dict[str, Recipe] = field(default_factory=dict)
    profiles: dict[str, Profile] = field(default_factory=dict)
    rigs: dict[str, Rig] = field(default_factory=dict)
    sessions: dict[str, Session] = field(default_factory=dict)
    sweeps: dict[str, SweepRow] = field(default_factory=dict)
    specimens: dict[str, Specimen] = field(default_factory=dict)
    coupons: dict[str, Coupon] = field(default_factory=dict)
    history: tuple[HistoryEvent, ...] = ()
    takes: dict[str, Take] = field(default_factory=dict)
    overhangs: tuple[Overhang, ...] = ()
    row_numbers: dict[str, tuple[int, ...]] = field(default_factory=dict)

    def rows(self, table: str) -> tuple[Row, ...]:
        """Return the rows of a table by its name, in order."""
        if table == "campaign":
            return (self.campaign,)
        held = getattr(self, table)
        return tuple(held.values()) if isinstance(held, dict) else tuple(held)

    def row_number(self, table: str, key: str) -> int | None:
        """Return the number of a keyed row as a spreadsheet shows it, or None if there is no such row."""
        return self._numbers_by_key.get((table, key))

    @cached_property
    def _numbers_by_key(self) -> dict[tuple[str, str], int]:
        return {
            (table, getattr(row, model.KEY)): number
            for table, model in TABLES.items()
            if model.KEY
            for row, number in zip(self.rows(table), self.row_numbers.get(table, ()), strict=False)
        }

    def path_of(self, file: str) -> Path:
        """Return where a file of the package lies.

        Parameters
        ----------
        file : str
            Path within the package as a table names it; either slash.

        Raises
        ------
        PackageError
            If the path is absolute or leads out of the package, by '..' or by a link, or there is no plain file.
        """
        return path_within(self.root, file)

    def open_recording(self, take: Take | str) -> Recording:
        """Look at the recording of a take, without reading its samples.

        Raises
        ------
        PackageError
            As `path_of` and `frusta.campaign.recordings.open_recording`.
        """
        row = self.takes[take] if isinstance(take, str) else take
        return self.open_file(row.recording)

    def open_file(self, file: str) -> Recording:
        """Look at a WAV or FLAC file of the package, such as a sweep's ``signal``."""
        return recordings.open_recording(self.path_of(file), file)

    def __getstate__(self) -> dict[str, Any]:
        """Return what travels to another process: rows and paths, no samples."""
        return {f.name: getattr(self, f.name) for f in fields(self)}


def open_package(path: Path | str) -> Package:
    """Open a package whose tables must be free of faults; recordings are not looked at yet.

    Parameters
    ----------
    path : Path or str
        Folder or zip.

    Returns
    -------
    Package

    Raises
    ------
    PackageError
        If it is not there or no package, or a table or a link between tables has a fault (the first is told).
    OutputError
        If a zip cannot be unpacked for want of space.

    Examples
    --------
    ::

        package = open_package("three-birds.zip")
        signal = package.open_recording("otter-1-s1").read(channel=1)
    """
    package, faults = read_package(path)
    refuse(faults)
    return package


def read_package(path: Path | str) -> tuple[Package, tuple[TableFault, ...]]:
    """Read a package as far as it goes, with every fault of its tables and links.

    Parameters
    ----------
    path : Path or str
        Folder or zip.

    Returns
    -------
    package : Package
        The rows that could be read; an empty campaign where campaign.csv gives none.
    faults : tuple of TableFault
        All that is wrong.

    Raises
    ------
    PackageError
        If it is not there, or neither a folder nor a zip with campaign.csv in it.
    OutputError
        If a zip cannot be unpacked for want of space.
    """
    source = Path(path)
    try:
        root, temporary = _root(source)
    except OSError as error:
        raise PackageError(
            f"{source}: must be readable ({error.strerror}); correct the path or allow reading"
        ) from error
    try:
        package, faults = _read(source, root)
    except BaseException:
        if temporary:
            shutil.rmtree(temporary, ignore_errors=True)
        raise
    if temporary:
        weakref.finalize(package, _remove, temporary, os.getpid())
    return package, faults


def is_inside(file: str) -> bool:
    """Return whether a file's name, by its words alone, stays within the folder that it is meant for."""
    name = file.replace("\\", "/")
    parts = PurePosixPath(name)
    leads_out = parts.is_absolute() or ".." in parts.parts or ":" in name.split("/")[0]
    return bool(parts.parts) and not leads_out and "\0" not in name


def path_within(root: Path, file: str) -> Path:
    """Return where a file of a package lies; see `Package.path_of`.

    Raises
    ------
    PackageError
        If the path leads out of the package, is no plain file, or is not there.
    """
    parts = PurePosixPath(file.replace("\\", "/"))
    if not is_inside(file):
        raise PackageError(
            f"{file!r}: must be a path inside the package (it is absolute or leads out); "
            "copy the file into the package and name it from there"
        )
    path = root / parts
    try:
        return _plain_file(root, path, file)
    except (OSError, RuntimeError) as error:
        reason = getattr(error, "strerror", None) or "a link that leads in a circle"
        raise PackageError(f"{_short(file)}: must be a file ({reason.lower()}); correct its name") from error
    except UnicodeEncodeError as error:
        raise PackageError(f"{file[:80]!a}: must be a file (no file can have that name); correct its name") from error


def _plain_file(root: Path, path: Path, file: str) -> Path:
    """The path, if it lies within the root and is a plain file."""
    real = path.resolve()
    if not real.is_relative_to(root.resolve()):
        raise PackageError(
            f"{file}: must not be a link out of the package (it leads to {real}); put the file itself there"
        )
    if not path.exists():
        near = _near(root, path)
        hint = f"did you mean {near}?" if near else "copy it there or correct its name"
        raise PackageError(f"{file}: must be a file of the package (there is none); {hint}")
    if not stat.S_ISREG(path.stat().st_mode):
        raise PackageError(f"{file}: must be a plain file (it is a folder or a device); name the file itself")
    return path


def _short(text: str) -> str:
    return text if len(text) <= 80 else text[:77] + "..."


def _root(source: Path) -> tuple[Path, Path | None]:
    """The folder with the tables, and the temporary one above it if a zip was unpacked."""
    if source.is_dir():
        root = root_within(source) if not (source / "campaign.csv").exists() else source
        _need_campaign(source, root)
        return root.absolute(), None
    if not source.exists():
        raise PackageError(f"{source}: must be a package, folder or zip (there is none); correct the path")
    if not stat.S_ISREG(source.stat().st_mode):
        raise PackageError(f"{source}: must be a package, folder or zip (it is a device); correct the path")
    temporary = Path(tempfile.mkdtemp(prefix="frusta-")).resolve()
    try:
        root = unpack(source, temporary)
        _need_campaign(source, root)
    except BaseException:
        shutil.rmtree(temporary, ignore_errors=True)
        raise
    return root, temporary


def _need_campaign(source: Path, root: Path) -> None:
    if not (root / "campaign.csv").exists():
        raise PackageError(
            f"{source}: must be a package (it holds no campaign.csv); name the folder that holds the tables, or start "
            "one with frusta new"
        )


def _remove(folder: Path, process: int) -> None:
    """Remove what a zip was unpacked to, but not from a process that was forked later."""
    if os.getpid() == process:
        shutil.rmtree(folder, ignore_errors=True)


def _read(source: Path, root: Path) -> tuple[Package, tuple[TableFault, ...]]:
    tables = {name: _table(root, name, model) for name, model in TABLES.items()}
    faults = [f for table in tables.values() for f in table.faults]
    campaigns = tables["campaign"].rows
    if len(campaigns) != 1 and not tables["campaign"].faults:
        faults.append(
            TableFault(
                "campaign",
                None,
                None,
                "rows",
                f"must hold one row (it holds {len(campaigns)})",
                "a package is one campaign: keep its row" if campaigns else "fill in its row",
            )
        )
    faults += faults_of_links(tables)
    held: dict[str, Any] = {name: _by_key(model, tables[name]) for name, model in TABLES.items() if name != "campaign"}
    numbers = {name: table.numbers for name, table in tables.items()}
    campaign = cast("Campaign", campaigns[0]) if campaigns else Campaign(campaign="unreadable", title="unreadable")
    return Package(source, root, campaign, row_numbers=numbers, **held), tuple(faults)


def _table(root: Path, name: str, model: type[Row]) -> Table[Row]:
    """A table of the package; one that is absent has no rows."""
    path = root / f"{name}.csv"
    if not path.exists() and not path.is_symlink():
        return Table()
    try:
        data = path_within(root, f"{name}.csv").read_bytes()
    except PackageError as error:
        what, _, remedy = str(error).partition(": ")[2].rpartition("; ")
        return Table(faults=(TableFault(name, None, None, "unreadable", what, remedy),))
    except OSError as error:
        return Table(
            faults=(
                TableFault(name, None, None, "unreadable", f"must be readable ({error.strerror})", "allow reading it"),
            )
        )
    return read_table(model, data)


def _by_key(model: type[R], table: Table[R]) -> Mapping[str, R] | tuple[R, ...]:
    if model.KEY is None:
        return table.rows
    return {getattr(row, model.KEY): row for row in table.rows}


def _near(root: Path, path: Path) -> str | None:
    """The name of a file that was probably meant."""
    if not path.parent.is_dir():
        return None
    names = sorted(p.name for p in path.parent.iterdir() if p.is_file())
    same = [n for n in names if n.lower() == path.name.lower()]
    close = same or difflib.get_close_matches(path.name, names, n=1, cutoff=0.8)
    return path.with_name(close[0]).relative_to(root).as_posix() if close else None
