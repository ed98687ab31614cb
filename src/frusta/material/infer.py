"""The whole inference: observed cones in; estimates, bare modes, joint and shapes out."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from frusta.errors import ParameterError
from frusta.material.beads import NEGLIGIBLE, doubted, mixed, second_opinion
from frusta.material.estimate import MaterialEstimate, material_estimates
from frusta.material.forward import Unknowns, free_of
from frusta.material.learned import JointKnowledge, Learned, ShapeKnowledge
from frusta.material.observations import CampaignObserved, ConeObserved
from frusta.material.offsets import MODEL_FREQUENCY, MODEL_LOSS
from frusta.material.parameters import SEATING_SD, parameters_of
from frusta.material.refusal import NothingFits, misfits, together
from frusta.material.response_stage import misweighed, noted, refined, second_stage
from frusta.material.solve import (
    LOSS_SCATTER,
    MARGIN_HZ,
    PRINT_SCATTER,
    Fit,
    fit_campaign,
)
from frusta.material.start import start_moduli

Floats = NDArray[np.float64]

ROUNDS = 3
"""How often cones that do not fit may be left out."""
AGREE = 0.2
"""Within this (ln) moduli of single cones agree, from their modes' places alone."""
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
        Over both hypotheses of a wall (`frusta.material.beads`).
    free : tuple of FreeMode
        Ratios of free to recorded, by seating and number of the recorded mode.
    learned : Learned
        For forecasts, which stay with the first hypothesis of a wall: it foretells what it was fitted to.
    fit : Fit
        Of poles and masses; estimates may hold what complex responses add.
    observed : CampaignObserved
        The cones that were believed.
    left_out : dict of str to str
        Cones that do not fit, each with the reason.
    refused : dict of str to str
        Materials of which nothing is believed, each with the reason.
    """

    estimates: dict[str, MaterialEstimate]
    free: tuple[FreeMode, ...]
    learned: Learned
    fit: Fit
    observed: CampaignObserved
    left_out: dict[str, str]
    refused: dict[str, str]


def infer(observed: CampaignObserved) -> Inferred:
    """Return what the modes of a campaign say of its materials.

    Raises
    ------
    ParameterError
        If there is no cone, or none fits.
    """
    if not observed.cones and not observed.coupons:
        raise ParameterError(
            "an estimate needs at least one cone with profile, mass, coil and recorded modes, or a tapped coupon with "
            "its sizes (got neither)"
        )
    fit = _fitted(observed)
    left_out: dict[str, str] = {}
    refused: dict[str, str] = {}
    for _ in range(ROUNDS):
        wrong = misfits(observed, fit)
        if not wrong:
            break
        believed = _believed(observed, wrong, refused)
        if not believed.cones:
            raise NothingFits(wrong)
        kept = {cone.key for cone in believed.cones}
        left_out |= {c.key: wrong.get(c.key, refused.get(c.material, "")) for c in observed.cones if c.key not in kept}
        observed = believed
        fit = _fitted(observed)
    stage = second_stage(observed, fit)
    told = refined(fit, stage)
    estimates = noted(material_estimates(observed, told), stage)
    learned = Learned(
        {key: estimate.knowledge for key, estimate in estimates.items()},
        _joint(observed, told),
        _shapes(observed, told),
    )
    opinion = second_opinion(observed, fit)
    if opinion is not None and opinion.probability > NEGLIGIBLE:
        estimates = doubted(noted(material_estimates(observed, mixed(told, opinion)), stage), told, opinion)
    heavy = misweighed(fit, stage)
    refused |= heavy
    estimates = {key: estimate for key, estimate in estimates.items() if key not in heavy}
    learned = replace(learned, materials={key: known for key, known in learned.materials.items() if key not in heavy})
    return Inferred(estimates, tuple(_free(observed, fit)), learned, fit, observed, left_out, refused)


def _fitted(observed: CampaignObserved) -> Fit:
    parameters = parameters_of(observed, PRINT_SCATTER, LOSS_SCATTER)
    return fit_campaign(observed, start_moduli(observed, Unknowns(parameters, parameters.mean.copy())))


def _believed(observed: CampaignObserved, wrong: dict[str, str], refused: dict[str, str]) -> CampaignObserved:
    """The campaign without the cones that are wrong; a material of which more than half is wrong goes altogether."""
    kept = []
    for key in observed.materials:
        cones = [c for c in observed.cones if c.material == key]
        if not cones:
            continue
        good = [c for c in cones if c.key not in wrong]
        if 2 * len(good) < len(cones):
            good = _majority(observed, cones)
        if good and 2 * len(good) >= len(cones):
            kept += good
        else:
            refused[key] = together({c.key: wrong[c.key] for c in cones if c.key in wrong})
    used = {c.material for c in kept} | {c.material for c in observed.coupons if c.material not in refused}
    shapes = {c.profile for c in kept}
    return CampaignObserved(
        {key: given for key, given in observed.materials.items() if key in used},
        {key: profile for key, profile in observed.profiles.items() if key in shapes},
        observed.rigs,
        tuple(c for c in observed.cones if any(c is k for k in kept)),
        tuple(c for c in observed.coupons if c.material in used),
    )


def _majority(observed: CampaignObserved, cones: list[ConeObserved]) -> list[ConeObserved]:
    """The cones of one material that agree about its modulus when each is asked alone; none if none stands out."""
    if len(cones) < 3:
        return []
    parameters = parameters_of(observed, PRINT_SCATTER, LOSS_SCATTER)
    moduli = []
    for cone in cones:
        alone = start_moduli(replace(observed, cones=(cone,), coupons=()), Unknowns(parameters, parameters.mean.copy()))
        moduli.append(alone.at("material", cone.material, "hoop_pa"))
    off = np.abs(np.array(moduli) - np.median(moduli))
    return [cone for cone, far in zip(cones, off, strict=True) if far < AGREE] if np.any(off >= AGREE) else []


def _joint(observed: CampaignObserved, fit: Fit) -> JointKnowledge:
    """The joint of the rig with most seatings."""
    if not observed.cones:
        return JointKnowledge()
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
