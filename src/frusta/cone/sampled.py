"""Smooth responses of the air, sampled at even steps of wavenumber and interpolated between.

A⁻¹ has poles (the cone's cavity rings, broadly) about as far from the real axis as a step is long; there a
quintic spline needs fewer samples than a Chebyshev series. Real in time, so the value at −k is the conjugate.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline, make_interp_spline

from frusta.errors import ParameterError

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

DEGREE = 5
_MIRRORED = 8


@dataclass(frozen=True)
class Sampled:
    """A matrix-valued function of real k ≥ 0.

    Parameters
    ----------
    knots : ndarray
    coefficients : ndarray (coefficients, *shape)
    top : float
        Largest k.
    """

    knots: Floats
    coefficients: Complexes
    top: float

    def at(self, wavenumber: Floats) -> Complexes:
        """Return the values, shape (*wavenumber.shape, *shape).

        Raises
        ------
        ParameterError
            Beyond `top`.
        """
        k = np.asarray(wavenumber, dtype=np.float64)
        if k.size and not 0.0 <= np.min(k) <= np.max(k) <= self.top * (1.0 + 1e-9):
            raise ParameterError(f"wavenumber must lie in 0 to {self.top:g} (got {np.min(k):g} to {np.max(k):g})")
        table: Any = BSpline.design_matrix(np.minimum(k.ravel(), self.top), self.knots, DEGREE)
        flat = table @ self.coefficients.reshape(len(self.coefficients), -1)
        return np.asarray(flat.reshape(k.shape + self.coefficients.shape[1:]))


def sample_places(top: float, count: int) -> Floats:
    """Return `count` even places from 0 to `top`."""
    return np.linspace(0.0, top, count)


def sampled(top: float, values: Complexes) -> Sampled:
    """Return the function through values at `sample_places`, shape (count, *shape), count ≥ 10."""
    places = sample_places(top, len(values))
    mirrored = slice(_MIRRORED, 0, -1)
    both = np.concatenate([-places[mirrored], places])
    spline = make_interp_spline(both, np.concatenate([values[mirrored].conj(), values]), k=DEGREE)
    return Sampled(np.asarray(spline.t), np.asarray(spline.c), top)
