"""Carry out the plan of an import: copy the files, append the rows, or leave the package as it was."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import BinaryIO

from frusta.campaign.appending import with_rows
from frusta.campaign.atomic import write_atomically
from frusta.campaign.counts import counted
from frusta.campaign.datapackage import digest
from frusta.campaign.import_plan import ImportItem, ImportPlan
from frusta.campaign.one_writer import one_writer
from frusta.campaign.package import read_package
from frusta.errors import FrustaError, PackageError


def apply_import(plan: ImportPlan) -> list[str]:
    """Carry out a plan: copy the files, append the rows.

    Parameters
    ----------
    plan : ImportPlan
        Without open questions.

    Returns
    -------
    list of str
        Keys of the new takes.

    Raises
    ------
    PackageError
        If questions are open.
    OutputError
        If something cannot be written, or is already there; the package is then as it was.
    """
    if plan.questions:
        first = next(item for item in plan.items if item.questions)
        more = len(plan.questions) - 1
        others = f" ({counted(more, 'more question')})" if more else ""
        raise PackageError(f"{first.source}: {first.questions[0]}{others}")
    items = [item for item in plan.items if not item.already]
    signal = plan.signal if plan.signal and not plan.signal.already else None
    made: list[Path] = []
    try:
        for item in ([signal] if signal else []) + items:
            target = plan.into / item.target
            if _left_by_a_kill(plan.into, target, item.source):
                continue
            write_atomically(target, _copier(item.source), overwrite=False)
            made.append(target)
        with one_writer(plan.into):
            _append_rows(plan.into, signal, items)
    except (FrustaError, KeyboardInterrupt):
        for target in made:
            target.unlink(missing_ok=True)
        raise
    return [item.row["take"] for item in items]


def _left_by_a_kill(root: Path, target: Path, source: Path) -> bool:
    """Whether the file is there already, whole, and no row names it: an import was ended before it wrote its rows."""
    if not target.is_file() or digest(target) != digest(source):
        return False
    package, _ = read_package(root)
    named = {take.recording for take in package.takes.values()} | {s.signal for s in package.sweeps.values()}
    return target.relative_to(root).as_posix() not in named


def _append_rows(root: Path, signal: ImportItem | None, items: Sequence[ImportItem]) -> None:
    """Append to both tables, or to none."""
    before: dict[Path, bytes | None] = {}
    try:
        if signal:
            _append(root, "sweeps", [signal.row], before)
        if items:
            _append(root, "takes", [item.row for item in items], before)
    except (FrustaError, KeyboardInterrupt):
        for table, data in before.items():
            if data is None:
                table.unlink(missing_ok=True)
            else:
                write_atomically(table, data)
        raise


def _append(root: Path, table: str, rows: Sequence[dict[str, str]], before: dict[Path, bytes | None]) -> None:
    path = root / f"{table}.csv"
    data = with_rows(root, table, rows)
    old = path.read_bytes() if path.exists() else None
    write_atomically(path, data)
    before[path] = old


def _copier(source: Path) -> Callable[[BinaryIO], None]:
    def copy(target: BinaryIO) -> None:
        with source.open("rb") as file:
            shutil.copyfileobj(file, target, 2**20)

    return copy
