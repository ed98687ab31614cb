"""Quadrature for the logarithm: element with itself, and elements that share a node.

The kernel between rings goes as ln(distance). On one element the difference of the two places is taken as a
variable and squeezed towards zero; at a shared node the pair of places goes to polar-like coordinates about
the corner. The logarithm is integrated to 2e-7, far below the elements' own error.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

_SQUEEZE = 4  # ξ = t⁴ turns ln ξ dξ into a function with three continuous derivatives


@lru_cache(maxsize=4)
def same_element_rule(points: int = 10) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return (x, y, weight) on the unit square for integrands that go as ln|x − y|."""
    t, wt = _unit_gauss(points)
    gap, wgap = t**_SQUEEZE, wt * _SQUEEZE * t ** (_SQUEEZE - 1)
    s, ws = _unit_gauss(6)
    x = gap[:, None] + (1.0 - gap[:, None]) * s
    y = x - gap[:, None]
    w = wgap[:, None] * (1.0 - gap[:, None]) * ws
    return _frozen(np.r_[x.ravel(), y.ravel()], np.r_[y.ravel(), x.ravel()], np.r_[w.ravel(), w.ravel()])


@lru_cache(maxsize=4)
def corner_rule(points: int = 8) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return (a, b, weight) on the unit square for integrands that are singular where a = b = 0."""
    t, wt = _unit_gauss(points)
    rho, wrho = t**2, wt * 2.0 * t
    v, wv = _unit_gauss(points)
    big = np.broadcast_to(rho[:, None], (points, points)).ravel()
    small = (rho[:, None] * v).ravel()
    w = (rho[:, None] * wrho[:, None] * wv).ravel()
    return _frozen(np.r_[big, small], np.r_[small, big], np.r_[w, w])


def _unit_gauss(points: int) -> tuple[FloatArray, FloatArray]:
    node, weight = np.polynomial.legendre.leggauss(points)
    return 0.5 * (node + 1.0), 0.5 * weight


def _frozen(*arrays: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    for array in arrays:
        array.setflags(write=False)
    a, b, c = arrays
    return a, b, c
