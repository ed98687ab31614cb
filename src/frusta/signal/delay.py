"""Group delay on a logarithmic grid."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from frusta.errors import ParameterError

Floats = NDArray[np.float64]


def group_delay_s(frequency_hz: Floats, response: NDArray[np.complex128]) -> Floats:
    """Return the group delay, minus the slope of the phase, s.

    Parameters
    ----------
    frequency_hz : ndarray, shape (n,)
        Rising, Hz.
    response : ndarray, shape (n,)
        Complex; its phase must turn by less than half a cycle from point to point.

    Returns
    -------
    ndarray, shape (n,)
        Central differences of the phase step from point to point; one-sided at the ends.

    Raises
    ------
    ParameterError
        If there are fewer than three points.
    """
    f = np.asarray(frequency_hz, dtype=np.float64)
    if f.size < 3 or response.shape != f.shape:
        raise ParameterError(f"response must have one value for each of at least 3 frequencies (got {f.shape})")
    phase = np.concatenate([[0.0], np.cumsum(np.angle(response[1:] * response[:-1].conj()))])
    return np.asarray(-np.gradient(phase, f) / (2.0 * np.pi))
