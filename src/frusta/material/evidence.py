"""What a fit of a campaign is worth beside another of the same rows: Laplace's approximation of its evidence.

Scales, heavy-tailed weights and print scatter are learned anew for each, so that neither fit is judged by what the
other one left unexplained.
"""

from __future__ import annotations

from copy import deepcopy
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frusta.material.bell_pull import Pull, StrayPull
from frusta.material.forward import Unknowns
from frusta.material.observations import CampaignObserved
from frusta.material.offsets import FREEDOM, OFFSETS_WORTH, Block, Spread
from frusta.material.parameters import Parameters
from frusta.material.residuals import Residuals
from frusta.material.solve import (
    LOSS_SCATTER,
    PRINT_SCATTER,
    SCATTER_WORTH,
    learned_scatter,
    normal_equations,
    print_keys,
    solved_step,
    weighings,
    with_scatter,
)

Floats = NDArray[np.float64]

ROUNDS = 3
"""Of learning scales from rows that stay, after those of the fit itself."""


@dataclass(frozen=True)
class Weighed:
    """A linear fit and its worth.

    Parameters
    ----------
    values : ndarray (unknowns,)
        The minimum.
    covariance : ndarray (unknowns, unknowns)
    log_evidence : float
        Natural logarithm, up to a constant that all fits of the same rows share.
    """

    values: Floats
    covariance: Floats
    log_evidence: float


def weigh(
    observed: CampaignObserved,
    prior: Parameters,
    unknowns: Unknowns,
    rows: Residuals,
    spread: Spread,
    pulls: list[Pull] | None,
    strays: list[StrayPull] | None,
    rounds: int = ROUNDS,
) -> Weighed:
    """Return the linear fit of rows and what it is worth.

    Parameters
    ----------
    observed : CampaignObserved
    prior : Parameters
    unknowns : Unknowns
        Where the rows were linearised.
    rows : Residuals
    spread : Spread
        Where learning starts; left as it is.
    pulls, strays : list of Pull, list of StrayPull, or None
        One a cone.
    rounds : int
        Of learning; 0 keeps scales, weights and scatter.

    Notes
    -----
    −2 ln evidence = cost at the minimum + ln |precision|; the cost is that of which learning finds the minimum: squared
    residuals and ln |Σ| of the rows, priors, and the priors of scales (inverse gamma), weights (gamma, which makes
    Student's t) and scatter (inverse gamma).
    """
    spread = deepcopy(spread)
    for _ in range(rounds):
        solved = solved_step(observed, prior, unknowns, rows, spread, pulls, strays, None, True)
        prior = with_scatter(prior, observed, *learned_scatter(observed, prior, solved))
    solved = solved_step(observed, prior, unknowns, rows, spread, pulls, strays, None, False)
    step = solved.values - unknowns.values
    blocks = [Block(observed, rows, which, spread, pulls, strays, None) for which in (0, 1)]
    precision, _ = normal_equations(observed, prior, unknowns, blocks)
    cost = _cost_of_learning(observed, prior, spread, blocks)
    cost += float(np.sum(((solved.values - prior.mean) / prior.sd) ** 2) + 2.0 * np.sum(np.log(prior.sd)))
    for gradient, residual, sd in weighings(observed, unknowns):
        cost += float((residual - gradient @ step) / sd) ** 2
    for block in blocks:
        left = block.value - block.slope @ step
        cost += float(left @ block.inverse @ left) + float(np.linalg.slogdet(block.total)[1])
    return Weighed(solved.values, solved.covariance, -0.5 * (cost + float(np.linalg.slogdet(precision)[1])))


def _cost_of_learning(observed: CampaignObserved, prior: Parameters, spread: Spread, blocks: list[Block]) -> float:
    """−2 ln of the priors of what is learned beside the unknowns, zero where it is as it was before data spoke."""
    cost = 0.0
    for which, block in enumerate(blocks):
        weight = np.concatenate([block.weight, block.wall_weight])
        cost += FREEDOM * float(np.sum(weight - np.log(weight) - 1.0))
        for scale in (spread.scale[which], spread.uneven[which]):
            cost += OFFSETS_WORTH * float(np.sum(scale**-2.0 + 2.0 * np.log(scale) - 1.0))
    prints = print_keys(observed)
    for figure, usual in (("modulus", PRINT_SCATTER), ("loss_factor", LOSS_SCATTER)):
        ratio = float(prior.sd[prior.index[("print", prints[0], figure)]]) / usual if prints else 1.0
        cost += SCATTER_WORTH * (ratio**-2.0 + 2.0 * np.log(ratio) - 1.0)
    return cost
