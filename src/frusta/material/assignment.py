"""Which recorded mode is which computed one: by frequency, loss factor and how loud it is, with strays allowed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from frusta.material.observations import RecordedModes

Floats = NDArray[np.float64]

PROMINENCE_SD_DB = 9.0
"""How well the loudness of a mode is foretold before the fit is right."""
GATE = 12.0
"""Squared distance, of three figures, beyond which a mode is rather a stray: 99.3 % of chi² with 3 degrees."""
LOUDEST_TRUSTED_DB = 12.0
"""Above, prominence says nothing more."""


@dataclass(frozen=True)
class Assigned:
    """Pairs of one seating.

    Parameters
    ----------
    computed, recorded : ndarray of int (pairs,)
        By rising frequency.
    strays : ndarray of int
        Recorded modes that are no computed one: bell modes, spurious ones.
    """

    computed: NDArray[np.intp]
    recorded: NDArray[np.intp]
    strays: NDArray[np.intp]


def assign(
    frequency_hz: Floats,
    loss_factor: Floats,
    computed_db: Floats,
    recorded: RecordedModes,
    frequency_sd: float,
    loss_sd: float,
) -> Assigned:
    """Return the best pairing of computed with recorded modes.

    Parameters
    ----------
    frequency_hz, loss_factor, computed_db : ndarray (computed,)
        Prominence in dB last.
    recorded : RecordedModes
    frequency_sd, loss_sd : float
        How far the computed ones may be off, relative.

    Returns
    -------
    Assigned
        Least sum of squared distances, a stray costing `GATE`.
    """
    if len(frequency_hz) == 0 or len(recorded) == 0:
        nothing = np.empty(0, dtype=np.intp)
        return Assigned(nothing, nothing, np.arange(len(recorded)))
    distance = _squared(
        frequency_hz, recorded.frequency_hz, np.hypot(frequency_sd, _relative(recorded, "frequency_hz"))
    )
    distance += _squared(loss_factor, recorded.loss_factor, np.hypot(loss_sd, _relative(recorded, "loss_factor")))
    loud = np.minimum(computed_db, LOUDEST_TRUSTED_DB)[:, None] - np.minimum(recorded.prominence_db, LOUDEST_TRUSTED_DB)
    distance += (loud / PROMINENCE_SD_DB) ** 2
    rows, columns = linear_sum_assignment(np.minimum(distance, GATE))
    near = distance[rows, columns] < GATE
    rows, columns = rows[near], columns[near]
    strays = np.setdiff1d(np.arange(len(recorded)), columns)
    return Assigned(rows.astype(np.intp), columns.astype(np.intp), strays.astype(np.intp))


def _relative(recorded: RecordedModes, figure: str) -> Floats:
    return np.asarray(getattr(recorded, figure + "_u") / getattr(recorded, figure))


def _squared(computed: Floats, recorded: Floats, sd: Floats) -> Floats:
    return np.asarray((np.log(recorded / computed[:, None]) / sd) ** 2)
