"""A forecast from a package: which rig, coil, sweep and material hold for a cone that has not been printed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from frusta.campaign.drawing import cone_of
from frusta.campaign.findings import group_key
from frusta.campaign.package import Package
from frusta.campaign.resolve import ResolvedTake, law_of, resolve_take
from frusta.campaign.rows import Profile, Rig, Specimen
from frusta.cone.driver import Bench, Coil, Motor
from frusta.cone.medium import air_at
from frusta.cone.profile import ConeProfile
from frusta.design.forecast import FULL, Forecast, Look, forecast
from frusta.design.printability import USUAL_CLEAN_DEG, USUAL_FAILED_DEG, OverhangLimit
from frusta.design.rig import ForecastRig
from frusta.errors import PackageError, ParameterError
from frusta.material.knowledge import MaterialKnowledge, handbook_knowledge
from frusta.material.learned import JointKnowledge, Learned, ShapeKnowledge
from frusta.signal.sweep import Sweep

AIR_C = 20.0
WEAK_MOTOR_TM = 1e-3
"""Force factor where no table names one: the coil is then driven without being braked."""


@dataclass(frozen=True)
class ForecastInputs:
    """All that a forecast takes beside the drawing; small, so that it can be handed to another process."""

    known: MaterialKnowledge
    rig: ForecastRig
    joint: JointKnowledge
    shape: ShapeKnowledge | None
    overhang: OverhangLimit | None

    def of(self, profile: ConeProfile, look: Look = FULL) -> Forecast:
        """Return what a cone would do."""
        return forecast(profile, self.known, self.rig, self.joint, self.shape, self.overhang, look=look)


def drawn_profile(row: Profile) -> ConeProfile:
    """Return the geometry of a row of profiles.csv.

    Raises
    ------
    PackageError
        If such a cone cannot exist: which profile, what must hold, what came.
    """
    try:
        return cone_of(row)
    except ParameterError as error:
        raise PackageError(f"profiles.csv, {row.profile}: {error}") from error


def forecast_cone(
    package: Package,
    material: str,
    profile: ConeProfile,
    *,
    recipe: str | None = None,
    rig: str | None = None,
    profile_key: str | None = None,
    learned: Learned | None = None,
    look: Look = FULL,
) -> Forecast:
    """Return what a cone would do on a campaign's rig.

    Parameters
    ----------
    package : Package
    material : str
        Key of materials.csv.
    profile : ConeProfile
        From `drawn_profile`, or any other.
    recipe : str, optional
        Key of recipes.csv; by default the one its cones were printed by.
    rig : str, optional
        Key of rigs.csv; by default the one most takes were made on.
    profile_key : str, optional
        Name of the profile where the package has it: what its prints taught about the shape is then used.
    learned : Learned, optional
        What the recordings taught; without it the handbook is all there is.
    look : Look
        How closely to look.

    Raises
    ------
    PackageError
        If the package has no such material, recipe or rig, or no table names the coil.
    """
    inputs = forecast_inputs(package, material, recipe=recipe, rig=rig, profile_key=profile_key, learned=learned)
    return inputs.of(profile, look)


def forecast_inputs(
    package: Package,
    material: str,
    *,
    recipe: str | None = None,
    rig: str | None = None,
    profile_key: str | None = None,
    learned: Learned | None = None,
) -> ForecastInputs:
    """Return all that a forecast takes beside the drawing; parameters and errors as of `forecast_cone`."""
    learned = learned or Learned()
    chosen = rig_of(package, rig)
    known = knowledge_of(package, material, recipe, learned)
    return ForecastInputs(
        known,
        forecast_rig(package, chosen),
        _joint(chosen, learned),
        learned.shapes.get(profile_key) if profile_key else None,
        overhang_limit(package, material, known.recipe),
    )


def knowledge_of(package: Package, material: str, recipe: str | None, learned: Learned) -> MaterialKnowledge:
    """Return what is known of a material by a recipe: from recordings, else the handbook's.

    Raises
    ------
    PackageError
        If the package has no such material or recipe, or the material was printed by several and none is chosen.
    """
    if material not in package.materials:
        raise PackageError(_unknown("materials.csv", "material", material, list(package.materials)))
    if recipe is not None and recipe not in package.recipes:
        raise PackageError(_unknown("recipes.csv", "recipe", recipe, list(package.recipes)))
    groups = {key: known for key, known in learned.materials.items() if known.material == material}
    if recipe is None and len(groups) > 1:
        names = ", ".join(str(known.recipe) for known in groups.values())
        raise PackageError(f"{material} was printed by several recipes ({names}); choose one with --recipe")
    for key, known in groups.items():
        if recipe in (None, known.recipe) or key == group_key(material, recipe):
            return known
    row = package.materials[material]
    return handbook_knowledge(material, recipe, row.polymer or row.name, row.density_kg_m3, row.poisson)


def rig_of(package: Package, key: str | None = None) -> Rig:
    """Return the rig that a forecast is for: the one named, else the one most takes were made on.

    Raises
    ------
    PackageError
        If there is none, or none of that name.
    """
    if key is not None:
        if key not in package.rigs:
            raise PackageError(_unknown("rigs.csv", "rig", key, list(package.rigs)))
        return package.rigs[key]
    if not package.rigs:
        raise PackageError("rigs.csv must have a rig to forecast for (it has none); add motor, mounting and microphone")
    used = Counter(
        package.sessions[take.session].rig if take.session else str(take.rig) for take in package.takes.values()
    )
    return max(package.rigs.values(), key=lambda rig: used[rig.rig])


def forecast_rig(package: Package, rig: Rig) -> ForecastRig:
    """Return the rig as a forecast needs it: the campaign's mean coil, its most used sweep, its mean weather.

    Raises
    ------
    PackageError
        If no table names the coil's mass.
    """
    takes = [t for t in (resolve_take(package, take) for take in package.takes.values()) if t.rig.rig == rig.rig]
    assumed: list[str] = []
    coil, mass_sd, resistance_sd = _coil(package, rig, assumed)
    driven = rig.force_factor_tm is not None
    if not driven:
        assumed.append("no force_factor_tm in rigs.csv: the motor does not brake the coil, levels are relative")
    for name in ("suspension_stiffness_n_mm", "suspension_resistance_ns_m"):
        if getattr(rig, name) is None:
            assumed.append(f"no {name} in rigs.csv: taken as 0")
    motor = Motor(
        WEAK_MOTOR_TM if rig.force_factor_tm is None else rig.force_factor_tm,
        1e3 * (rig.suspension_stiffness_n_mm or 0.0),
        rig.suspension_resistance_ns_m or 0.0,
        1e-3 * (rig.moving_mass_g or 0.0),
    )
    sweep = _sweep(package, takes)
    volts = _volts(package, rig)
    if volts is None:
        assumed.append("no drive_full_scale_v in rigs.csv or sessions.csv: levels are relative")
    temperatures = [t.temperature_c for t in takes if t.temperature_c is not None]
    humidities = [t.humidity_pct for t in takes if t.humidity_pct is not None]
    try:
        return ForecastRig(
            motor=motor,
            coil=coil,
            bench=Bench(rig.mounting, 1e-3 * rig.microphone_distance_mm),
            medium=air_at(
                float(np.mean(temperatures)) if temperatures else AIR_C,
                float(np.mean(humidities)) if humidities else None,
            ),
            start_hz=sweep.start_hz,
            stop_hz=sweep.stop_hz,
            drive_peak_v=volts * sweep.amplitude if driven and volts is not None else None,
            coil_mass_sd=mass_sd,
            coil_resistance_sd=resistance_sd,
            assumed=tuple(assumed),
        )
    except ParameterError as error:
        raise PackageError(f"rigs.csv, {rig.rig}: {error}") from error


def overhang_limit(package: Package, material: str, recipe: str | None) -> OverhangLimit | None:
    """Return what the overhang coupons of a material (and recipe, where there is one for it) showed, or None."""
    rows = [row for row in package.overhangs if row.material == material]
    own = [row for row in rows if row.recipe == recipe] or [row for row in rows if row.recipe is None] or rows
    clean = [row.clean_to_deg for row in own if row.clean_to_deg is not None]
    failed = [row.failed_at_deg for row in own if row.failed_at_deg is not None]
    if not clean and not failed:
        return None
    fails = min(failed) if failed else max(USUAL_FAILED_DEG, *clean)
    prints = min(min(clean), fails) if clean else min(USUAL_CLEAN_DEG, fails)
    return OverhangLimit(prints, fails, assumed=False)


def _joint(rig: Rig, learned: Learned) -> JointKnowledge:
    """Of the recordings; else of the table, to 20 %; else a push fit, assumed."""
    if not learned.joint.assumed or rig.neck_stiffness_n_um is None:
        return learned.joint
    compliance = 1e-6 / rig.neck_stiffness_n_um
    return JointKnowledge(compliance, 0.2 * compliance, 0.0, assumed=False)


def _coil(package: Package, rig: Rig, assumed: list[str]) -> tuple[Coil, float, float]:
    """The mean coil of the campaign's cones, else the rig's, and the relative scatter of mass and resistance."""
    cones = [s for s in package.specimens.values() if s.kind == "cone"]
    masses = _own(cones, "coil_mass_g", rig.coil_mass_g)
    resistances = _own(cones, "coil_resistance_ohm", rig.coil_resistance_ohm)
    inductances = _own(cones, "coil_inductance_mh", rig.coil_inductance_mh)
    if not masses:
        raise PackageError(
            "the coil's mass must be known to forecast (neither specimens.csv nor rigs.csv has coil_mass_g); weigh a "
            "coil and write it into rigs.csv"
        )
    if not resistances:
        assumed.append("no coil_resistance_ohm in any table: taken as 6 ohm")
    if not inductances:
        assumed.append("no coil_inductance_mh in any table: taken as 0")
    resistance = float(np.mean(resistances)) if resistances else 6.0
    coil = Coil(1e-3 * float(np.mean(masses)), resistance, 1e-3 * float(np.mean(inductances)) if inductances else 0.0)
    return coil, _scatter(masses, 0.005), _scatter(resistances, 0.01)


def _own(cones: Sequence[Specimen], name: str, of_rig: float | None) -> list[float]:
    own = [float(getattr(cone, name)) for cone in cones if getattr(cone, name) is not None]
    return own or ([] if of_rig is None else [of_rig])


def _scatter(values: Sequence[float], least: float) -> float:
    """Relative standard deviation, no less than what a scale or a meter reads to."""
    if len(values) < 3:
        return least
    return max(float(np.std(values, ddof=1) / np.mean(values)), least)


def _sweep(package: Package, takes: Sequence[ResolvedTake]) -> Sweep:
    """The sweep of most takes, where its numbers are known; else one from 20 Hz to 20 kHz."""
    rows = Counter(t.sweep.sweep for t in takes if t.sweep is not None and t.sweep.signal is None)
    keys = [key for key, _ in rows.most_common()] or [k for k, row in package.sweeps.items() if row.signal is None]
    for key in keys:
        law = law_of(package.sweeps[key], 48000)
        if law is not None:
            return law
    return Sweep(20.0, 20e3, 6.0)


def _volts(package: Package, rig: Rig) -> float | None:
    """Peak voltage at digital full scale: of most sessions on this rig, else the rig's."""
    named = Counter(
        s.drive_full_scale_v for s in package.sessions.values() if s.rig == rig.rig and s.drive_full_scale_v is not None
    )
    return named.most_common(1)[0][0] if named else rig.drive_full_scale_v


def _unknown(table: str, column: str, value: str, known: Sequence[str]) -> str:
    listed = ", ".join(known) or "none"
    return f"{table}: {column} must be one of {listed} (got {value}); add a row or choose another"


def profile_row(package: Package, key: str) -> Profile:
    """Return a row of profiles.csv.

    Raises
    ------
    PackageError
        If there is none of that name.
    """
    if key not in package.profiles:
        raise PackageError(_unknown("profiles.csv", "profile", key, list(package.profiles)))
    return package.profiles[key]
