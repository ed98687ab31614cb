"""What the recordings of a campaign taught, kept between commands.

The file's name is the digest of all tables and recordings and of the version, so it never speaks of others.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import platformdirs

from frusta.campaign.atomic import write_atomically
from frusta.campaign.findings import group_key
from frusta.campaign.package import Package
from frusta.errors import FrustaError
from frusta.material.learned import Learned
from frusta.version import __version__

if TYPE_CHECKING:
    from frusta.campaign.analysis import Analysis

FORMAT = 2
_KEPT = 64


@dataclass(frozen=True)
class Lessons:
    """Materials, joint and shapes, and the recorded responses to draw beside a forecast.

    Attributes
    ----------
    learned : Learned
    curves : mapping of str to dict
        By take of quality ok or look: frequency_hz and level_db.
    remarks : mapping of str to str
        By material, or material/recipe: why it has no estimate, or what is to be known of it.
    """

    learned: Learned = field(default_factory=Learned)
    curves: Mapping[str, dict[str, list[float | None]]] = field(default_factory=dict)
    remarks: Mapping[str, str] = field(default_factory=dict)

    def remark(self, material: str, recipe: str | None) -> str | None:
        """Return why a material (and recipe) has no estimate, or what is to be known of it; None where nothing is."""
        own = {key: words for key, words in self.remarks.items() if key.split("/")[0] == material}
        return own.get(group_key(material, recipe)) or (next(iter(own.values())) if len(own) == 1 else None)

    def recorded(self, package: Package, material: str, recipe: str | None, profile: str) -> list[dict[str, Any]]:
        """Return the responses of recorded cones of a material (and recipe) in a profile, one a take."""
        found = []
        for take, curve in self.curves.items():
            specimen = package.specimens[package.takes[take].specimen]
            if (
                specimen.kind == "cone"
                and specimen.material == material
                and specimen.profile == profile
                and recipe in (None, specimen.recipe)
            ):
                found.append({"take": take, "specimen": specimen.specimen, **curve})
        return found


NOTHING = Lessons()


def lessons_of(
    package: Package,
    path: Path | str,
    *,
    cores: int | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Lessons:
    """Return what a campaign's recordings taught: read back if they were analysed before, else analysed now.

    Parameters
    ----------
    package : Package
        Opened from `path`; without takes there is nothing to learn.
    path : Path or str
    cores, progress
        As of `analyse`.
    """
    if not package.takes:
        return NOTHING
    kept = _folder() / f"{package_digest(package)}.json"
    found = _read(kept)
    if found is None:
        from frusta.campaign.analysis import analyse  # heavy, and mostly not needed

        found = lessons_from(analyse(path, cores=cores, progress=progress))
        _write(kept, found)
    return found


def lessons_from(analysis: Analysis) -> Lessons:
    """Return what an analysis taught."""
    good = {r.take for r in analysis.findings.readings if r.quality != "repeat"}
    curves = {}
    for take, held in analysis.curves.items():
        if take in good:
            curves[take] = {
                name: [round(v, 3) if v == v else None for v in held.table[name].tolist()]
                for name in ("frequency_hz", "level_db")
            }
    remarks = {}
    for row in analysis.findings.estimates:
        why = ("hoop_modulus_gpa",) if row.hoop_modulus_gpa is None else ("estimate", "cones")
        words = [row.reasons[key] for key in why if key in row.reasons]
        if words:
            remarks[group_key(row.material, row.recipe)] = "; ".join(words)
    return Lessons(analysis.learned, curves, remarks)


def package_digest(package: Package) -> str:
    """Return a digest of everything an analysis reads: rows of all tables, files named by them, the version."""
    digest = hashlib.sha256(f"{FORMAT} {__version__}".encode())
    for file in sorted(p for p in package.root.rglob("*") if p.is_file() and not p.is_symlink()):
        name = file.relative_to(package.root).as_posix()
        if name.endswith(".csv") or name in _named_files(package):
            digest.update(name.encode() + b"\0")
            with file.open("rb") as content:
                digest.update(hashlib.file_digest(content, "sha256").digest())
    return digest.hexdigest()[:32]


def _named_files(package: Package) -> set[str]:
    named = {take.recording for take in package.takes.values()}
    named |= {rig.microphone_calibration for rig in package.rigs.values() if rig.microphone_calibration}
    named |= {sweep.signal for sweep in package.sweeps.values() if sweep.signal}
    return named


def _folder() -> Path:
    named = os.environ.get("FRUSTA_CACHE")
    return (Path(named) if named else platformdirs.user_cache_path("frusta")) / "lessons"


def _read(path: Path) -> Lessons | None:
    try:
        stored = json.loads(path.read_text("utf-8"))
        return Lessons(Learned.from_json(stored["learned"]), dict(stored["curves"]), dict(stored["remarks"]))
    except (OSError, ValueError, KeyError, TypeError, FrustaError):
        return None


def _write(path: Path, lessons: Lessons) -> None:
    """Keep it; a disk that cannot be written only costs time later."""
    try:
        stored = {"learned": lessons.learned.to_json(), "curves": lessons.curves, "remarks": lessons.remarks}
        write_atomically(path, json.dumps(stored).encode())
        files = sorted(path.parent.glob("*.json"), key=lambda file: file.stat().st_mtime, reverse=True)
        for old in files[_KEPT:]:
            old.unlink(missing_ok=True)
    except (OSError, FrustaError):
        return
