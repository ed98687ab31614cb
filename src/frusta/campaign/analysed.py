"""A campaign's findings, read back where exactly this package was analysed before, else made now."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import platformdirs

from frusta.campaign.atomic import write_atomically
from frusta.campaign.findings import Findings
from frusta.campaign.lessons import package_digest
from frusta.campaign.package import Package
from frusta.errors import FrustaError
from frusta.material.infer import Inferred
from frusta.material.learned import Learned

FORMAT = 1
_KEPT = 32


@dataclass(frozen=True)
class Analysed:
    """What an analysis found.

    Attributes
    ----------
    findings : Findings
    learned : Learned
    inferred : Inferred or None
        The fit; None where it was read back, for it is not kept.
    """

    findings: Findings
    learned: Learned
    inferred: Inferred | None = None


def analysed(
    package: Package,
    path: Path | str,
    *,
    cores: int | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Analysed:
    """Return a campaign's findings and what its recordings taught.

    Parameters
    ----------
    package : Package
        Opened from `path`.
    path : Path or str
    cores, progress
        As of `frusta.campaign.analysis.analyse`.
    """
    if not package.takes:
        return Analysed(Findings(campaign=package.campaign.campaign, made_by=""), Learned())
    kept = _folder() / f"{package_digest(package)}.json"
    found = _read(kept)
    if found is None:
        from frusta.campaign.analysis import analyse  # heavy, and often not needed

        analysis = analyse(path, cores=cores, progress=progress)
        found = Analysed(analysis.findings, analysis.learned, analysis.inferred)
        _write(kept, found)
    return found


def _folder() -> Path:
    named = os.environ.get("FRUSTA_CACHE")
    return (Path(named) if named else platformdirs.user_cache_path("frusta")) / "findings"


def _read(path: Path) -> Analysed | None:
    try:
        stored = json.loads(path.read_text("utf-8"))
        if stored["format"] != FORMAT:
            return None
        return Analysed(Findings.model_validate(stored["findings"]), Learned.from_json(stored["learned"]))
    except (OSError, ValueError, KeyError, TypeError, FrustaError):
        return None


def _write(path: Path, found: Analysed) -> None:
    """Keep it; a disk that cannot be written only costs time later."""
    stored = {
        "format": FORMAT,
        "findings": found.findings.model_dump(mode="json"),
        "learned": found.learned.to_json(),
    }
    try:
        write_atomically(path, json.dumps(stored).encode())
        files = sorted(path.parent.glob("*.json"), key=lambda file: file.stat().st_mtime, reverse=True)
        for old in files[_KEPT:]:
            old.unlink(missing_ok=True)
    except (OSError, FrustaError):
        return
