"""Recorded modes beside computed ones: who is whom, and how far apart, as rows of one table."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from frusta.errors import ParameterError
from frusta.material.assignment import Assigned, assign
from frusta.material.forward import Computed
from frusta.material.observations import CampaignObserved

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Residuals:
    """All pairs of a fit as rows.

    Parameters
    ----------
    cone, seating, mode, recorded : ndarray of int (rows,)
        Places in the campaign's lists.
    frequency, loss : ndarray (rows,)
        ln recorded − ln computed.
    frequency_u, loss_u : ndarray (rows,)
        Noise, relative.
    frequency_slope, loss_slope : ndarray (rows, unknowns)
    """

    cone: NDArray[np.intp]
    seating: NDArray[np.intp]
    mode: NDArray[np.intp]
    recorded: NDArray[np.intp]
    frequency: Floats
    loss: Floats
    frequency_u: Floats
    loss_u: Floats
    frequency_slope: Floats
    loss_slope: Floats


def assigned_modes(
    observed: CampaignObserved, computed: dict[str, list[Computed]], tolerance: tuple[float, float]
) -> dict[str, list[Assigned]]:
    """Return who is whom in every seating of every cone.

    Parameters
    ----------
    observed : CampaignObserved
    computed : dict of str to list of Computed
        By cone, one a seating.
    tolerance : (float, float)
        1 sd of ln f and ln η by which the computed modes may be off.
    """
    return {
        cone.key: [
            assign(c.frequency_hz, c.loss_factor, c.prominence_db, s.modes, *tolerance)
            for c, s in zip(computed[cone.key], cone.seatings, strict=True)
        ]
        for cone in observed.cones
    }


def residuals_of(
    observed: CampaignObserved, computed: dict[str, list[Computed]], assigned: dict[str, list[Assigned]], width: int
) -> Residuals:
    """Return all pairs of a campaign as rows.

    Parameters
    ----------
    observed : CampaignObserved
    computed : dict of str to list of Computed
    assigned : dict of str to list of Assigned
        By cone, one a seating.
    width : int
        Number of the fit's unknowns.

    Raises
    ------
    ParameterError
        If there are cones and no mode of them fits.
    """
    parts: list[tuple[NDArray[Any], ...]] = []
    for i, cone in enumerate(observed.cones):
        for j, seating in enumerate(cone.seatings):
            c, a, r = computed[cone.key][j], assigned[cone.key][j], seating.modes
            k, m = a.recorded, a.computed
            parts.append(
                (
                    np.full(len(k), i),
                    np.full(len(k), j),
                    m,
                    k,
                    np.log(r.frequency_hz[k] / c.frequency_hz[m]),
                    np.log(r.loss_factor[k] / c.loss_factor[m]),
                    r.frequency_hz_u[k] / r.frequency_hz[k],
                    r.loss_factor_u[k] / r.loss_factor[k],
                    c.frequency_slope[m],
                    c.loss_slope[m],
                )
            )
    if not observed.cones:  # tapped coupons alone
        none, unknowns = np.zeros(0), np.zeros((0, width))
        parts = [(none, none, none, none, none, none, none, none, unknowns, unknowns)]
    elif sum(len(p[0]) for p in parts) == 0:
        raise ParameterError("no recorded mode fits any computed one; check profiles, masses and coils in the tables")
    columns = [np.concatenate(column) for column in zip(*parts, strict=True)]
    places = [np.asarray(column, dtype=np.intp) for column in columns[:4]]
    return Residuals(places[0], places[1], places[2], places[3], *columns[4:])
