"""Which filament, printed how, in which cone shape, makes a good loudspeaker diaphragm.

`analyse` reads a campaign and gives the same objects that the command line writes.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from frusta.version import __version__

if TYPE_CHECKING:
    from frusta.campaign.analysis import Analysis

__all__ = ["__version__", "analyse"]


def analyse(
    path: Path | str,
    *,
    cores: int | None = None,
    progress: Callable[[int, int], None] | None = None,
    gate_s: float | None = None,
) -> Analysis:
    """Read every take of a campaign, compare its materials and rank them.

    Parameters
    ----------
    path : Path or str
        A package: folder or zip.
    cores : int, optional
        Processes to use; all cores by default. The findings do not depend on it.
    progress : callable, optional
        Called with ``(done, total)`` takes.
    gate_s : float, optional
        Reflection-free time in seconds, set by hand instead of found.

    Returns
    -------
    Analysis
        ``findings`` (the rows of ``findings.json``) and the curves of each take.

    Raises
    ------
    PackageError
        If the package cannot be used: what, where, what to do.
    """
    from frusta.campaign.analysis import analyse as run

    return run(path, cores=cores, progress=progress, gate_s=gate_s)
