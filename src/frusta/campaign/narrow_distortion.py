"""Narrow distortion below break-up: found in the total of orders 2 to 5, with what may cause it.

A harmonic that lands on a resonance is louder at the microphone, and no louder at the input: dividing by the linear
response takes it out. What is left at the input was made at the drive frequency itself: by the cone in one of its
own resonances there, by the joint, by rocking, by the rig. Bayes' rule weighs how much of a peak is left at the
input, and where it lies.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import find_peaks
from scipy.stats import norm

from frusta.campaign.blip_candidates import (
    LOWEST_HZ,
    WORDS,
    ConeContext,
    joint_evidence,
    normal_density,
    rig_evidence,
)
from frusta.campaign.curves import TakeCurves
from frusta.campaign.findings import BlipRow, ModeRow

Floats = NDArray[np.float64]

ORDERS = (2, 3, 4, 5)
PER_OCTAVE = 96
CLEAR_DB = 10.0
"""Over its own noise floor, as for every distortion that is quoted."""
LEAST_DB = 6.0
"""Prominence: twice what lies around."""
WIDEST = 0.5
"""Octaves at half the prominence: the curves are smoothed over a sixth."""
PLACE_SD = 0.03
"""Relative: a quarter of the smoothing's width, for what is made at the drive frequency."""
LANDING_SD = 0.01
"""Relative: one step of the curves and a bit; a resonance of the linear response is as sharp as it is, unsmoothed."""
SAME_HZ = 0.02
"""Relative: two smoothed peaks of one cause agree within this."""
LEFT_SD_DB = 1.0
"""What noise leaves open of a peak's height at the input, dB: at 10 dB over it some ten independent values of power
are averaged, each 3 dB uncertain."""
BEFORE = {
    "harmonic": 0.50,
    "unknown": 0.10,
    "bell 2": 0.09,
    "bell 3": 0.07,
    "bell 4": 0.04,
    "rocking": 0.05,
    "joint": 0.05,
    "rig": 0.05,
    "other": 0.05,
}
"""Before anything is looked at: the motor's harmonics land on every resonance there is."""


@dataclass(frozen=True)
class NarrowDistortion:
    """A narrow peak of distortion over drive frequency.

    Attributes
    ----------
    take : str
    frequency_hz : float
        Drive frequency.
    harmonic : int
        Strongest order there.
    height_db : float
        Prominence at the microphone, dB.
    left_db : float
        What of it stands at the input: that order over the median of its surroundings half an octave to both sides,
        where it can be read, dB.
    """

    take: str
    frequency_hz: float
    harmonic: int
    height_db: float
    left_db: float


def narrow_distortion(take: str, curves: TakeCurves, breakup_hz: float | None) -> list[NarrowDistortion]:
    """Return the narrow peaks of a take's total harmonic distortion below its break-up.

    Parameters
    ----------
    take : str
    curves : TakeCurves
        Of this take.
    breakup_hz : float or None
        Without one there is no end to look below, and nothing is returned.

    Returns
    -------
    list of NarrowDistortion
        By rising drive frequency; only where distortion stands 10 dB over its own noise.
    """
    table = curves.table
    hertz = table["frequency_hz"]
    if breakup_hz is None or hertz.size < 3:
        return []
    heard = np.array([_power(table[f"h{n}_db"]) for n in ORDERS])
    noise = np.array([_power(table[f"h{n}_noise_db"]) for n in ORDERS])
    fed = np.array([_power(table[f"h{n}_input_db"]) for n in ORDERS])
    total, floor = heard.sum(axis=0), noise.sum(axis=0)
    own_clear = heard > 10.0 ** (CLEAR_DB / 10.0) * np.maximum(noise, 1e-30)
    clear = total > 10.0 ** (CLEAR_DB / 10.0) * np.maximum(floor, 1e-30)
    level = 10.0 * np.log10(np.maximum(np.where(clear, total, 10.0 ** (CLEAR_DB / 10.0) * floor), 1e-30))
    places, told = find_peaks(level, prominence=LEAST_DB, width=(0.0, WIDEST * PER_OCTAVE), rel_height=0.5)
    found = []
    for place, prominence in zip(places, told["prominences"], strict=True):
        if clear[place] and LOWEST_HZ <= hertz[place] < breakup_hz:
            row = int(np.argmax(heard[:, place]))
            left = _left_db(np.where(own_clear[row], fed[row], 0.0), int(place))
            found.append(NarrowDistortion(take, float(hertz[place]), ORDERS[row], float(prominence), left))
    return found


def _power(level_db: Floats) -> Floats:
    return np.where(np.isfinite(level_db), 10.0 ** (np.where(np.isfinite(level_db), level_db, 0.0) / 10.0), 0.0)


