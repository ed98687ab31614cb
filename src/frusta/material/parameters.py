"""The unknowns of a campaign's fit, in one vector, each with its prior.

A parameter has a name of three words: (kind, key, figure). Kinds are material, print, profile, rig and seating,
keys those of the tables. Figures that are positive are logarithms; those of print, profile and rig are
deviations from what the tables say, zero when the tables are right.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frusta.errors import ParameterError
from frusta.material import handbook
from frusta.material.observations import CampaignObserved, ConeObserved, MaterialGiven

Floats = NDArray[np.float64]
Name = tuple[str, str, str]

HOOP_PA, HOOP_SD = 2.2e9, 1.0
"""Any plastic, wide enough that no prior holds a modulus (ln scale)."""
RATIO_SD = 0.40
"""Spread of both ratios to the hoop modulus (ln scale): wide, since an estimate must be earned."""
POISSON_SD = 0.04
LOSS_FACTOR, LOSS_SD = 0.025, 1.2
MODULUS_SLOPE, MODULUS_SLOPE_SD = -3.5e-3, 1.5e-3
"""Change of ln modulus per kelvin of glassy plastics near 20 °C (handbook range, from memory)."""
LOSS_SLOPE, LOSS_SLOPE_SD = 0.01, 0.01
WALL_SD = 0.03
"""Of a print's wall against its drawing; the weighed mass says more."""
BOW_SD_M, DEPTH_SD_M, RIM_SD_M, TAPER_SD = 0.15e-3, 0.15e-3, 0.05e-3, 0.03
JOINT_SD_M_N = 1.5e-7
"""Of an unknown joint: half of a normal distribution from rigid (0) up; 1e-7 is 10 N/µm."""
JOINT_GIVEN_SD = 0.2
SEATING_SD = 0.12
"""Of a seating's compliance about its rig's (ln scale)."""
SEATING_RESISTANCE_SD = 0.1
"""Of a seating's suspension resistance about its rig's (ln scale): centring and creep."""
JOINT_LOSS_SD = 0.02
AIR_SD = 0.02
TEMPERATURE_SD_K = 0.4
"""Of a cone against what a session's thermometer says."""
TEMPERATURE_C = 20.0
"""At which a material is reported."""


@dataclass(frozen=True)
class Parameters:
    """Names, means and standard deviations of all unknowns.

    Parameters
    ----------
    index : dict of Name to int
    mean, sd : ndarray (unknowns,)
        The prior.
    low : ndarray (unknowns,)
        Bounds from below, −inf where there is none.
    beads : frozenset of str
        Materials whose walls are thought to be built of beads (`frusta.cone.beads`) rather than of layers.
    """

    index: dict[Name, int]
    mean: Floats
    sd: Floats
    low: Floats
    beads: frozenset[str] = frozenset()

    def __len__(self) -> int:
        return len(self.mean)

    def names(self, kind: str, key: str) -> dict[str, int]:
        """Return figure → place of everything of one kind and key."""
        return {name[2]: place for name, place in self.index.items() if name[:2] == (kind, key)}


class _Collector:
    def __init__(self) -> None:
        self.rows: dict[Name, tuple[float, float, float]] = {}

    def add(self, kind: str, key: str, figure: str, mean: float, sd: float, low: float = -math.inf) -> None:
        if not (math.isfinite(mean) and math.isfinite(sd) and sd > 0.0):
            raise ParameterError(f"the prior of {figure} of {key} must be finite and wide (got {mean} ± {sd})")
        self.rows[(kind, key, figure)] = (mean, sd, low)


