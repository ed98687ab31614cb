"""What the wavenumber adds to sources on rings, for many wavenumbers at once.

What is left of the kernels of `frusta.cone.ring_kernel` without their static part depends on wavenumber and distance
alone, and is an even, entire function of the distance R, but for one power of R. So each is a short Chebyshev series
in R²; the azimuth is integrated once for every term of the series, and each wavenumber is then a sum over terms. Sine
and cosine of every distance for every wavenumber, most of the cost, are not computed.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from frusta.cone.entire import series_terms

FloatArray = NDArray[np.float64]

_VALUES_TOGETHER = 1 << 14  # distances worked on at a time: they stay in the cache


def dynamic_ring_series(
    distance: FloatArray, wavenumbers: FloatArray, table: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return real and imaginary part of what each wavenumber adds to ``G_m``.

    Parameters
    ----------
    distance : ndarray, shape (pairs, angles)
        From `frusta.cone.ring_kernel.ring_distances`, > 0.
    wavenumbers : ndarray, shape (w,)
        Real, 1/(unit of distance).
    table : ndarray, shape (angles, orders)
        ``weight·cos(mΔ)/(2π)``.

    Returns
    -------
    tuple of two ndarrays, shape (w, pairs, orders)
        Azimuth integrals of ``(cos kR − 1)/R`` and ``−sin kR/R``.
    """

    def real(x: FloatArray, r: FloatArray) -> FloatArray:
        return np.asarray(-2.0 * (np.sin(0.5 * x) / r) ** 2)  # times R

    def imaginary(x: FloatArray, r: FloatArray) -> FloatArray:
        return np.asarray(-np.sin(x) / r)

    return _integrated(distance, (distance, np.ones_like(distance)), (real, imaginary), wavenumbers, table)


def dynamic_slope_series(
    distance: FloatArray, projection: FloatArray, wavenumbers: FloatArray, weight: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return what each wavenumber adds to the slope of ``G_m`` along the source's normal.

    Parameters
    ----------
    distance, projection : ndarray, shape (..., angles)
        R, and n'·(source − place).
    wavenumbers : ndarray, shape (w,)
        Real.
    weight : ndarray, shape (angles,)
        ``weight·cos(mΔ)/(2π)``.

    Returns
    -------
    tuple of two ndarrays, shape (w, ...)
        Real and imaginary part of the azimuth integral of ``−[(1 + jkR)e^{-jkR} − 1] n'·(y − x)/R³``.
    """

    def real(x: FloatArray, r: FloatArray) -> FloatArray:
        return np.asarray((2.0 * np.sin(0.5 * x) ** 2 - x * np.sin(x)) / r**2)  # times n'·(y − x)/R

    def imaginary(x: FloatArray, r: FloatArray) -> FloatArray:
        square = x * x
        near = x * square * (1.0 / 3.0 - square * (1.0 / 30.0 - square / 840.0))
        return np.asarray(np.where(np.abs(x) < 0.1, near, np.sin(x) - x * np.cos(x)) / r**3)

    angles = distance.shape[-1]
    factors = ((projection / distance).reshape(-1, angles), projection.reshape(-1, angles))
    out = _integrated(distance.reshape(-1, angles), factors, (real, imaginary), wavenumbers, weight[:, None])
    shape = (wavenumbers.size, *distance.shape[:-1])
    return out[0].reshape(shape), out[1].reshape(shape)


_Function = Callable[[FloatArray, FloatArray], FloatArray]


def _integrated(
    distance: FloatArray,
    factors: tuple[FloatArray, FloatArray],
    functions: tuple[_Function, _Function],
    wavenumbers: FloatArray,
    table: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Return the azimuth integrals of factor × function(kR, R), each (w, pairs, orders)."""
    longest = float(np.max(distance))
    terms = series_terms(float(np.max(np.abs(wavenumbers), initial=0.0)), longest)
    series = [_coefficients(f, wavenumbers, longest, terms) for f in functions]
    pairs, angles = distance.shape
    out = tuple(np.empty((wavenumbers.size, pairs, table.shape[1])) for _ in functions)
    step = max(1, _VALUES_TOGETHER // angles)
    for first in range(0, pairs, step):
        part = slice(first, first + step)
        moments = _moments(distance[part] / longest, [f[part] for f in factors], table, terms)
        for one, coefficients, moment in zip(out, series, moments, strict=True):
            one[:, part] = (coefficients @ moment.reshape(terms, -1)).reshape(wavenumbers.size, -1, table.shape[1])
    return out[0], out[1]


def _moments(share: FloatArray, factors: list[FloatArray], table: FloatArray, terms: int) -> list[FloatArray]:
    """Azimuth integrals of factor × T_j(2 share² − 1), each (terms, pairs, orders)."""
    twice = 4.0 * share * share - 2.0
    out = [np.empty((terms, share.shape[0], table.shape[1])) for _ in factors]
    before, now, spare = 0.5 * twice, np.ones_like(share), np.empty_like(share)  # T_{-1} is T_1
    for j in range(terms):
        for one, factor in zip(out, factors, strict=True):
            np.multiply(now, factor, out=spare)
            np.matmul(spare, table, out=one[j])
        np.multiply(twice, now, out=spare)
        spare -= before
        before, now, spare = now, spare, before
    return out


def _coefficients(function: _Function, wavenumbers: FloatArray, longest: float, terms: int) -> FloatArray:
    """Chebyshev coefficients in 2 (R/longest)² − 1 of a function that is even in R, (w, terms)."""
    angle = np.pi * (np.arange(terms) + 0.5) / terms
    r = longest * np.cos(0.5 * angle)
    samples = function(wavenumbers[:, None] * r, r)
    table = np.cos(np.arange(terms)[:, None] * angle) * 2.0 / terms
    table[0] *= 0.5
    return np.asarray(samples @ table.T)
