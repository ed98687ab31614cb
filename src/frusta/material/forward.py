"""What one cone of a campaign should have recorded: its poles in each seating, and how they move.

All derivatives are those of ln frequency and ln loss factor with respect to the fit's own unknowns, put together
from `frusta.cone.sensitivity`. The air's matrices stay those of the drawing: a shape that moves by a tenth of a
millimetre changes the air's part of a frequency (under 1 %) by about as many parts in a thousand.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from frusta.cone.beads import BeadBuilt
from frusta.cone.driver import Coil, Driver, Joint, Motor
from frusta.cone.elasticity import Elastic
from frusta.cone.medium import Medium
from frusta.cone.poles import Poles, find_poles
from frusta.cone.profile import ConeProfile
from frusta.cone.reduction import ReducedCone, reduce_cone
from frusta.cone.response_sensitivity import ResponseSensitivity
from frusta.cone.sensitivity import Sensitivity, pole_sensitivity
from frusta.cone.trace import air_of_profile
from frusta.cone.wall import wall_of_profile
from frusta.material.free_modes import FreeOf, free_counterparts
from frusta.material.observations import CampaignObserved, ConeObserved, SeatingObserved
from frusta.material.parameters import TEMPERATURE_C, Parameters

Floats = NDArray[np.float64]

MODES = 20
LOWEST_HZ = 250.0
"""Below, the suspension's resonance lies."""


@dataclass(frozen=True)
class Computed:
    """The modes of one seating.

    Parameters
    ----------
    frequency_hz, loss_factor, prominence_db : ndarray (modes,)
    frequency_slope, loss_slope : ndarray (modes, unknowns of the fit)
        Derivatives of ln frequency and ln loss factor.
    residue : ndarray (modes,) of complex
        See `frusta.cone.poles.Poles`.
    """

    frequency_hz: Floats
    loss_factor: Floats
    prominence_db: Floats
    residue: NDArray[np.complex128]
    frequency_slope: Floats
    loss_slope: Floats


@dataclass(frozen=True)
class ConeState:
    """One cone at a place in the unknowns.

    Parameters
    ----------
    profile : ConeProfile
        As printed.
    elastic : Elastic
        Of this print at 20 °C.
    coil : Coil
    """

    profile: ConeProfile
    elastic: Elastic
    coil: Coil


class Unknowns:
    """A vector of unknowns with names."""

    def __init__(self, parameters: Parameters, values: Floats) -> None:
        self.parameters, self.values = parameters, values

    def at(self, kind: str, key: str, figure: str) -> float:
        """Return one value."""
        return float(self.values[self.parameters.index[(kind, key, figure)]])


def elastic_of(unknowns: Unknowns, material: str, specimen: str | None = None) -> Elastic:
    """Return the filament's solid at 20 °C, or that of one print.

    Raises
    ------
    ParameterError
        If there is no such solid.
    """
    modulus = 0.0 if specimen is None else unknowns.at("print", specimen, "modulus")
    loss = 0.0 if specimen is None else unknowns.at("print", specimen, "loss_factor")
    hoop = unknowns.at("material", material, "hoop_pa") + modulus
    law = BeadBuilt if material in unknowns.parameters.beads else Elastic
    return law(
        hoop_pa=math.exp(hoop),
        axial_pa=math.exp(hoop + unknowns.at("material", material, "axial_ratio")),
        layer_shear_pa=math.exp(hoop + unknowns.at("material", material, "shear_ratio")),
        poisson_plane=unknowns.at("material", material, "poisson_plane"),
        poisson_axial=unknowns.at("material", material, "poisson_axial"),
        density_kg_m3=math.exp(unknowns.at("material", material, "density_kg_m3")),
        loss_factor=math.exp(unknowns.at("material", material, "loss_factor") + loss),
    )


