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
        values, _ = self._polynomials(k.ravel())
        return self._summed(values, k.shape)

    def at_with_slope(self, wavenumber: ComplexArray) -> tuple[ComplexArray, ComplexArray]:
        """Return the matrices and their derivatives by k, each of shape (*wavenumber.shape, *matrix shape)."""
        k = np.asarray(wavenumber, dtype=np.complex128)
        both = np.concatenate(self._polynomials(k.ravel()))
        out = self._summed(both, (2, *k.shape))
        return out[0], out[1]

    def _polynomials(self, k: ComplexArray) -> tuple[ComplexArray, ComplexArray]:
        """T_n(k/K) = cos nθ and their derivatives by k, n·sin nθ/(K sin θ), shape (k, 2·terms)."""
        degree = np.arange(2 * self.even.shape[0])
        angle = np.arccos(k / self.top)
        turned, across = degree * angle[:, None], np.sin(angle)[:, None]
        ends = np.abs(across) < 1e-8
        slope = degree * np.sin(turned) / np.where(ends, 1.0, self.top * across)
        return np.cos(turned), np.where(ends, degree**2 * np.cos(turned) * np.cos(angle)[:, None] / self.top, slope)

    def _summed(self, series: ComplexArray, shape: tuple[int, ...]) -> ComplexArray:
        """The series with complex polynomials, in products of real matrices alone."""
        count = len(series)
        flat_even = self.even.reshape(self.even.shape[0], -1)
        flat_odd = self.odd.reshape(self.odd.shape[0], -1)
        out = np.empty((count, flat_even.shape[1]), dtype=np.complex128)
        if np.all(series.imag == 0.0):
            out.real = series.real[:, ::2] @ flat_even
            out.imag = series.real[:, 1::2] @ flat_odd
        else:
            parts = np.concatenate([series.real, series.imag])
            by_even, by_odd = parts[:, ::2] @ flat_even, parts[:, 1::2] @ flat_odd
            np.subtract(by_even[:count], by_odd[count:], out=out.real)
            np.add(by_even[count:], by_odd[:count], out=out.imag)
        return out.reshape(shape + self.even.shape[1:])


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
