"""Which cones do not deserve belief: modes that are not this cone's, prints that contradict their siblings.

A cone is judged by what it claims of itself, not by chi² alone: a fit swallows a wrong shape in the moduli.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from frusta.errors import ParameterError
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
WEIGHED = 0.1
"""Relative uncertainty of a mass that was weighed."""
MASS_APART = 0.2
"""|ln| of mass over volume from the other prints': 4.5 times the scatter of two walls of 3 %."""
JOINT_APART = 1.0
"""|ln| of a seating's compliance over its rig's: eight times what a careful push scatters."""
BEYOND_CHANCE = 1e-3
"""Probability that figures of the tables, all right within their uncertainties, are moved as far by the modes."""
RATIOS = ("shear_ratio", "axial_ratio", "poisson_plane", "poisson_axial")
FIGURE_WORDS = {
    "shear_ratio": "layer shear over hoop modulus",
    "axial_ratio": "axial over hoop modulus",
    "poisson_plane": "Poisson's ratio in the plane",
    "poisson_axial": "Poisson's ratio across layers",
    "bow_m": "bow",
    "depth_m": "depth",
    "rim_radius_m": "rim",
    "wall_taper": "taper of the wall",
    "air_density_scale": "density of air",
    "force_factor_tm": "force factor",
    "suspension_stiffness_n_m": "suspension's stiffness",
    "suspension_resistance_ns_m": "suspension's resistance",
    "coil_inductance_h": "coil's inductance",
    "joint_compliance_m_n": "compliance of the joint",
    "joint_loss_factor": "loss factor of the joint",
}


class NothingFits(ParameterError):
    """No cone of a campaign deserves belief.

    Parameters
    ----------
    wrong : mapping of str to str
        By cone, the reason, beginning with the cone's key.
    """

    def __init__(self, wrong: Mapping[str, str]) -> None:
        super().__init__("no cone fits its profile and material: " + together(wrong))
        self.wrong = dict(wrong)


def together(wrong: Mapping[str, str]) -> str:
    """Return reasons in one line, cones of one reason named together.

    Parameters
    ----------
    wrong : mapping of str to str
        By cone, the reason, beginning with the cone's key.

    Examples
    --------
    >>> together({"fir-1": "fir-1: too heavy", "fir-2": "fir-2: too heavy", "oak-1": "oak-1: no mode"})
    'fir-1, fir-2: too heavy; oak-1: no mode'
    """
    cones: dict[str, list[str]] = {}
    for key, words in wrong.items():
        cones.setdefault(words.removeprefix(f"{key}: "), []).append(key)
    return "; ".join(f"{', '.join(keys)}: {words}" for words, keys in cones.items())


def misfits(observed: CampaignObserved, fit: Fit) -> dict[str, str]:
    """Return the cones that do not fit, each with the reason.

    Parameters
    ----------
    observed : CampaignObserved
    fit : Fit

    Raises
    ------
    NothingFits
        If something that all cones share is wrong.
    """
    found = _odd_masses(observed)
    if found:
        return found
    profile, doubt = _wrong_drawing(observed, fit)
    for place, cone in enumerate(observed.cones):
        why = f"{cone.key}: {doubt}" if cone.profile == profile else None
        why = why or _own(fit, place, cone) or _against_siblings(observed, fit, cone)
        if why:
            found[cone.key] = why
    strained = None if found or not observed.cones else _strained(fit)
    if strained:
        raise NothingFits({cone.key: f"{cone.key}: {strained}" for cone in observed.cones})
    return found


def _odd_masses(observed: CampaignObserved) -> dict[str, str]:
    """Cones that weigh far more or less for their drawing than the others of their material: they bend all else."""
    found = {}
    for material in observed.materials:
        weighed = [c for c in observed.cones if c.material == material and c.mass_u_kg < WEIGHED * c.mass_kg]
        heavy = np.array([np.log(c.mass_kg / observed.profiles[c.profile].volume_m3) for c in weighed])
        off = heavy - np.median(heavy) if len(weighed) > 2 else np.zeros(len(weighed))
        if 2 * int(np.sum(np.abs(off) < MASS_APART)) <= len(weighed):
            continue  # there is no majority to be held against
        for cone, far in zip(weighed, off.tolist(), strict=True):
            if abs(far) > MASS_APART:
                with_coil = abs(cone.mass_kg * (1.0 - np.exp(-far)) / cone.coil.mass_kg - 1.0) < WEIGHED
                guess = " (was it weighed with its coil?)" if with_coil else ""
                found[cone.key] = (
                    f"{cone.key}: weighs {np.exp(far):.2f} times what the other prints of {material} would in its "
                    f"profile; check its profile, material and mass{guess}"
                )
    return found


def _strained(fit: Fit) -> str | None:
    """What the bench, the shapes and the ratios had to become for the modes to fit, if that is beyond belief."""
    prior, off, told_by_modes = fit.prior, {}, 0.0
    for name, place in prior.index.items():
        if name[0] in ("rig", "profile") or (name[0] == "material" and name[2] in RATIOS):
            off[name] = float((fit.unknowns.values[place] - prior.mean[place]) / prior.sd[place])
            # what the modes say nothing of stays at its prior, and moves by as little as they say
            told_by_modes += max(1.0 - float(fit.covariance[place, place]) / float(prior.sd[place]) ** 2, 0.0)
    for (kind, key, figure), sigmas in off.items():
        if figure == "air_density_scale" and abs(sigmas) > SIGMAS:
            change = 100.0 * fit.unknowns.at(kind, key, figure)
            than = f"{abs(change):.0f} % {'denser' if change > 0.0 else 'thinner'} than it is"
            return (
                f"the air at {key} would have to be {than} for its modes to fit; check mass_g (the cone without its "
                "coil) and coil_mass_g of all cones"
            )
    if sum(sigmas**2 for sigmas in off.values()) < float(chi2.isf(BEYOND_CHANCE, max(told_by_modes, 1.0))):
        return None
    worst = sorted(off, key=lambda name: -abs(off[name]))[:3]
    told = ", ".join(
        f"{FIGURE_WORDS.get(figure, figure)} of {key} ({off[kind, key, figure]:+.1f})" for kind, key, figure in worst
    )
    return (
        "its modes fit only with bench, shapes and plastics bent beyond belief (most, in standard deviations: "
        f"{told}); check coil, masses and rig, which hold for all cones"
    )


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
    for seating in cone.seatings:
        softer = fit.unknowns.at("seating", seating.key, "joint")
        if abs(softer) > JOINT_APART:
            number, way = seating.key.rsplit("/", 1)[-1], "softer" if softer > 0.0 else "stiffer"
            times = f"{np.exp(abs(softer)):.1f} times {way}"
            return (
                f"{cone.key}: seating {number} would need a joint {times} than the rig's; "
                "was it pushed home, or is it another cone's recording?"
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