def profile_of(unknowns: Unknowns, drawn: ConeProfile, key: str, specimen: str) -> ConeProfile:
    """Return a drawing as it was printed.

    Raises
    ------
    ParameterError
        If there is no such cone.
    """
    return replace(
        drawn,
        bow_m=drawn.bow_m + unknowns.at("profile", key, "bow_m"),
        depth_m=drawn.depth_m + unknowns.at("profile", key, "depth_m"),
        rim_radius_m=drawn.rim_radius_m + unknowns.at("profile", key, "rim_radius_m"),
        wall_taper=unknowns.at("profile", key, "wall_taper"),
        wall_m=drawn.wall_m * math.exp(unknowns.at("print", specimen, "wall_m")),
    )


def state_of(observed: CampaignObserved, cone: ConeObserved, unknowns: Unknowns) -> ConeState:
    """Return a cone at a place in the unknowns.

    Raises
    ------
    ParameterError
        If there is no such cone or solid.
    """
    coil = replace(
        cone.coil,
        mass_kg=cone.coil.mass_kg * math.exp(unknowns.at("print", cone.key, "coil_mass_kg")),
        resistance_ohm=cone.coil.resistance_ohm * math.exp(unknowns.at("print", cone.key, "coil_resistance_ohm")),
    )
    return ConeState(
        profile_of(unknowns, observed.profiles[cone.profile], cone.profile, cone.key),
        elastic_of(unknowns, cone.material, cone.key),
        coil,
    )


def bench_of(observed: CampaignObserved, seating: SeatingObserved, unknowns: Unknowns) -> tuple[Motor, Joint, Medium]:
    """Return motor, joint and air of a seating at a place in the unknowns."""
    rig = observed.rigs[seating.rig]

    def scaled(value: float, figure: str) -> float:
        return value * math.exp(unknowns.at("rig", seating.rig, figure))

    motor = replace(
        rig.motor,
        force_factor_tm=scaled(rig.motor.force_factor_tm, "force_factor_tm"),
        suspension_stiffness_n_m=scaled(rig.motor.suspension_stiffness_n_m, "suspension_stiffness_n_m"),
        suspension_resistance_ns_m=scaled(rig.motor.suspension_resistance_ns_m, "suspension_resistance_ns_m")
        * math.exp(unknowns.at("seating", seating.key, "suspension_resistance_ns_m")),
    )
    compliance = unknowns.at("rig", seating.rig, "joint_compliance_m_n")
    compliance *= math.exp(unknowns.at("seating", seating.key, "joint"))
    joint = Joint(compliance, unknowns.at("rig", seating.rig, "joint_loss_factor"))
    medium = replace(seating.medium, density_kg_m3=scaled(seating.medium.density_kg_m3, "air_density_scale"))
    return motor, joint, medium


def warmed(elastic: Elastic, unknowns: Unknowns, material: str, temperature_c: float) -> Elastic:
    """Return a solid at the temperature of a session."""
    warmer = temperature_c - TEMPERATURE_C
    stiffer = math.exp(unknowns.at("material", material, "modulus_slope") * warmer)
    return replace(
        elastic,
        hoop_pa=elastic.hoop_pa * stiffer,
        axial_pa=elastic.axial_pa * stiffer,
        layer_shear_pa=elastic.layer_shear_pa * stiffer,
        loss_factor=elastic.loss_factor * math.exp(unknowns.at("material", material, "loss_slope") * warmer),
    )


def computed_modes(
    observed: CampaignObserved, cone: ConeObserved, unknowns: Unknowns, high_hz: float, low_hz: float = LOWEST_HZ
) -> list[Computed]:
    """Return what every seating of a cone should have recorded.

    Parameters
    ----------
    observed : CampaignObserved
    cone : ConeObserved
    unknowns : Unknowns
    high_hz, low_hz : float
        Range of frequency.

    Raises
    ------
    ParameterError
        If there is no such cone, or its poles cannot be found.
    """
    profile = state_of(observed, cone, unknowns).profile
    drivers = drivers_of(observed, cone, unknowns)
    out = []
    for seating, driver, poles in zip(cone.seatings, drivers, _poles_of(drivers, low_hz, high_hz), strict=True):
        elastic = elastic_in(unknowns, cone, seating)
        slopes = pole_sensitivity(driver, poles, profile, elastic)
        columns = by_unknown(slopes, cone, seating, unknowns, driver, profile, elastic)
        frequency, loss = _slopes(poles, columns, len(unknowns.values))
        out.append(
            Computed(poles.frequency_hz, poles.loss_factor, prominence_db(poles), poles.residues, frequency, loss)
        )
    return out


