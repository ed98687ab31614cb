"""The whole inference: observed cones in; estimates, bare modes, joint and shapes out."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frusta.errors import ParameterError
from frusta.material.estimate import MaterialEstimate, material_estimates
from frusta.material.forward import Unknowns, free_of
from frusta.material.learned import JointKnowledge, Learned, ShapeKnowledge
from frusta.material.observations import CampaignObserved
from frusta.material.parameters import SEATING_SD, parameters_of
from frusta.material.solve import (
    LOSS_SCATTER,
    MARGIN_HZ,
    MODEL_FREQUENCY,
    MODEL_LOSS,
    PRINT_SCATTER,
    Fit,
    fit_campaign,
)
from frusta.material.start import start_moduli

Floats = NDArray[np.float64]

BENCH_FIGURES = ("joint", "air", "force", "suspension", "coil")
"""Beginnings of the names of unknowns that a bare cone does not have."""


@dataclass(frozen=True)
class FreeMode:
    """A recorded mode as the bare cone would have it; u are standard uncertainties."""

    seating: str
    recorded: int
    frequency_ratio: float
    loss_ratio: float
    frequency_ratio_u: float
    loss_ratio_u: float


@dataclass(frozen=True)
class Inferred:
    """What a campaign's modes say.

    Parameters
    ----------
    estimates : dict of str to MaterialEstimate
    free : tuple of FreeMode
        Ratios of free to recorded, by seating and number of the recorded mode.
    learned : Learned
        For forecasts.
    fit : Fit
    observed : CampaignObserved
    """

    estimates: dict[str, MaterialEstimate]
    free: tuple[FreeMode, ...]
    learned: Learned
    fit: Fit
    observed: CampaignObserved


def infer(observed: CampaignObserved) -> Inferred:
    """Return what the modes of a campaign say of its materials.

    Raises
    ------
    ParameterError
        If there is no cone, or nothing fits.
    """
    if not observed.cones:
        raise ParameterError(
            "an estimate needs at least one cone with profile, mass, coil and recorded modes (got none)"
        )
    parameters = parameters_of(observed, PRINT_SCATTER, LOSS_SCATTER)
    start = start_moduli(observed, Unknowns(parameters, parameters.mean.copy()))
    fit = fit_campaign(observed, start)
    estimates = material_estimates(observed, fit)
    learned = Learned(
        {key: estimate.knowledge for key, estimate in estimates.items()}, _joint(observed, fit), _shapes(observed, fit)
    )
    return Inferred(estimates, tuple(_free(observed, fit)), learned, fit, observed)


def _joint(observed: CampaignObserved, fit: Fit) -> JointKnowledge:
    """The joint of the rig with most seatings."""
    used = [s.rig for cone in observed.cones for s in cone.seatings]
    rig = max(observed.rigs, key=used.count)
    places = fit.prior.names("rig", rig)
    compliance = max(float(fit.unknowns.values[places["joint_compliance_m_n"]]), 0.0)
    told = math.sqrt(float(fit.covariance[places["joint_compliance_m_n"], places["joint_compliance_m_n"]]))
    return JointKnowledge(
        compliance,
        math.hypot(told, SEATING_SD * compliance),
        max(float(fit.unknowns.values[places["joint_loss_factor"]]), 0.0),
        assumed=False,
    )


def _shapes(observed: CampaignObserved, fit: Fit) -> dict[str, ShapeKnowledge]:
    """How each profile was printed, over its drawing."""
    shapes = {}
    for key, drawn in observed.profiles.items():
        places = fit.prior.names("profile", key)
        value = {name: float(fit.unknowns.values[place]) for name, place in places.items()}
        sd = {name: math.sqrt(float(fit.covariance[place, place])) for name, place in places.items()}
        shapes[key] = ShapeKnowledge(
            value["depth_m"],
            value["bow_m"],
            value["wall_taper"] - drawn.wall_taper,
            sd["depth_m"],
            sd["bow_m"],
            sd["wall_taper"],
        )
    return shapes


def _free(observed: CampaignObserved, fit: Fit) -> list[FreeMode]:
    """Ratios of the bare cone's modes to the recorded ones."""
    bench = np.array(
        [kind in ("rig", "seating") or figure.startswith(BENCH_FIGURES) for kind, _, figure in fit.prior.index]
    )
    covariance = fit.covariance[np.ix_(bench, bench)]
    found = []
    for cone in observed.cones:
        high = MARGIN_HZ * max(float(s.modes.frequency_hz.max()) for s in cone.seatings)
        bare = free_of(observed, cone, fit.unknowns, high)
        for j, seating in enumerate(cone.seatings):
            computed, pairs = fit.computed[cone.key][j], fit.assigned[cone.key][j]
            if len(bare[j].frequency_hz) != len(computed.frequency_hz):
                continue
            for mode, recorded in zip(pairs.computed, pairs.recorded, strict=True):
                if not np.isfinite(bare[j].frequency_hz[mode]):
                    continue
                by_frequency, by_loss = computed.frequency_slope[mode, bench], computed.loss_slope[mode, bench]
                ratio = float(bare[j].frequency_hz[mode] / computed.frequency_hz[mode])
                loss_ratio = float(bare[j].loss_factor[mode] / computed.loss_factor[mode])
                spread = math.sqrt(max(float(by_frequency @ covariance @ by_frequency), 0.0))
                loss_spread = math.sqrt(max(float(by_loss @ covariance @ by_loss), 0.0))
                found.append(
                    FreeMode(
                        seating.key,
                        int(recorded),
                        ratio,
                        loss_ratio,
                        ratio * math.hypot(spread, MODEL_FREQUENCY),
                        loss_ratio * math.hypot(loss_spread, MODEL_LOSS),
                    )
                )
    return found
