"""Scatter that the data themselves tell: variances learned as the fit goes, each with a prior worth a few values."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def learned_variance(prior_sd: float, worth: float, values: Floats, variances: Floats) -> float:
    """Return the variance of values known to within variances, mean zero.

    Parameters
    ----------
    prior_sd : float
        What it would be without data.
    worth : float
        How many values that is worth.
    values, variances : ndarray (n,)
        Posterior means and variances.

    Notes
    -----
    One step of expectation and maximisation with an inverse-gamma prior (Dempster, Laird, Rubin, J. R. Stat.
    Soc. B 39, 1977, 1, section 4).
    """
    total = worth * prior_sd**2 + float(np.sum(values**2 + variances))
    return total / (worth + len(values))


def heavy_tail_weight(squared: Floats, freedom: float) -> Floats:
    """Return the weight of values at a squared distance (in variances) under Student's t with `freedom` degrees."""
    return np.asarray((freedom + 1.0) / (freedom + squared))