def _poles_of(drivers: list[Driver], low_hz: float, high_hz: float) -> list[Poles]:
    """The poles of one cone's seatings; a seating on the same kind of bench starts from the first one's."""
    found: list[Poles] = []
    for driver in drivers:
        alike = found and driver.bench.mounting == drivers[0].bench.mounting
        found.append(find_poles(driver, low_hz, min(high_hz, driver.top_hz), found[0] if alike else None))
    return found


def elastic_in(unknowns: Unknowns, cone: ConeObserved, seating: SeatingObserved) -> Elastic:
    """Return the solid of a print at the temperature of a seating."""
    warmer = unknowns.at("seating", seating.key, "warmer_k")
    elastic = elastic_of(unknowns, cone.material, cone.key)
    return warmed(elastic, unknowns, cone.material, seating.temperature_c + warmer)


def drivers_of(observed: CampaignObserved, cone: ConeObserved, unknowns: Unknowns) -> list[Driver]:
    """Return a cone on its bench, seating by seating; what seatings share is computed once.

    Raises
    ------
    ParameterError
        If there is no such cone.
    """
    state = state_of(observed, cone, unknowns)
    reduced: dict[str, ReducedCone] = {}
    out = []
    for seating in cone.seatings:
        mounting = observed.rigs[seating.rig].bench.mounting
        air = air_of_profile(observed.profiles[cone.profile], 0, mounting)
        if mounting not in reduced:
            reduced[mounting] = reduce_cone(wall_of_profile(state.profile), state.elastic, air, MODES)
        elastic = elastic_in(unknowns, cone, seating)
        stiffer = elastic.hoop_pa / state.elastic.hoop_pa
        lossy = stiffer * (1.0 + 1j * elastic.loss_factor)
        stiffness = np.asarray(lossy * reduced[mounting].stiffness.real, dtype=np.complex128)
        warm = replace(reduced[mounting], stiffness=stiffness)
        motor, joint, medium = bench_of(observed, seating, unknowns)
        coil = replace(
            state.coil,
            inductance_h=state.coil.inductance_h * math.exp(unknowns.at("rig", seating.rig, "coil_inductance_h")),
        )
        bench = observed.rigs[seating.rig].bench
        out.append(Driver(warm, air, medium, motor, coil, joint, bench, float(air.mesh.height_m[-1])))
    return out


def prominence_db(poles: Poles) -> Floats:
    """Return each pole's own part of the response over all other poles' at its frequency, dB."""
    if len(poles.omega) == 0:
        return np.empty(0)
    parts = poles.contributions(poles.frequency_hz)
    own = np.diagonal(parts)
    rest = np.abs(parts.sum(axis=0) - own)
    smallest = 1e-3 * np.abs(own)
    return np.asarray(20.0 * np.log10(np.abs(own) / np.maximum(rest, smallest)))


def _slopes(poles: Poles, columns: dict[int, NDArray[np.complex128]], size: int) -> tuple[Floats, Floats]:
    """Derivatives of ln f and ln η from those of λ."""
    change = np.zeros((len(poles.omega), size), dtype=np.complex128)
    for place, column in columns.items():
        change[:, place] = column
    squared = poles.squared[:, None]
    frequency = 0.5 * change.real / squared.real
    return frequency, change.imag / squared.imag - 2.0 * frequency


