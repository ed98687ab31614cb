"""Where the fit of a material starts: the modulus at which computed and recorded modes lie on each other.

All frequencies of a cone go with the square root of its modulus, but for air and motor, so one computation is
slid along the frequency axis until it meets what was recorded; then once more from there.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from frusta.material.forward import Unknowns, computed_modes
from frusta.material.observations import CampaignObserved, ConeObserved

Floats = NDArray[np.float64]

WIDTH = 0.02
"""How near (ln f) a computed mode counts as met before its ratios are known."""
FIRST_REACH, SECOND_REACH, STEP = math.log(6.0), 0.15, 0.004
"""How far the frequencies are slid (ln f), first and second time, and in which steps."""
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
    for material in observed.materials:
        cones = [c for c in observed.cones if c.material == material and _recorded(c).size]
        if not cones:
            continue
        losses = np.concatenate([s.modes.loss_factor for c in cones for s in c.seatings])
        found.values[index[("material", material, "loss_factor")]] = math.log(float(np.median(losses)))
        for reach in (FIRST_REACH, SECOND_REACH):
            found.values[index[("material", material, "hoop_pa")]] += 2.0 * _slide(observed, cones, found, reach)
    return found


def _recorded(cone: ConeObserved) -> Floats:
    seatings = [s.modes.frequency_hz for s in cone.seatings]
    return np.log(max(seatings, key=len)) if seatings else np.empty(0)


def _slide(observed: CampaignObserved, cones: list[ConeObserved], unknowns: Unknowns, reach: float) -> float:
    """The shift of ln f, within reach, at which most modes meet."""
    shifts = np.arange(-reach, reach + STEP, STEP)
    score = np.zeros(len(shifts))
    for cone in cones:
        recorded = _recorded(cone)
        seating = max(cone.seatings, key=lambda s: len(s.modes))
        alone = ConeObserved(**{**cone.__dict__, "seatings": (seating,)})
        modes = computed_modes(observed, alone, unknowns, HIGHEST_HZ)[0]
        computed = np.log(modes.frequency_hz)
        for i, shift in enumerate(shifts):
            score[i] += _met(computed + shift, recorded)
    return float(shifts[int(np.argmax(score))])


def _met(computed: Floats, recorded: Floats) -> float:
    """Share of recorded modes that are met, times that of computed ones between the recorded ones that are."""
    near = np.exp(-0.5 * ((computed[:, None] - recorded) / WIDTH) ** 2)
    between = (computed > recorded[0] - 2.0 * WIDTH) & (computed < recorded[-1] + 2.0 * WIDTH)
    if not np.any(between):
        return 0.0
    return float(near.max(axis=0).mean() * near[between].max(axis=1).mean())
