"""What the rig's level did between two looks: a fit of specimens and sittings to every level that was read."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from frusta.campaign.shelf.look import Look

LEVEL_SD_DB = 0.2
"""Assumed standard deviation of level from seating to seating until repeats tell, dB."""

PRIOR_DEGREES = 2.0
_STUDENT = 4.0


@dataclass(frozen=True)
class RigLevel:
    """Level of the rig, later less earlier.

    Attributes
    ----------
    level_db, level_db_u : float
        As the rig stood at the first sitting of each look, dB.
    specimens : int
        Specimens heard in both looks that it rests on.
    """

    level_db: float
    level_db_u: float
    specimens: int


def rig_level(earlier: Look, later: Look, left_out: Collection[str]) -> RigLevel | None:
    """Return what happened to the rig's level, or None where no specimen was heard in both looks.

    Parameters
    ----------
    earlier, later : Look
    left_out : collection of str
        Specimens that changed.

    Returns
    -------
    RigLevel or None
        From the additive model level = specimen + sitting, least squares over seating means with Student weights
        against a stray seating.
    """
    values: dict[tuple[str, tuple[int, str], int], list[float]] = {}
    for where, look in enumerate((earlier, later)):
        for r in look.usable():
            if r.level_db is not None and r.specimen not in left_out:
                values.setdefault((r.specimen, (where, r.session or ""), r.seating), []).append(r.level_db)
    both = {s for s, (w, _), _ in values if w == 0} & {s for s, (w, _), _ in values if w == 1}
    cells = [(s, sitting, float(np.mean(v))) for (s, sitting, _), v in values.items() if s in both]
    if not cells:
        return None
    specimens = sorted(both)
    sittings = sorted({sitting for _, sitting, _ in cells}, key=lambda item: _order(earlier, later, item))
    design = np.zeros((len(cells), len(specimens) + len(sittings) - 1))
    for row, (specimen, sitting, _) in enumerate(cells):
        design[row, specimens.index(specimen)] = 1.0
        if place := sittings.index(sitting):
            design[row, len(specimens) + place - 1] = 1.0
    y = np.array([value for _, _, value in cells])
    spare = max(len(cells) - int(np.linalg.matrix_rank(design)), 0)
    weight, square = np.ones(y.size), LEVEL_SD_DB**2
    for _ in range(20):
        root = np.sqrt(weight)
        fit = np.linalg.lstsq(design * root[:, None], y * root, rcond=None)[0]
        residual = y - design @ fit
        square = (PRIOR_DEGREES * LEVEL_SD_DB**2 + float(np.sum(weight * residual**2))) / (PRIOR_DEGREES + spare)
        weight = (_STUDENT + 1) / (_STUDENT + residual**2 / square) * _STUDENT / (_STUDENT + 1)
    first = next(i for i, (where, _) in enumerate(sittings) if where == 1)
    covariance = square * np.linalg.pinv(design.T @ (weight[:, None] * design))
    at = len(specimens) + first - 1
    return RigLevel(float(fit[at]), float(np.sqrt(covariance[at, at])), len(specimens))


def _order(earlier: Look, later: Look, sitting: tuple[int, str]) -> tuple[int, str, str]:
    """Looks in order, sittings by their date within."""
    where, key = sitting
    sessions = (earlier, later)[where].sessions
    return where, sessions[key].date if key in sessions else "", key
