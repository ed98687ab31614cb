"""From a mode as recorded to the same mode of the bare cone: neck on a massless rigid ring, no coil, no air."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import eigh
from scipy.optimize import linear_sum_assignment

from frusta.cone.poles import Poles
from frusta.cone.reduction import ReducedCone

Floats = NDArray[np.float64]

KINDRED = 0.35
"""Least squared overlap of a recorded motion with the bare cone's that makes them one mode."""


@dataclass(frozen=True)
class FreeOf:
    """The bare cone's counterpart of every pole; NaN where there is none, as for the coil ringing on its joint.

    Parameters
    ----------
    frequency_hz, loss_factor : ndarray (poles,)
    """

    frequency_hz: Floats
    loss_factor: Floats


def free_counterparts(cone: ReducedCone, poles: Poles) -> FreeOf:
    """Return the free mode that moves like each pole.

    Parameters
    ----------
    cone : ReducedCone
        With its neck moving.
    poles : Poles
        Of a driver of this cone.

    Returns
    -------
    FreeOf
        Of ω0²(1 + jη), so the loss factor is the material's.
    """
    squared, shapes = eigh(np.diag(cone.stiffness.real), cone.mass)
    frequency = np.full(len(poles.omega), np.nan)
    loss = np.full(len(poles.omega), np.nan)
    bending = squared > 1e-6 * squared[-1]
    own = np.abs(poles.vectors @ cone.mass @ shapes[:, bending]) ** 2
    size = np.einsum("pi,ij,pj->p", poles.vectors, cone.mass, poles.vectors.conj()).real
    overlap = own / size[:, None]
    rows, columns = linear_sum_assignment(-overlap)
    kindred = overlap[rows, columns] > KINDRED
    rows, columns = rows[kindred], columns[kindred]
    frequency[rows] = np.sqrt(squared[bending][columns]) / (2.0 * np.pi)
    loss[rows] = _loss(cone)
    return FreeOf(frequency, loss)


def _loss(cone: ReducedCone) -> float:
    """The one loss factor of a cone's stiffness."""
    stiffest = int(np.argmax(cone.stiffness.real))
    return float(cone.stiffness[stiffest].imag / cone.stiffness[stiffest].real)