def _left_db(at_input: Floats, place: int) -> float:
    """A peak over the median of what can be read within half an octave to both sides, dB."""
    around = at_input[max(0, place - PER_OCTAVE // 2) : place + PER_OCTAVE // 2 + 1]
    around = around[around > 0.0]
    peak = at_input[place]
    return float(10.0 * np.log10(peak / np.median(around))) if around.size and peak > 0.0 else 0.0


def weigh_distortion(
    found: Sequence[NarrowDistortion], contexts: Mapping[str, ConeContext], modes: Sequence[ModeRow]
) -> tuple[BlipRow, ...]:
    """Return a row with candidates and test for every narrow distortion of a campaign.

    Parameters
    ----------
    found : sequence of NarrowDistortion
        Of all takes.
    contexts : mapping of str to ConeContext
        By take; distortion of takes without is left out.
    modes : sequence of ModeRow
        As recorded, of all takes: what a harmonic may land on, besides the fitted cone's bell modes.
    """
    by_take: dict[str, list[float]] = {take: [] for take in contexts}
    for one in found:
        if one.take in by_take:
            by_take[one.take].append(one.frequency_hz)
    resonances: dict[str, list[float]] = {}
    for mode in modes:
        resonances.setdefault(mode.take, []).append(mode.frequency_hz)
    return tuple(_weigh(one, contexts, by_take, resonances.get(one.take, [])) for one in found if one.take in contexts)


def _weigh(
    one: NarrowDistortion,
    contexts: Mapping[str, ConeContext],
    by_take: Mapping[str, list[float]],
    resonances: Sequence[float],
) -> BlipRow:
    own = contexts[one.take]
    top_hz = max(own.breakup_hz or 4000.0, 1.05 * one.frequency_hz)
    broad = 1.0 / math.log(top_hz / LOWEST_HZ)
    lands = normal_density(one.left_db, LEFT_SD_DB)
    made_here = _between(one.left_db, one.height_db)
    targets = [*resonances, *(bell.frequency_hz for bell in own.bells if bell.order >= 2)]
    landing_hz = min(targets, key=lambda hz: abs(math.log(hz / (one.harmonic * one.frequency_hz))), default=None)
    rig_ratio, seen, asked = rig_evidence(one.take, one.frequency_hz, contexts, by_take, top_hz, SAME_HZ)
    joint_ratio = joint_evidence(one.take, one.frequency_hz, contexts, by_take, SAME_HZ)
    stays = 1.0 / max(joint_ratio, 1.0)
    weights = {
        "joint": BEFORE["joint"] * broad * joint_ratio * made_here,
        "rig": BEFORE["rig"] * broad * rig_ratio * stays * made_here,
        "other": BEFORE["other"] * broad * stays * made_here,
        "unknown": BEFORE["unknown"] * broad * lands,
    }
    if landing_hz is not None:
        distance = math.log(landing_hz / (one.harmonic * one.frequency_hz))
        weights["harmonic"] = BEFORE["harmonic"] * lands * normal_density(distance, LANDING_SD)
    for bell in own.bells:
        if bell.order >= 2:
            name = f"bell {bell.order}"
            sd = math.hypot(bell.frequency_hz_u / bell.frequency_hz, PLACE_SD)
            near = normal_density(math.log(one.frequency_hz / bell.frequency_hz), sd)
            weights[name] = weights.get(name, 0.0) + BEFORE[name] * near * stays * made_here
    held = min((bell.frequency_hz for bell in own.bells if bell.order == 1), default=top_hz)
    if one.frequency_hz < 1.02 * held:
        weights["rocking"] = BEFORE["rocking"] * made_here / math.log(max(held, 2.0 * LOWEST_HZ) / LOWEST_HZ)
    total = sum(weights.values())
    share = sorted(((w / total, cause) for cause, w in weights.items()), key=lambda item: (-item[0], item[1]))
    told = [(cause, p) for p, cause in share if p >= WORDS[-1][0]]
    words = {"seen": f"{len(seen)} of {asked} other cones show it" if asked else "", "landing": landing_hz}
    return BlipRow(
        take=one.take,
        frequency_hz=one.frequency_hz,
        height_db=one.height_db,
        harmonic=one.harmonic,
        candidates=tuple(f"{_words(cause, one, words)}: {_how_sure(p)}" for cause, p in told),
        test=_test([cause for cause, _ in told[:2]]),
    )


def _between(left_db: float, height_db: float) -> float:
    """Density of what is left if it may be any part of the height: what is made here may land on a resonance, too."""
    inside = norm.cdf(left_db / LEFT_SD_DB) - norm.cdf((left_db - height_db) / LEFT_SD_DB)
    return float(inside) / height_db


def _how_sure(probability: float) -> str:
    return next(word for least, word in WORDS if probability >= least)


def _words(cause: str, one: NarrowDistortion, told: Mapping[str, object]) -> str:
    if cause.startswith("bell "):
        return f"the cone itself, in its bell mode n = {cause.split()[1]}"
    if cause == "harmonic":
        return f"harmonic {one.harmonic} landing on the resonance at {told['landing']:.0f} Hz"
    return {
        "rocking": "rocking on the suspension",
        "joint": "joint at the neck",
        "rig": f"rig ({told['seen']})" if told["seen"] else "rig",
        "other": "the cone itself, buckling or rubbing there",
        "unknown": f"harmonic {one.harmonic} landing on a resonance that was not found",
    }[cause]


def _test(causes: Sequence[str]) -> str:
    """The one test that separates the two likeliest causes."""
    names = [cause.split()[0] for cause in causes]
    if names[0] in ("harmonic", "unknown"):
        return (
            "change the level: a harmonic on a resonance keeps its height over what lies around, a buckling cone does "
            "not"
        )
    if "joint" in names:
        return "push the cone on anew and turn it a quarter: a joint moves, cone and rig stay"
    if "rocking" in names:
        return "move the microphone off axis: rocking grows with the angle and vanishes on the axis, others do not"
    if "rig" in names:
        return "turn the cone a quarter: the rig's distortion stays as it is"
    return "tap the rim, drive off: a bell mode rings at the drive frequency, a rub does not"
