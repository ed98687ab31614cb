"""Sources on rings: the free-space Green's function folded over the azimuth.

A ring of radius ``r'`` whose strength goes as ``cos(m θ)`` is felt on a ring of radius ``r`` through
``G_m = ∫₀^{2π} cos(mΔ) e^{-jkR}/(4πR) dΔ``. Its static part is a toroidal (Legendre) function of the
second kind and holds the whole logarithmic singularity; what the wavenumber adds is smooth.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ellipe, ellipkm1

FloatArray = NDArray[np.float64]

_RECURRENCE_UP_TO = 1.4  # χ; forward recurrence loses exp(2 m arccosh χ), 4 digits at m = 5
_TRAPEZOID_INTERVALS = 44  # exp(-44 arccosh 1.4) = 3e-17


def toroidal_functions(excess: FloatArray, orders: int) -> FloatArray:
    """Return the toroidal functions ``Q_{m-1/2}(χ)`` for m = 0 … ``orders`` − 1.

    Parameters
    ----------
    excess : ndarray
        χ − 1 > 0, any shape (the difference, so that close rings keep their digits).
    orders : int
        How many, at least 2.

    Returns
    -------
    ndarray, shape (orders, *excess.shape)
        ``∫₀^π cos(mΔ)/√(2(χ − cos Δ)) dΔ``. Near χ = 1 by complete elliptic integrals and forward
        recurrence, elsewhere by the trapezoidal rule, which converges exponentially there.

    References
    ----------
    NIST Digital Library of Mathematical Functions, 14.19 and 14.10.3 (from memory; held against mpmath).
    """
    out = np.empty((orders, *excess.shape))
    near = excess < _RECURRENCE_UP_TO - 1.0
    out[:, near] = _by_recurrence(excess[near], orders)
    out[:, ~near] = _by_trapezoid(1.0 + excess[~near], orders)
    return out


def _by_recurrence(excess: FloatArray, orders: int) -> FloatArray:
    out = np.empty((orders, excess.size))
    chi = 1.0 + excess
    complete_k = ellipkm1(excess / (chi + 1.0))
    complete_e = ellipe(2.0 / (chi + 1.0))
    out[0] = np.sqrt(2.0 / (chi + 1.0)) * complete_k
    out[1] = chi * out[0] - np.sqrt(2.0 * (chi + 1.0)) * complete_e
    for m in range(1, orders - 1):
        out[m + 1] = (2.0 * m * chi * out[m] - (m - 0.5) * out[m - 1]) / (m + 0.5)
    return out


def _by_trapezoid(chi: FloatArray, orders: int) -> FloatArray:
    angle = np.linspace(0.0, np.pi, _TRAPEZOID_INTERVALS + 1)
    weight = np.full(angle.size, np.pi / _TRAPEZOID_INTERVALS)
    weight[[0, -1]] *= 0.5
    table = weight * np.cos(np.arange(orders)[:, None] * angle)
    inverse = 1.0 / np.sqrt(2.0 * (chi[:, None] - np.cos(angle)))
    return np.asarray(table @ inverse.T)


def static_rings(
    radius: FloatArray,
    height: FloatArray,
    source_radius: FloatArray,
    source_height: FloatArray,
    orders: int,
) -> FloatArray:
    """Return the static part of ``G_m``, 1/(length), for m = 0 … ``orders`` − 1.

    Parameters
    ----------
    radius, height, source_radius, source_height : ndarray
        Cylindrical coordinates, broadcast against each other; no two rings may coincide, radii > 0.
    orders : int
        How many orders, at least 2.

    Returns
    -------
    ndarray, shape (orders, *broadcast shape)
        ``Q_{m-1/2}(χ)/(2π√(r r'))``.
    """
    product = radius * source_radius
    gap = (radius - source_radius) ** 2 + (height - source_height) ** 2
    return np.asarray(toroidal_functions(gap / (2.0 * product), orders) / (2.0 * np.pi * np.sqrt(product)))


def static_ring_slopes(
    radius: FloatArray,
    height: FloatArray,
    source_radius: FloatArray,
    source_height: FloatArray,
    normal_r: FloatArray,
    normal_z: FloatArray,
    order: int,
) -> FloatArray:
    """Return the derivative of the static ``G_m`` along the source's normal, 1/(length²).

    Parameters as in `static_rings`, with the source's unit normal; ``order`` is m.
    Uses ``(χ² − 1) Q'_ν = (ν + 1)(Q_{ν+1} − χ Q_ν)`` (DLMF 14.10.5, from memory; held against mpmath).
    """
    product = radius * source_radius
    rise = source_height - height
    gap = (source_radius - radius) ** 2 + rise**2
    excess = gap / (2.0 * product)
    rings = toroidal_functions(excess, order + 2)
    same, above = rings[order], rings[order + 1]
    slope = (order + 0.5) * (above - (1.0 + excess) * same) / (excess * (2.0 + excess))
    along_r = ((source_radius - radius) * (source_radius + radius) - rise**2) / (2.0 * product * source_radius)
    along_z = rise / product
    total = slope * (normal_r * along_r + normal_z * along_z) - same * normal_r / (2.0 * source_radius)
    return np.asarray(total / (2.0 * np.pi * np.sqrt(product)))


@lru_cache(maxsize=16)
def azimuth_rule(points: int) -> tuple[FloatArray, FloatArray]:
    """Return angles in (0, π) and weights that gather towards 0, where rings come close.

    Gauss–Legendre in √(Δ/π): exact to rounding for integrands smooth in Δ ≥ 0, and for those with a kink |Δ|.
    """
    node, weight = np.polynomial.legendre.leggauss(points)
    t = 0.5 * (node + 1.0)
    angle = np.pi * t**2
    weights = np.pi * t * weight
    angle.setflags(write=False)
    weights.setflags(write=False)
    return angle, weights


def ring_distances(
    radius: FloatArray,
    height: FloatArray,
    source_radius: FloatArray,
    source_height: FloatArray,
    angle: FloatArray,
) -> FloatArray:
    """Return the distances R between points of two rings, shape (*broadcast shape, angles)."""
    gap = (radius - source_radius) ** 2 + (height - source_height) ** 2
    spread = 4.0 * radius * source_radius
    return np.asarray(np.sqrt(gap[..., None] + spread[..., None] * np.sin(0.5 * angle) ** 2))
