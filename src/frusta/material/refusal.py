"""Which cones do not deserve belief: modes that are not this cone's, prints that contradict their siblings.

A cone is judged by what it claims of itself, not by chi² alone: a fit swallows a wrong shape in the moduli.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from frusta.material.observations import CampaignObserved, ConeObserved
from frusta.material.parameters import BOW_SD_M, DEPTH_SD_M, WALL_SD
from frusta.material.solve import Fit

Floats = NDArray[np.float64]

LOUD_DB = -3.0
"""A mode as loud as this is none of an uneven wall's making: it must be one of the cone's own."""
LEAST_SHARE = 0.6
"""Of the loud modes that must be the cone's."""
LEAST_MODES = 3
"""Different modes that make a pattern: fewer fit many plastics."""
MODULUS_APART, LOSS_APART = 0.08, 0.35
"""Relative distance from the siblings beyond which a print is another material: five times ordinary scatter."""
MISFIT = 0.008
"""Median |ln f| of the modes of a cone that no shape within tolerance leaves."""
SIGMAS = 4.5
"""Standard deviations of the prior beyond which a wall or a shape is not the drawing's."""


def misfits(observed: CampaignObserved, fit: Fit) -> dict[str, str]:
    """Return the cones that do not fit, each with the reason.

    Parameters
    ----------
    observed : CampaignObserved
    fit : Fit
    """
    found: dict[str, str] = {}
    profile, doubt = _wrong_drawing(observed, fit)
    for place, cone in enumerate(observed.cones):
        why = f"{cone.key}: {doubt}" if cone.profile == profile else None
        why = why or _own(fit, place, cone) or _against_siblings(observed, fit, cone)
        if why:
            found[cone.key] = why
    return found


def _wrong_drawing(observed: CampaignObserved, fit: Fit) -> tuple[str | None, str]:
    """The profile that is farthest off its drawing, if beyond tolerance: one at a time, for it bends the others."""
    worst, profile, doubt = SIGMAS, None, ""
    for key in observed.profiles:
        for figure, word, sd in (("depth_m", "depth", DEPTH_SD_M), ("bow_m", "bow", BOW_SD_M)):
            off = fit.unknowns.at("profile", key, figure)
            if abs(off) > worst * sd:
                worst, profile = abs(off) / sd, key
                doubt = f"its modes ask for a {word} {1e3 * off:+.1f} mm off the drawing of {key}; "
                doubt += "measure the cone and correct profiles.csv"
    return profile, doubt


def _own(fit: Fit, place: int, cone: ConeObserved) -> str | None:
    """What is wrong with a cone by itself."""
    loud, met = 0, 0
    for seating, pairs in zip(cone.seatings, fit.assigned[cone.key], strict=True):
        strong = seating.modes.prominence_db > LOUD_DB
        loud += int(strong.sum())
        met += int(strong[pairs.recorded].sum())
    if loud and met < LEAST_SHARE * loud:
        return (
            f"{cone.key}: only {met} of {loud} loud modes are those of a cone like {cone.profile} of this material; "
            "check its profile, material and mass"
        )
    mine = fit.residuals.cone == place
    told = len(set(fit.residuals.mode[mine].tolist()))
    if told < LEAST_MODES:
        return (
            f"{cone.key}: only {told} of its modes can be told apart; a modulus needs at least {LEAST_MODES}, else it "
            "cannot be said which is which; sweep higher, or with less noise"
        )
    left = np.abs(fit.residuals.frequency[mine & (fit.residuals.mode < 5)])
    if len(left) > 2 and float(np.median(left)) > MISFIT:
        return (
            f"{cone.key}: its modes lie {100 * float(np.median(left)):.1f} % off those of {cone.profile}; "
            "check the profile's geometry and the cone's mass"
        )
    wall = fit.unknowns.at("print", cone.key, "wall_m")
    if abs(wall) > SIGMAS * WALL_SD:
        return (
            f"{cone.key}: its mass and modes ask for a wall {100 * wall:+.0f} % off the drawing's; "
            "check mass_g, coil and wall_mm"
        )
    return None


def _against_siblings(observed: CampaignObserved, fit: Fit, cone: ConeObserved) -> str | None:
    """What is wrong with a cone beside others of its name."""
    others = [c.key for c in observed.cones if c.material == cone.material and c.key != cone.key]
    if not others:
        return None
    for figure, apart, word in (("modulus", MODULUS_APART, "stiffer"), ("loss_factor", LOSS_APART, "more damped")):
        usual = float(np.median([fit.unknowns.at("print", key, figure) for key in others]))
        off = fit.unknowns.at("print", cone.key, figure) - usual
        if abs(off) > apart:
            return (
                f"{cone.key}: {100 * off:+.0f} % {word} than the other prints of {cone.material}; "
                "two materials under one name, or another profile?"
            )
    return None


def shape_doubts(fit: Fit, profile: str) -> tuple[str, ...]:
    """Return a sentence for each way in which a profile was not printed as drawn, where that is beyond tolerance."""
    places = fit.prior.names("profile", profile)
    doubts = []
    for figure, word in (("bow_m", "bow"), ("depth_m", "depth")):
        off = float(fit.unknowns.values[places[figure]])
        u = float(np.sqrt(fit.covariance[places[figure], places[figure]]))
        if abs(off) > 2.0 * DEPTH_SD_M and abs(off) > 2.0 * u:
            doubts.append(f"{profile}: the modes ask for a {word} {1e3 * off:+.2f} mm off the drawing's")
    return tuple(doubts)