def parameters_of(observed: CampaignObserved, print_scatter: float, loss_scatter: float) -> Parameters:
    """Return the unknowns of a campaign.

    Parameters
    ----------
    observed : CampaignObserved
    print_scatter, loss_scatter : float
        Relative standard deviations of moduli and loss factor from print to print.
    """
    collected = _Collector()
    for given in observed.materials.values():
        _material(collected, given)
    for key, profile in observed.profiles.items():
        collected.add("profile", key, "bow_m", 0.0, BOW_SD_M)
        collected.add("profile", key, "depth_m", 0.0, DEPTH_SD_M)
        collected.add("profile", key, "rim_radius_m", 0.0, RIM_SD_M)
        collected.add("profile", key, "wall_taper", profile.wall_taper, TAPER_SD)
    for key, rig in observed.rigs.items():
        known = rig.joint_compliance_m_n
        mean, sd = (0.0, JOINT_SD_M_N) if known is None else (known, JOINT_GIVEN_SD * known)
        collected.add("rig", key, "joint_compliance_m_n", mean, sd, 0.0)
        collected.add("rig", key, "joint_loss_factor", 0.0, JOINT_LOSS_SD, 0.0)
        collected.add("rig", key, "air_density_scale", 0.0, AIR_SD)
        collected.add("rig", key, "force_factor_tm", 0.0, rig.force_factor_sd)
        collected.add("rig", key, "suspension_stiffness_n_m", 0.0, rig.suspension_sd)
        collected.add("rig", key, "suspension_resistance_ns_m", 0.0, rig.suspension_sd)
        collected.add("rig", key, "coil_inductance_h", 0.0, rig.inductance_sd)
    for cone in observed.cones:
        _print(collected, cone, print_scatter, loss_scatter)
    for coupon in observed.coupons:
        collected.add("print", coupon.key, "modulus", 0.0, print_scatter)
        collected.add("print", coupon.key, "loss_factor", 0.0, loss_scatter)
        collected.add("print", coupon.key, "thickness_m", 0.0, coupon.thickness_u_m / coupon.thickness_m)
    index = {name: place for place, name in enumerate(collected.rows)}
    mean, sd, low = np.array(list(collected.rows.values())).T.copy()
    return Parameters(index, mean, sd, low)


def _material(collected: _Collector, given: MaterialGiven) -> None:
    plastic, _ = handbook.plastic_named(given.polymer)
    density = given.density_kg_m3 or plastic.density_kg_m3
    density_sd = handbook.DENSITY_NAMED_SD if given.density_kg_m3 else plastic.density_sd
    poisson = plastic.poisson if given.poisson is None else given.poisson
    rows = (
        ("hoop_pa", math.log(HOOP_PA), HOOP_SD),
        ("shear_ratio", math.log(handbook.SHEAR_RATIO), RATIO_SD),
        ("axial_ratio", math.log(handbook.AXIAL_RATIO), RATIO_SD),
        ("poisson_plane", poisson, POISSON_SD),
        ("poisson_axial", poisson * math.sqrt(handbook.AXIAL_RATIO), POISSON_SD),
        ("density_kg_m3", math.log(density), density_sd),
        ("loss_factor", math.log(LOSS_FACTOR), LOSS_SD),
        ("modulus_slope", MODULUS_SLOPE, MODULUS_SLOPE_SD),
        ("loss_slope", LOSS_SLOPE, LOSS_SLOPE_SD),
    )
    for figure, mean, sd in rows:
        collected.add("material", given.key, figure, mean, sd)


def _print(collected: _Collector, cone: ConeObserved, print_scatter: float, loss_scatter: float) -> None:
    collected.add("print", cone.key, "modulus", 0.0, print_scatter)
    collected.add("print", cone.key, "loss_factor", 0.0, loss_scatter)
    collected.add("print", cone.key, "wall_m", 0.0, WALL_SD)
    collected.add("print", cone.key, "coil_mass_kg", 0.0, cone.coil_mass_u_kg / cone.coil.mass_kg)
    collected.add("print", cone.key, "coil_resistance_ohm", 0.0, cone.coil_resistance_u_ohm / cone.coil.resistance_ohm)
    for seating in cone.seatings:
        collected.add("seating", seating.key, "joint", 0.0, SEATING_SD)
        collected.add("seating", seating.key, "warmer_k", 0.0, TEMPERATURE_SD_K)
        collected.add("seating", seating.key, "suspension_resistance_ns_m", 0.0, SEATING_RESISTANCE_SD)
