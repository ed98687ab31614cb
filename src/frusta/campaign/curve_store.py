"""Curves of every take of a campaign, kept on disk and read one take at a time."""

from __future__ import annotations

import os
import shutil
import tempfile
import weakref
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields
from pathlib import Path

import numpy as np

from frusta.campaign.curves import CURVE_COLUMNS, TakeCurves


class CurveStore(Mapping[str, TakeCurves]):
    """A mapping of take to its curves; memory holds none of them.

    The folder is temporary and goes with the store.
    """

    def __init__(self) -> None:
        self._folder = Path(tempfile.mkdtemp(prefix="frusta-curves-"))
        weakref.finalize(self, _remove, self._folder, os.getpid())
        self._takes: tuple[str, ...] = ()

    @property
    def folder(self) -> Path:
        """Where `save_curves` is to put them."""
        return self._folder

    def keep(self, takes: Sequence[str]) -> None:
        """Say which takes have been saved, in order."""
        self._takes = tuple(takes)

    def __getitem__(self, take: str) -> TakeCurves:
        if take not in self._takes:
            raise KeyError(take)
        return load_curves(self.folder, take)

    def __iter__(self) -> Iterator[str]:
        return iter(self._takes)

    def __len__(self) -> int:
        return len(self._takes)


def _remove(folder: Path, process: int) -> None:
    """Remove the folder, but not from a process that was forked later."""
    if os.getpid() == process:
        shutil.rmtree(folder, ignore_errors=True)


def save_curves(folder: Path, take: str, curves: TakeCurves) -> None:
    """Write the curves of one take to the folder of a store."""
    values = {f.name: getattr(curves, f.name) for f in fields(curves) if f.name != "table"}
    table = np.stack([curves.table[name] for name in CURVE_COLUMNS])
    np.savez(folder / f"{take}.npz", table=table, **values)


def load_curves(folder: Path, take: str) -> TakeCurves:
    """Read the curves of one take back."""
    with np.load(folder / f"{take}.npz") as held:
        table = held["table"]
        return TakeCurves(
            table={name: table[row] for row, name in enumerate(CURVE_COLUMNS)},
            impulse=held["impulse"],
            impulse_before_s=float(held["impulse_before_s"]),
            sample_rate_hz=int(held["sample_rate_hz"]),
            envelope_db=held["envelope_db"],
            envelope_start_s=float(held["envelope_start_s"]),
            decay_time_ms=held["decay_time_ms"],
            decay_frequency_hz=held["decay_frequency_hz"],
            decay_map_db=held["decay_map_db"],
            group_delay_ms=held["group_delay_ms"],
            reflection_free_s=float(held["reflection_free_s"]),
        )