def by_unknown(
    slopes: Sensitivity | ResponseSensitivity,
    cone: ConeObserved,
    seating: SeatingObserved,
    unknowns: Unknowns,
    driver: Driver,
    profile: ConeProfile,
    elastic: Elastic,
) -> dict[int, NDArray[np.complex128]]:
    """Return derivatives by the fit's unknowns (place → column) from those by what a driver is made of."""
    index = unknowns.parameters.index
    of = slopes.of
    hoop, axial = elastic.hoop_pa * of("hoop_pa"), elastic.axial_pa * of("axial_pa")
    shear = elastic.layer_shear_pa * of("layer_shear_pa")
    moduli, loss = hoop + axial + shear, elastic.loss_factor * of("loss_factor")
    warmer = seating.temperature_c - TEMPERATURE_C
    slope = unknowns.at("material", cone.material, "modulus_slope")
    joint_m_n, motor, coil = driver.joint.compliance_m_n, driver.motor, driver.coil
    by_joint = of("joint_compliance_m_n")
    seated = math.exp(unknowns.at("seating", seating.key, "joint"))
    resistance = motor.suspension_resistance_ns_m * of("suspension_resistance_ns_m")
    values = {
        ("material", cone.material, "hoop_pa"): moduli,
        ("material", cone.material, "shear_ratio"): shear,
        ("material", cone.material, "axial_ratio"): axial,
        ("material", cone.material, "poisson_plane"): of("poisson_plane"),
        ("material", cone.material, "poisson_axial"): of("poisson_axial"),
        ("material", cone.material, "density_kg_m3"): elastic.density_kg_m3 * of("density_kg_m3"),
        ("material", cone.material, "loss_factor"): loss,
        ("material", cone.material, "modulus_slope"): warmer * moduli,
        ("material", cone.material, "loss_slope"): warmer * loss,
        ("print", cone.key, "modulus"): moduli,
        ("print", cone.key, "loss_factor"): loss,
        ("print", cone.key, "wall_m"): profile.wall_m * of("wall_m"),
        ("print", cone.key, "coil_mass_kg"): coil.mass_kg * of("coil_mass_kg"),
        ("print", cone.key, "coil_resistance_ohm"): coil.resistance_ohm * of("coil_resistance_ohm"),
        ("profile", cone.profile, "bow_m"): of("bow_m"),
        ("profile", cone.profile, "depth_m"): of("depth_m"),
        ("profile", cone.profile, "rim_radius_m"): of("rim_radius_m"),
        ("profile", cone.profile, "wall_taper"): of("wall_taper"),
        ("rig", seating.rig, "joint_compliance_m_n"): seated * by_joint,
        ("rig", seating.rig, "joint_loss_factor"): of("joint_loss_factor"),
        ("rig", seating.rig, "air_density_scale"): of("air_density_scale"),
        ("rig", seating.rig, "force_factor_tm"): motor.force_factor_tm * of("force_factor_tm"),
        ("rig", seating.rig, "suspension_stiffness_n_m"): motor.suspension_stiffness_n_m
        * of("suspension_stiffness_n_m"),
        ("rig", seating.rig, "suspension_resistance_ns_m"): resistance,
        ("rig", seating.rig, "coil_inductance_h"): coil.inductance_h * of("coil_inductance_h"),
        ("seating", seating.key, "warmer_k"): slope * moduli,
        ("seating", seating.key, "joint"): joint_m_n * by_joint,
        ("seating", seating.key, "suspension_resistance_ns_m"): resistance,
    }
    return {index[name]: column for name, column in values.items()}


def free_of(observed: CampaignObserved, cone: ConeObserved, unknowns: Unknowns, high_hz: float) -> list[FreeOf]:
    """Return the bare cone's counterparts of what `computed_modes` returns for the same arguments."""
    drivers = drivers_of(observed, cone, unknowns)
    found = zip(drivers, _poles_of(drivers, LOWEST_HZ, high_hz), strict=True)
    return [free_counterparts(driver.cone, poles) for driver, poles in found]
