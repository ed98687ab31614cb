"""Matrices that are entire functions of the wavenumber, kept as Chebyshev series.

A kernel e^{-jkR} over distances up to D is entire in k, its real part even and its imaginary part odd. On
[−K, K] its Chebyshev series falls faster than any power once the degree passes K·D, and goes on to
complex k near the real axis, where poles lie: no sampling error, no branch to choose.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]


@dataclass(frozen=True)
class EntireMatrix:
    """``A(k) = E(k) + jO(k)``, E even, O odd, both real on the real axis.

    Parameters
    ----------
    top : float
        K: the series holds for |Re k| ≤ K and small |Im k|.
    even, odd : ndarray, shape (terms, *matrix shape)
        Coefficients of T_0, T_2, … and T_1, T_3, … in k/K.
    """

    top: float
    even: FloatArray
    odd: FloatArray

    def at(self, wavenumber: ComplexArray | FloatArray | complex) -> ComplexArray:
        """Return the matrices, shape (*wavenumber.shape, *matrix shape)."""
        k = np.asarray(wavenumber, dtype=np.complex128)
        series = np.polynomial.chebyshev.chebvander(k.ravel() / self.top, 2 * self.even.shape[0] - 1)
        shape = self.even.shape[1:]
        flat_even = self.even.reshape(self.even.shape[0], -1)
        flat_odd = self.odd.reshape(self.odd.shape[0], -1)
        if np.all(k.imag == 0.0):
            real = series.real
            out = real[:, ::2] @ flat_even + 1j * (real[:, 1::2] @ flat_odd)
        else:
            out = series[:, ::2] @ flat_even + 1j * (series[:, 1::2] @ flat_odd)
        return np.asarray(out.reshape(k.shape + shape))


def series_terms(top: float, longest: float) -> int:
    """Return how many even (and odd) terms reproduce ``e^{-jkR}``, R ≤ ``longest``, to about 1e-12."""
    reach = top * longest
    return int(np.ceil((reach + 6.0 * np.cbrt(reach + 1.0) + 10.0) / 2.0))


def series_nodes(top: float, terms: int) -> FloatArray:
    """Return the positive half of the Chebyshev points on [−top, top], shape (terms,), falling."""
    return np.asarray(top * np.cos(np.pi * (2.0 * np.arange(terms) + 1.0) / (4.0 * terms)))


def entire_from_samples(top: float, real: FloatArray, imaginary: FloatArray) -> EntireMatrix:
    """Return the series through samples at `series_nodes`, arrays of shape (terms, *matrix shape)."""
    terms = real.shape[0]
    angle = np.pi * (2.0 * np.arange(terms) + 1.0) / (4.0 * terms)
    degree = np.arange(2 * terms)
    table = np.cos(degree[:, None] * angle) * 2.0 / terms
    table[0] *= 0.5
    return EntireMatrix(
        top,
        np.tensordot(table[::2], real, axes=1),
        np.tensordot(table[1::2], imaginary, axes=1),
    )
