"""Where the fit of a material starts: the modulus at which computed and recorded modes lie on each other.

All frequencies of a cone go with the square root of its modulus, but for air and motor, so one computation is
slid along the frequency axis until it meets what was recorded, for several ratios of the moduli and several joints
(to first order); then twice more from there.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from frusta.material.coupons import started_from_coupon
from frusta.material.forward import Computed, Unknowns, computed_modes
from frusta.material.observations import CampaignObserved, ConeObserved
from frusta.material.parameters import Name

Floats = NDArray[np.float64]

WIDTH = 0.012
"""How near (ln f) a computed mode must lie to count as met."""
REACHES, STEPS = (math.log(6.0), 0.2, 0.06), (0.008, 0.004, 0.002)
"""How far the frequencies are slid (ln f), time by time, and in which steps."""
SHEAR, AXIAL = (-0.35, 0.0, 0.3), (-0.35, 0.0, 0.2)
"""Ratios of the moduli that are tried, about where they stand (ln scale)."""
JOINT_M_N = (0.0, 4e-8, 1e-7)
"""Compliances that are tried for a joint nobody knows."""
UNLIKELY = 0.01
"""What one squared standard deviation off the prior costs of the score, 0 to 1."""
HIGHEST_HZ = 20e3


def start_moduli(observed: CampaignObserved, unknowns: Unknowns) -> Unknowns:
    """Return unknowns whose moduli and loss factors meet the recordings roughly, each material by itself.

    Parameters
    ----------
    observed : CampaignObserved
    unknowns : Unknowns
        Changed in a copy.

    Raises
    ------
    ParameterError
        If a cone cannot be computed.
    """
    found = Unknowns(unknowns.parameters, unknowns.values.copy())
    index = unknowns.parameters.index
    joints: list[float] = []
    for material in observed.materials:
        cones = [c for c in observed.cones if c.material == material and any(len(s.modes) for s in c.seatings)]
        if not cones:
            for coupon in [c for c in observed.coupons if c.material == material][:1]:
                found = started_from_coupon(coupon, found)
            continue
        losses = np.concatenate([s.modes.loss_factor for c in cones for s in c.seatings])
        found.values[index[("material", material, "loss_factor")]] = math.log(float(np.median(losses)))
        own = Unknowns(found.parameters, found.values.copy())
        for time, reach in enumerate(REACHES):
            own = _slid(observed, material, cones, own, np.arange(-reach, reach, STEPS[time]), 0.5**time)
        places = [place for name, place in index.items() if name[:2] == ("material", material)]
        found.values[places] = own.values[places]
        joints.append(own.at("rig", cones[0].seatings[0].rig, "joint_compliance_m_n"))
    for rig, known in observed.rigs.items():
        if joints and known.joint_compliance_m_n is None:
            found.values[index[("rig", rig, "joint_compliance_m_n")]] = float(np.median(joints))
    return found


def _slid(
    observed: CampaignObserved,
    material: str,
    cones: list[ConeObserved],
    unknowns: Unknowns,
    shifts: Floats,
    spread: float,
) -> Unknowns:
    """The unknowns moved to where most modes meet."""
    index = unknowns.parameters.index
    rig = cones[0].seatings[0].rig
    turned: tuple[Name, ...] = (
        ("material", material, "shear_ratio"),
        ("material", material, "axial_ratio"),
        ("rig", rig, "joint_compliance_m_n"),
    )
    places = [index[name] for name in turned]
    joint: tuple[float, ...] = (0.0,)
    if observed.rigs[rig].joint_compliance_m_n is None:
        here = unknowns.at(*turned[2])
        joint = tuple(spread * (c - here) if spread == 1.0 else spread * (c - JOINT_M_N[1]) for c in JOINT_M_N)
        joint = tuple(max(step, -here) for step in joint)
    trials = np.array(list(itertools.product(spread * np.array(SHEAR), spread * np.array(AXIAL), joint)))
    score = np.zeros((len(trials), len(shifts)))
    for cone in cones:
        seating = max(cone.seatings, key=lambda s: len(s.modes))
        if not len(seating.modes):
            continue
        modes = computed_modes(observed, replace(cone, seatings=(seating,)), unknowns, HIGHEST_HZ)[0]
        slopes = modes.frequency_slope[:, places]
        recorded, loud = np.log(seating.modes.frequency_hz), _loudness(seating.modes.prominence_db)
        for i, trial in enumerate(trials):
            score[i] += _met(np.log(modes.frequency_hz) + slopes @ trial, modes, shifts, recorded, loud) / len(cones)
    prior = unknowns.parameters
    off = (unknowns.values[places] + trials - prior.mean[places]) / prior.sd[places]
    score -= UNLIKELY * np.sum(off**2, axis=1)[:, None]
    hoop = index[("material", material, "hoop_pa")]
    score -= UNLIKELY * ((unknowns.values[hoop] + 2.0 * shifts - prior.mean[hoop]) / prior.sd[hoop]) ** 2
    best = np.unravel_index(int(np.argmax(score)), score.shape)
    values = unknowns.values.copy()
    values[places] += trials[best[0]]
    values[hoop] += 2.0 * float(shifts[best[1]])
    return Unknowns(prior, values)


def _loudness(prominence_db: Floats) -> Floats:
    """Weight of a mode, 0.1 (faint: may be missed, or be a bell mode) to 1."""
    return np.asarray(np.clip((prominence_db + 18.0) / 24.0, 0.1, 1.0))


def _met(computed: Floats, modes: Computed, shifts: Floats, recorded: Floats, loud: Floats) -> Floats:
    """Share of recorded modes that are met, times that of computed ones between the recorded ones; by shift."""
    moved = computed + shifts[:, None]
    near = np.maximum(1.0 - ((moved[:, :, None] - recorded) / (2.5 * WIDTH)) ** 2, 0.0) ** 2
    between = (moved > recorded[0] - 2.0 * WIDTH) & (moved < recorded[-1] + 2.0 * WIDTH)
    weight = between * _loudness(modes.prominence_db)
    told = near.max(axis=1) @ loud / loud.sum()
    foretold = (weight * near.max(axis=2)).sum(axis=1) / np.maximum(weight.sum(axis=1), 0.1)
    return np.asarray(told * foretold)
