"""The studentised range: how wide several intervals must be to hold together."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import ndtr
from scipy.stats import t as student_t

from frusta.errors import ParameterError


def joint_factor(groups: int, degrees: float, confidence: float = 0.95) -> float:
    """Return by how many standard errors all pairwise intervals of `groups` means must reach.

    Tukey–Kramer: the upper point of the studentised range over the square root of two; with two groups it is
    Student's t. Unequal numbers of prints make it err to the safe side.

    Parameters
    ----------
    groups : int
        How many means are compared pairwise, >= 2.
    degrees : float
        Degrees of freedom of the standard error, > 0.
    confidence : float, optional
        Joint confidence, between 0 and 1.

    Returns
    -------
    float
        Factor on the standard error of a difference.

    Raises
    ------
    ParameterError
        If an argument is out of its range.

    References
    ----------
    J. W. Tukey, The Problem of Multiple Comparisons (1953); C. Y. Kramer, Biometrics 12 (1956).

    Examples
    --------
    >>> round(joint_factor(2, 10), 3)
    2.228
    """
    if groups < 2 or not degrees > 0 or not 0 < confidence < 1:
        raise ParameterError(
            "groups must be at least 2, degrees above 0 and confidence between 0 and 1 "
            f"(got {groups}, {degrees}, {confidence}); compare two groups or more"
        )
    if groups == 2:
        return float(student_t.ppf(0.5 + confidence / 2, degrees))
    return _joint_factor(groups, float(degrees), float(confidence))


@lru_cache(maxsize=4096)
def _joint_factor(groups: int, degrees: float, confidence: float) -> float:
    lowest = float(student_t.ppf(0.5 + confidence / 2, degrees))
    pairs = groups * (groups - 1) / 2
    highest = float(student_t.ppf(1 - (1 - confidence) / pairs / 2, degrees))  # Bonferroni is wider

    def lacking(factor: float) -> float:
        return range_probability(factor * np.sqrt(2.0), groups, degrees) - confidence

    return float(brentq(lacking, lowest, highest * (1 + 1e-6), xtol=1e-7))


def range_probability(quotient: float, groups: int, degrees: float) -> float:
    """Return the probability that the studentised range of `groups` means stays below `quotient`.

    Parameters
    ----------
    quotient : float
        Range of the means over their standard error, >= 0.
    groups : int
        Number of means, >= 2.
    degrees : float
        Degrees of freedom of the standard error, > 0.

    Returns
    -------
    float
        Between 0 and 1, within 3e-5 for up to twenty groups and 1 degree of freedom or more.

    References
    ----------
    H. Leon Harter, Tables of range and studentized range, Ann. Math. Stat. 31 (1960): the range's distribution
    averaged over that of the standard error.
    """
    scale, weight = _scales(degrees)
    return float(weight @ _normal_range(quotient * scale, groups))


@lru_cache(maxsize=256)
def _scales(degrees: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Nodes and weights for the standard error over its true value (a chi over the root of its degrees)."""
    if degrees > 400:  # the chi is narrow: the substitution below needs no more than a normal's width
        spread = 8 / np.sqrt(2 * degrees)
        x, w = np.polynomial.legendre.leggauss(64)
        scale = 1 + spread * x
        log_density = (degrees - 1) * np.log(scale) - degrees * (scale**2 - 1) / 2
    else:
        x, w = np.polynomial.legendre.leggauss(100)
        top = np.sqrt(1 + 12 / np.sqrt(degrees) + 60 / degrees)
        scale = top * (x + 1) / 2
        log_density = (degrees - 1) * np.log(scale) - degrees * (scale**2 - 1) / 2
    weight = w * np.exp(log_density)
    return scale, weight / weight.sum()


def _normal_range(width: NDArray[np.float64], groups: int) -> NDArray[np.float64]:
    """Probability that the range of independent standard normals stays below each width."""
    x, w = np.polynomial.legendre.leggauss(64)
    z = 8 * x
    density = w * 8 * np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi)
    inside = ndtr(z[None, :]) - ndtr(z[None, :] - width[:, None])
    return np.asarray(np.minimum(groups * (inside ** (groups - 1)) @ density, 1.0), dtype=np.float64)
