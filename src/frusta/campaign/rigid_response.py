"""The rigid cone's own response beside a take: same shape, mass, motor, mounting, distance and air."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from frusta.campaign.drawing import cone_of
from frusta.campaign.resolve import ResolvedTake
from frusta.cone.driver import Bench, Coil, Motor, build_rigid_driver, response
from frusta.cone.medium import air_at
from frusta.cone.profile import ConeProfile
from frusta.errors import ParameterError
from frusta.signal.level import RigidResponse
from frusta.signal.smoothing import log_grid

LOW_HZ = 20.0
AIR_C = 20.0
"""Temperature of the air where a session names none."""


@dataclass(frozen=True)
class Rigid:
    """A rigid cone's response, or why there is none, and what was assumed.

    Attributes
    ----------
    response : RigidResponse or None
        Pressure per volt on the axis, 96 points an octave.
    reason : str or None
        Why there is none, or what of the rig was taken as zero because the tables do not name it.
    """

    response: RigidResponse | None
    reason: str | None


def rigid_response(resolved: ResolvedTake) -> Rigid:
    """Return what a cone that does not bend would give in this take's place.

    Parameters
    ----------
    resolved : ResolvedTake
        The take with what holds for it. Needed: profile, mass, coil mass and resistance, force factor. A suspension
        or inductance that no table names is taken as zero, and said so.

    Returns
    -------
    Rigid
        Kept for the next take of the same specimen, rig and air.
    """
    profile, rig = resolved.profile, resolved.rig
    needed = {
        "profile": profile,
        "mass_g": resolved.cone_mass_kg,
        "coil_mass_g": resolved.coil_mass_kg,
        "coil_resistance_ohm": resolved.coil_resistance_ohm,
        "force_factor_tm": rig.force_factor_tm,
    }
    missing = [name for name, value in needed.items() if value is None]
    if (
        profile is None
        or resolved.cone_mass_kg is None
        or resolved.coil_mass_kg is None
        or resolved.coil_resistance_ohm is None
        or rig.force_factor_tm is None
    ):
        return Rigid(None, f"the rigid cone cannot be computed: the tables name no {', '.join(missing)}")
    try:
        shape = cone_of(profile)
        motor = Motor(
            rig.force_factor_tm,
            1e3 * (rig.suspension_stiffness_n_mm or 0.0),
            rig.suspension_resistance_ns_m or 0.0,
            1e-3 * (rig.moving_mass_g or 0.0),
        )
        coil = Coil(resolved.coil_mass_kg, resolved.coil_resistance_ohm, resolved.coil_inductance_h or 0.0)
        bench = Bench(rig.mounting, 1e-3 * rig.microphone_distance_mm)
        temperature_c = AIR_C if resolved.temperature_c is None else resolved.temperature_c
        found = _computed(shape, resolved.cone_mass_kg, motor, coil, bench, (temperature_c, resolved.humidity_pct))
    except ParameterError as error:
        return Rigid(None, f"the rigid cone cannot be computed: {error}")
    assumed = [
        name
        for name, value in (
            ("suspension_stiffness_n_mm", rig.suspension_stiffness_n_mm),
            ("suspension_resistance_ns_m", rig.suspension_resistance_ns_m),
            ("coil_inductance_mh", resolved.coil_inductance_h),
        )
        if value is None
    ]
    return Rigid(found, f"{', '.join(assumed)} taken as 0: the tables do not name it" if assumed else None)


@lru_cache(maxsize=64)
def _computed(
    shape: ConeProfile,
    cone_mass_kg: float,
    motor: Motor,
    coil: Coil,
    bench: Bench,
    air: tuple[float, float | None],
) -> RigidResponse:
    driver = build_rigid_driver(shape, cone_mass_kg, motor, coil, bench, air_at(*air))
    frequency_hz = log_grid(LOW_HZ, min(driver.top_hz, 20e3))
    frequency_hz = frequency_hz[(frequency_hz > 0) & (frequency_hz <= driver.top_hz)]
    return RigidResponse(frequency_hz, response(driver, frequency_hz))
