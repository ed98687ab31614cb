"""How much an observation is expected to tell: entropy before less entropy after, in bits, of normal distributions.

For a linear model with normal noise the covariance after an observation does not depend on what is read, so what it
will tell is known beforehand (D. V. Lindley, Ann. Math. Stat. 27, 1956, 986; K. Chaloner, I. Verdinelli, Stat. Sci.
10, 1995, 273, on designs that are optimal in this sense).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from frusta.errors import ParameterError

Floats = NDArray[np.float64]


def information_bits(before: Floats, after: Floats) -> float:
    """Return the expected information on some quantities, bits: ½ log₂(det before/det after).

    Parameters
    ----------
    before, after : ndarray (n, n)
        Their covariances, positive definite; n may be 0.

    Returns
    -------
    float
        One bit halves one standard deviation.

    Raises
    ------
    ParameterError
        If the shapes differ, or a covariance is not positive definite.

    Examples
    --------
    >>> information_bits(np.diag([4.0, 1.0]), np.diag([1.0, 1.0]))
    1.0
    """
    if np.shape(before) != np.shape(after) or np.ndim(before) != 2:
        raise ParameterError(f"both covariances must have one shape (got {np.shape(before)} and {np.shape(after)})")
    if not len(before):
        return 0.0
    signs, logs = np.linalg.slogdet(np.stack([before, after]))
    if np.any(signs <= 0.0):
        raise ParameterError("covariances must be positive definite; leave out quantities that depend on each other")
    return float(0.5 * (logs[0] - logs[1]) / math.log(2.0))


def standard_deviation(covariance: Floats, gradient: Floats) -> float:
    """Return the standard deviation of a quantity that is linear in others: √(gᵀ C g)."""
    return math.sqrt(max(float(gradient @ covariance @ gradient), 0.0))


def settling_probability(gap: float, before: float, after: float, reach: float) -> float:
    """Return how probably an interval will leave out zero once more was observed.

    Parameters
    ----------
    gap : float
        The difference as estimated now.
    before, after : float
        Variance of the estimate now and then.
    reach : float
        Half width of the interval then.

    Returns
    -------
    float
        The estimate will move by a normal step of variance `before` − `after`, the share of the uncertainty that is
        going to be lifted.
    """
    step = math.sqrt(max(before - after, 0.0))
    if step == 0.0:
        return float(abs(gap) > reach)
    return float(ndtr((gap - reach) / step) + ndtr((-gap - reach) / step))
