"""Check a package: tables, links, recordings, calibration, geometry, hashes; every fault at once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from frusta.campaign.check_rows import faults_of_rows
from frusta.campaign.check_takes import faults_of_takes
from frusta.campaign.counts import counted
from frusta.campaign.datapackage import faults_of_description
from frusta.campaign.package import Package, read_package
from frusta.campaign.table_fault import TableFault
from frusta.errors import PackageError, ParameterError
from frusta.signal.sweep import fit_sweep

SOUND_SUFFIXES = (".wav", ".flac")


@dataclass(frozen=True)
class CheckResult:
    """What a check found.

    Attributes
    ----------
    source : Path
        The package.
    faults : tuple of TableFault
        What must be mended.
    notes : tuple of str
        What is no fault but worth knowing.
    counts : dict of str to int
        Rows of each table that could be read.
    """

    source: Path
    faults: tuple[TableFault, ...]
    notes: tuple[str, ...] = ()
    counts: dict[str, int] | None = None

    def lines(self) -> list[str]:
        """Return the result in words: a line a fault, the notes, and the sum."""
        counts = ", ".join(_rows(table, n) for table, n in (self.counts or {}).items() if n and table != "campaign")
        verdict = counted(len(self.faults), "fault") if self.faults else "no fault found"
        last = f"{self.source}: {verdict}" + (f" ({counts})" if counts else "")
        return [str(f) for f in self.faults] + [f"note: {n}" for n in self.notes] + [last]


def _rows(table: str, number: int) -> str:
    """Rows of a table in words: each is called as its table, without the s."""
    if table == "history":
        return counted(number, "event of history", "events of history")
    return counted(number, table.removesuffix("s"), table)


def check_package(path: Path | str) -> CheckResult:
    """Check a package and return every fault; nothing is changed.

    Parameters
    ----------
    path : Path or str
        Folder or zip.

    Returns
    -------
    CheckResult

    Raises
    ------
    PackageError
        If it is not there or no package at all.
    OutputError
        If a zip cannot be unpacked for want of space.

    Examples
    --------
    ::

        result = check_package("three-birds")
        for line in result.lines():
            print(line)
    """
    package, faults = read_package(path)
    found = [
        *faults,
        *faults_of_rows(package),
        *faults_of_takes(package),
        *_faults_of_unnamed(package),
        *faults_of_description(package.root),
    ]
    counts = {name: len(numbers) for name, numbers in package.row_numbers.items()}
    return CheckResult(Path(path), tuple(found), tuple(_notes(package)), counts)


def _faults_of_unnamed(package: Package) -> Iterator[TableFault]:
    """An empty takes.csv beside a folder of recordings."""
    if package.takes or package.row_numbers["takes"] or not (package.root / "takes.csv").exists():
        return
    loose = _loose_recordings(package)
    if loose:
        yield TableFault(
            "takes",
            None,
            None,
            "empty table",
            f"must have a row for each recording (it has none, {len(loose)} recordings are there, such as {loose[0]})",
            "fill in a row for each, or let frusta import do so",
        )


def _loose_recordings(package: Package) -> list[str]:
    """Sound files of the package that no table names."""
    named = {t.recording.replace("\\", "/") for t in package.takes.values()}
    named |= {s.signal.replace("\\", "/") for s in package.sweeps.values() if s.signal}
    found = []
    for folder in (package.root, package.root / "recordings"):
        if folder.is_dir() and not folder.is_symlink():
            found += [f for f in sorted(folder.iterdir()) if f.suffix.lower() in SOUND_SUFFIXES and f.is_file()]
    return [n for n in (f.relative_to(package.root).as_posix() for f in found) if n not in named]


def _notes(package: Package) -> Iterator[str]:
    if not package.takes:
        yield "takes.csv holds no take yet: record, or let frusta import take in recordings made elsewhere"
    loose = _loose_recordings(package) if package.takes else []
    if loose:
        more = f" and {len(loose) - 1} more" if len(loose) > 1 else ""
        yield f"no take names {loose[0]}{more}"
    recorded = Counter(t.specimen for t in package.takes.values())
    for specimen in package.specimens.values():
        if specimen.kind in ("cone", "check") and recorded[specimen.specimen]:
            lacking = [c for c in ("material", "profile") if getattr(specimen, c) is None]
            if lacking and specimen.kind == "cone":
                yield f"specimen {specimen.specimen} names no {' and no '.join(lacking)}: what needs it stays empty"
        if specimen.kind == "coupon" and specimen.specimen not in package.coupons:
            yield f"coupon {specimen.specimen} has no row in coupons.csv: it gives modes, but no modulus"
    for row in package.sweeps.values():
        if row.signal and (reason := _not_exponential(package, row.signal)):
            yield f"sweep {row.sweep} gives responses but no harmonics: {reason}"


def _not_exponential(package: Package, file: str) -> str | None:
    """Why a sweep's file gives no harmonics, or None if it does (or has a fault that is told already)."""
    try:
        signal = package.open_file(file)
        return fit_sweep(signal.read(1), signal.sample_rate_hz).reason
    except (PackageError, ParameterError):
        return None
