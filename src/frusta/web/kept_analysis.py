"""An analysis kept on disk under the digest of all that it read, so that opening the page again costs nothing."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterator, Mapping
from pathlib import Path

import platformdirs

from frusta.campaign.analysis import Analysis
from frusta.campaign.atomic import beside
from frusta.campaign.curve_store import load_curves, save_curves
from frusta.campaign.curves import TakeCurves
from frusta.campaign.findings import Findings
from frusta.campaign.lessons import package_digest
from frusta.campaign.package import Package
from frusta.errors import FrustaError
from frusta.material.learned import Learned

FORMAT = 1
MOST_KEPT = 12


class KeptCurves(Mapping[str, TakeCurves]):
    """Curves by take, read from a folder one take at a time."""

    def __init__(self, folder: Path, takes: tuple[str, ...]) -> None:
        self._folder = folder
        self._takes = takes

    def __getitem__(self, take: str) -> TakeCurves:
        if take not in self._takes:
            raise KeyError(take)
        return load_curves(self._folder, take)

    def __iter__(self) -> Iterator[str]:
        return iter(self._takes)

    def __len__(self) -> int:
        return len(self._takes)


class Known:
    """What is known of a campaign once its takes were read.

    Attributes
    ----------
    findings : Findings
    curves : mapping of str to TakeCurves
    learned : Learned
    digest : str
        Of all that was read.
    package : Package
        As it was read.
    """

    def __init__(
        self, findings: Findings, curves: Mapping[str, TakeCurves], learned: Learned, digest: str, package: Package
    ) -> None:
        self.findings = findings
        self.curves = curves
        self.learned = learned
        self.digest = digest
        self.package = package


def known_of(analysis: Analysis, digest: str) -> Known:
    """Return an analysis as the page holds it, and keep it on disk where that can be done."""
    known = Known(analysis.findings, analysis.curves, analysis.learned, digest, analysis.package)
    target = _folder() / digest
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        part = beside(target)
        part.mkdir()
        try:
            for take in analysis.curves:
                save_curves(part, take, analysis.curves[take])
            told = {
                "format": FORMAT,
                "findings": analysis.findings.model_dump(mode="json"),
                "learned": analysis.learned.to_json(),
                "takes": list(analysis.curves),
            }
            (part / "known.json").write_text(json.dumps(told), "utf-8")
            if not target.exists():
                part.rename(target)
        finally:
            shutil.rmtree(part, ignore_errors=True)
        _forget_oldest(target.parent)
    except OSError:
        return known
    return known


def recall(package: Package) -> Known | None:
    """Return what was kept of exactly this package, or None."""
    digest = package_digest(package)
    folder = _folder() / digest
    try:
        told = json.loads((folder / "known.json").read_text("utf-8"))
        if told["format"] != FORMAT:
            return None
        findings = Findings.model_validate(told["findings"])
        learned = Learned.from_json(told["learned"])
        return Known(findings, KeptCurves(folder, tuple(told["takes"])), learned, digest, package)
    except (OSError, ValueError, KeyError, TypeError, FrustaError):
        return None


def _folder() -> Path:
    named = os.environ.get("FRUSTA_CACHE")
    return (Path(named) if named else platformdirs.user_cache_path("frusta")) / "known"


def _forget_oldest(folder: Path) -> None:
    held = sorted((f for f in folder.iterdir() if f.is_dir()), key=lambda f: f.stat().st_mtime, reverse=True)
    for old in held[MOST_KEPT:]:
        shutil.rmtree(old, ignore_errors=True)
