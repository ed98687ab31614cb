"""From a campaign's tables and recorded modes to its estimates: rows out, and what a forecast needs."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from frusta.campaign.contradictions import agreement, seatings_told, takes_told
from frusta.campaign.curves import TakeCurves
from frusta.campaign.drawing import cone_of
from frusta.campaign.estimate_notes import Notes
from frusta.campaign.findings import Estimate, ModeRow, Reading
from frusta.campaign.groups import estimated_groups, groups_of
from frusta.campaign.package import Package
from frusta.campaign.resolve import ResolvedTake
from frusta.campaign.responses import with_responses
from frusta.campaign.rigid_response import AIR_C
from frusta.campaign.second_plastic import second_plastics
from frusta.cone.driver import Bench, Coil, Motor
from frusta.cone.medium import air_at
from frusta.cone.profile import ConeProfile
from frusta.errors import ParameterError
from frusta.material.estimate import FIGURE_OF, MaterialEstimate
from frusta.material.infer import FreeMode, Inferred, infer
from frusta.material.knowledge import COORDINATES, LOGARITHMIC
from frusta.material.learned import Learned
from frusta.material.observations import (
    CampaignObserved,
    ConeObserved,
    CouponObserved,
    MaterialGiven,
    RecordedModes,
    RigObserved,
    SeatingObserved,
    modes_of_takes,
)
from frusta.material.refusal import NothingFits, shape_doubts, together

SCALES_G_U = 2e-5
"""Uncertainty of a mass whose own is not given, kg: a kitchen scale of 0.01 g, twice."""
COIL_GIVEN, COIL_ALIKE, COIL_UNKNOWN = 0.005, 0.015, 0.4
"""Relative uncertainty of a coil's mass weighed by itself, taken from the rig, and not known at all."""
RESISTANCE_GIVEN, RESISTANCE_ALIKE, RESISTANCE_UNKNOWN = 0.01, 0.02, 0.3
NEW_COIL_KG, NEW_RESISTANCE_OHM, NEW_INDUCTANCE_H, NEW_FORCE_TM, NEW_SUSPENSION = 3e-3, 6.0, 1.5e-4, 4.0, (3e3, 0.6)
"""Of a small driver nobody described; used with wide uncertainty."""
UNKNOWN_SD = 0.5
COUPON_THICKNESS_U_M = 2e-5
"""Of callipers on a flat coupon."""
MASS_FROM_VOLUME = 0.5
"""Relative uncertainty of a mass that nobody weighed: no information."""
NO_CONE = "no cone of it has a profile and recorded modes"

ROW_KEYS = {
    "hoop_modulus": ("hoop_modulus_gpa", 1e-9),
    "layer_shear_modulus": ("layer_shear_modulus_gpa", 1e-9),
    "axial_modulus": ("axial_modulus_gpa", 1e-9),
    "loss_factor": ("loss_factor", 1.0),
    "density": ("density_kg_m3", 1.0),
}


@dataclass(frozen=True)
class Estimated:
    """What estimating adds to a campaign's findings.

    Attributes
    ----------
    estimates : tuple of Estimate
        One row a group, nulls with reasons where nothing can be said.
    modes : tuple of ModeRow
        Those given, with their bare cone's figures.
    learned : Learned
        For forecasts.
    inferred : Inferred or None
        The fit itself, where there is one: what a further print would tell follows from it.
    """

    estimates: tuple[Estimate, ...]
    modes: tuple[ModeRow, ...]
    learned: Learned
    inferred: Inferred | None = None


def estimate_campaign(
    package: Package,
    resolved: Sequence[ResolvedTake],
    readings: Sequence[Reading],
    modes: Sequence[ModeRow],
    curves: Mapping[str, TakeCurves] | None = None,
) -> Estimated:
    """Return what a campaign's modes say of its materials.

    Parameters
    ----------
    package : Package
    resolved : sequence of ResolvedTake
    readings : sequence of Reading
        Takes of quality `repeat` are left out.
    modes : sequence of ModeRow
        As recorded.
    curves : mapping of str to TakeCurves, optional
        Of takes: their complex responses are held against the fit of the modes, and used where they agree.
    """
    members = estimated_groups(package)
    observed, notes = _observed(package, resolved, readings, modes)
    observed = with_responses(observed, resolved, readings, curves or {})
    inferred, refused = None, dict[str, str]()
    try:
        if observed.cones or observed.coupons:
            inferred = infer(observed)
            refused = inferred.refused
    except NothingFits as error:
        groups = {cone.key: cone.material for cone in observed.cones}
        refused = {group: together({k: w for k, w in error.wrong.items() if groups[k] == group}) for group in members}
    except ParameterError as error:
        refused = dict.fromkeys(members, str(error))
    inferred = inferred and _told_apart(observed, inferred, notes)
    found = inferred.estimates if inferred else {}
    rows = tuple(
        _row(
            member.material,
            member.recipe,
            found.get(group),
            "; ".join(filter(None, (refused.get(group), *notes.lacking(group)))) or NO_CONE,
            (*_left_out(group, observed, inferred), *notes.lacking(group), *notes.assumed(group, 1e3 * NEW_COIL_KG)),
        )
        for group, member in members.items()
    )
    learned = inferred.learned if inferred else Learned()
    return Estimated(rows, _freed(modes, inferred, resolved), learned, inferred if observed.cones and found else None)


def _told_apart(observed: CampaignObserved, inferred: Inferred, notes: Notes) -> Inferred:
    """The fit without those groups of which half or more is a second plastic: nothing says which the name means."""
    second = second_plastics(observed, inferred)
    for group, found in second.items():
        notes.say(group, found.told())
    gone = {group for group, found in second.items() if found.outnumbers}
    estimates = {key: known for key, known in inferred.estimates.items() if key not in gone}
    materials = {key: known for key, known in inferred.learned.materials.items() if key not in gone}
    return replace(inferred, estimates=estimates, learned=replace(inferred.learned, materials=materials))


def infer_again(
    package: Package, resolved: Sequence[ResolvedTake], readings: Sequence[Reading], modes: Sequence[ModeRow]
) -> Inferred | None:
    """Return the fit of a campaign from its findings' readings and modes; None where there is none.

    Parameters
    ----------
    package, resolved
        As of `estimate_campaign`.
    readings, modes
        Of the findings: the same fit of poles and masses as when they were found.
    """
    as_recorded = [mode.model_copy(update={"circumferential_order": 0}) for mode in modes]
    observed, notes = _observed(package, resolved, readings, as_recorded)
    try:
        inferred = _told_apart(observed, infer(observed), notes) if observed.cones else None
    except ParameterError:
        return None
    return inferred if inferred and inferred.estimates else None


def _observed(
    package: Package, resolved: Sequence[ResolvedTake], readings: Sequence[Reading], modes: Sequence[ModeRow]
) -> tuple[CampaignObserved, Notes]:
    """The cones that can be fitted, and in words what is not used or not known of the others."""
    group_of, members = groups_of(package)[0], estimated_groups(package)
    usable = {r.take for r in readings if r.quality != "repeat"}
    by_take: dict[str, list[ModeRow]] = {}
    for mode in modes:
        if mode.take in usable and mode.circumferential_order == 0:
            by_take.setdefault(mode.take, []).append(mode)
    seatings: dict[tuple[str, int], list[ResolvedTake]] = {}
    for take in resolved:
        if take.specimen.kind == "cone" and take.kind != "tap" and take.take.take in by_take:
            seatings.setdefault((take.specimen.specimen, take.take.seating), []).append(take)
    profiles: dict[str, ConeProfile] = {}
    notes = Notes()
    cones: dict[str, ConeObserved] = {}
    rigs: dict[str, RigObserved] = {}
    for (key, number), takes in sorted(seatings.items()):
        take, group = takes[0], group_of.get(key)
        if group is None:
            continue
        if take.profile is None:
            notes.no_profile.setdefault(group, []).append(key)
            continue
        try:
            profiles.setdefault(take.profile.profile, cone_of(take.profile))
        except ParameterError as error:
            notes.say(group, f"profiles.csv, {take.profile.profile}: {error}")
            continue
        recorded = {t.take.take: _recorded(by_take[t.take.take]) for t in takes}
        agreed = agreement(recorded)
        if agreed.odd:
            notes.say(group, takes_told(f"seating {number} of {key}", list(recorded), agreed))
        if not agreed.kept:
            continue
        rigs.setdefault(take.rig.rig, _rig(take))
        seating = _seating(key, number, take, [recorded[one] for one in agreed.kept])
        known = cones.get(key)
        if known is None:
            cones[key] = _cone(take, group, profiles[take.profile.profile], seating)
        else:
            cones[key] = replace(known, seatings=(*known.seatings, seating))
    cones = _agreeing(cones, notes)
    for cone in cones.values():
        if cone.coil_mass_u_kg >= COIL_UNKNOWN * cone.coil.mass_kg:
            notes.no_coil.setdefault(cone.material, []).append(cone.key)
        if cone.mass_u_kg >= MASS_FROM_VOLUME * cone.mass_kg:
            notes.no_mass.setdefault(cone.material, []).append(cone.key)
    coupons = tuple(_coupons(package, resolved, by_take))
    used = {cone.material for cone in cones.values()} | {coupon.material for coupon in coupons}
    materials = {}
    for group, member in members.items():
        if group in used:
            row = package.materials[member.material]
            materials[group] = MaterialGiven(
                group, member.material, member.recipe, row.polymer, row.density_kg_m3, row.poisson
            )
    ordered = tuple(cones[key] for key in package.specimens if key in cones)
    shapes = {key: profile for key, profile in profiles.items() if any(c.profile == key for c in ordered)}
    return CampaignObserved(
        materials, shapes, rigs, ordered, tuple(c for c in coupons if c.material in materials)
    ), notes


def _agreeing(cones: dict[str, ConeObserved], notes: Notes) -> dict[str, ConeObserved]:
    """The cones with those seatings that show one cone; a cone of which no majority does is told and left out."""
    kept = {}
    for key, cone in cones.items():
        numbered = {seating.key.rsplit("/", 1)[1]: seating for seating in cone.seatings}
        agreed = agreement({number: seating.modes for number, seating in numbered.items()})
        if agreed.odd:
            notes.say(cone.material, seatings_told(key, list(numbered), agreed))
        if agreed.kept:
            kept[key] = replace(cone, seatings=tuple(numbered[number] for number in agreed.kept))
    return kept


def _coupons(
    package: Package, resolved: Sequence[ResolvedTake], by_take: dict[str, list[ModeRow]]
) -> list[CouponObserved]:
    """Tapped coupons with their sizes; one whose sizes are not all there is left out."""
    members = estimated_groups(package)
    taps: dict[str, list[ResolvedTake]] = {}
    for take in resolved:
        if take.specimen.kind == "coupon" and take.coupon is not None and take.take.take in by_take:
            taps.setdefault(take.specimen.specimen, []).append(take)
    found = []
    for key, takes in sorted(taps.items()):
        specimen, size = takes[0].specimen, takes[0].coupon
        groups = [g for g, m in members.items() if (m.material, m.recipe) == (specimen.material, specimen.recipe)]
        groups = groups or [g for g, m in members.items() if m.material == specimen.material]
        if size is None or not groups:
            continue
        across_mm = size.diameter_mm if size.coupon == "disc" else size.length_mm
        if across_mm is None or (size.coupon == "disc" and size.orientation == "upright"):
            continue
        volume_m3 = None
        if size.coupon == "disc":
            volume_m3 = math.pi / 4.0 * across_mm**2 * size.thickness_mm * 1e-9
        elif size.width_mm is not None:
            volume_m3 = across_mm * size.width_mm * size.thickness_mm * 1e-9
        density = None if volume_m3 is None or specimen.mass_g is None else 1e-3 * specimen.mass_g / volume_m3
        found.append(
            CouponObserved(
                key,
                groups[0],
                size.coupon,
                size.orientation == "flat",
                1e-3 * across_mm,
                1e-3 * size.thickness_mm,
                COUPON_THICKNESS_U_M,
                modes_of_takes([_recorded(by_take[t.take.take]) for t in takes]),
                density,
            )
        )
    return found


def _rig(take: ResolvedTake) -> RigObserved:
    rig = take.rig
    stiffness, resistance = rig.suspension_stiffness_n_mm, rig.suspension_resistance_ns_m
    motor = Motor(
        rig.force_factor_tm or NEW_FORCE_TM,
        NEW_SUSPENSION[0] if stiffness is None else 1e3 * stiffness,
        NEW_SUSPENSION[1] if resistance is None else resistance,
        1e-3 * (rig.moving_mass_g or 0.0),
    )
    return RigObserved(
        Bench(rig.mounting, 1e-3 * rig.microphone_distance_mm),
        motor,
        None if rig.neck_stiffness_n_um is None else 1e-6 / rig.neck_stiffness_n_um,
        force_factor_sd=0.02 if rig.force_factor_tm else UNKNOWN_SD,
        suspension_sd=UNKNOWN_SD if stiffness is None or resistance is None else 0.2,
        inductance_sd=UNKNOWN_SD if take.coil_inductance_h is None else 0.1,
    )


def _seating(key: str, number: int, take: ResolvedTake, recorded: list[RecordedModes]) -> SeatingObserved:
    temperature_c = AIR_C if take.temperature_c is None else take.temperature_c
    return SeatingObserved(
        f"{key}/{number}",
        take.rig.rig,
        air_at(temperature_c, take.humidity_pct),
        temperature_c,
        modes_of_takes(recorded),
    )


def _recorded(rows: Sequence[ModeRow]) -> RecordedModes:
    rows = sorted(rows, key=lambda row: row.frequency_hz)
    figures = ("frequency_hz", "frequency_hz_u", "loss_factor", "loss_factor_u", "prominence_db")
    return RecordedModes(*(np.array([getattr(row, name) for row in rows], dtype=np.float64) for name in figures))


def _cone(take: ResolvedTake, group: str, profile: ConeProfile, seating: SeatingObserved) -> ConeObserved:
    specimen = take.specimen
    coil_kg = take.coil_mass_kg or NEW_COIL_KG
    coil_u = COIL_UNKNOWN if take.coil_mass_kg is None else COIL_GIVEN if specimen.coil_mass_g else COIL_ALIKE
    ohm = take.coil_resistance_ohm or NEW_RESISTANCE_OHM
    ohm_u = RESISTANCE_UNKNOWN
    if take.coil_resistance_ohm is not None:
        ohm_u = RESISTANCE_GIVEN if specimen.coil_resistance_ohm else RESISTANCE_ALIKE
    inductance = NEW_INDUCTANCE_H if take.coil_inductance_h is None else take.coil_inductance_h
    mass, mass_u = take.cone_mass_kg, take.cone_mass_u_kg or SCALES_G_U
    if mass is None:
        density = (take.material.density_kg_m3 if take.material else None) or 1200.0
        mass = profile.volume_m3 * density
        mass_u = MASS_FROM_VOLUME * mass
    elif specimen.mass_g is None:
        mass_u = math.hypot(mass_u, coil_u * coil_kg)
    return ConeObserved(
        specimen.specimen,
        group,
        str(specimen.profile),
        mass,
        max(mass_u, 1e-4 * mass),
        Coil(coil_kg, ohm, inductance),
        coil_u * coil_kg,
        ohm_u * ohm,
        (seating,),
        None if specimen.wall_neck_mm is None else 1e-3 * specimen.wall_neck_mm,
        None if specimen.wall_rim_mm is None else 1e-3 * specimen.wall_rim_mm,
    )


def _left_out(group: str, observed: CampaignObserved, inferred: Inferred | None) -> tuple[str, ...]:
    """Why cones of a group were not believed, and where shapes are off their drawings."""
    if inferred is None:
        return ()
    own = [cone for cone in observed.cones if cone.material == group]
    wrong = {cone.key: inferred.left_out[cone.key] for cone in own if cone.key in inferred.left_out}
    reasons = [f"left out: {together(wrong)}"] if wrong else []
    for profile in dict.fromkeys(cone.profile for cone in own):
        if profile in inferred.observed.profiles:
            reasons += shape_doubts(inferred.fit, profile)
    return tuple(reasons)


def _row(
    material: str, recipe: str | None, estimate: MaterialEstimate | None, why: str, besides: tuple[str, ...]
) -> Estimate:
    keys = [key for key, _ in ROW_KEYS.values()]
    nothing = [*keys, *(f"{key}_u" for key in keys), "correlation", "chi_square", "print_scatter_percent"]
    if estimate is None:
        return Estimate(material=material, recipe=recipe, reasons=dict.fromkeys(nothing, why))
    known = estimate.knowledge
    figures: dict[str, float] = {}
    for figure, (key, scale) in ROW_KEYS.items():
        place = COORDINATES.index(FIGURE_OF[figure])
        value = float(np.exp(known.mean[place])) * scale if LOGARITHMIC[place] else float(known.mean[place])
        figures[key] = value
        figures[f"{key}_u"] = value * known.standard_deviation(FIGURE_OF[figure])
    notes = {"estimate": estimate.notes, "cones": besides}  # the second: what was not used, or not known of the cones
    reasons = {key: "; ".join(words) for key, words in notes.items() if words}
    return Estimate(
        material=material,
        recipe=recipe,
        **figures,
        identified=known.identified,
        assumed=known.assumed,
        correlation=estimate.correlation(),
        chi_square=estimate.chi_square,
        print_scatter_percent=100.0 * known.print_scatter.modulus,
        reasons=reasons,
    )


def _freed(
    modes: Sequence[ModeRow], inferred: Inferred | None, resolved: Sequence[ResolvedTake]
) -> tuple[ModeRow, ...]:
    """The mode rows with the bare cone's figures where the fit knows them."""
    if inferred is None:
        return tuple(modes)
    seating_of = {t.take.take: f"{t.specimen.specimen}/{t.take.seating}" for t in resolved}
    ratios: dict[str, list[FreeMode]] = {}
    for free in inferred.free:
        ratios.setdefault(free.seating, []).append(free)
    recorded = {s.key: s.modes for cone in inferred.observed.cones for s in cone.seatings}
    out = []
    for row in modes:
        seating = seating_of.get(row.take, "")
        out.append(_freed_row(row, ratios.get(seating, []), recorded.get(seating)))
    return tuple(out)


def _freed_row(row: ModeRow, ratios: Sequence[FreeMode], recorded: RecordedModes | None) -> ModeRow:
    if recorded is None or row.circumferential_order != 0:
        return row
    for free in ratios:
        if abs(recorded.frequency_hz[free.recorded] / row.frequency_hz - 1.0) > 5e-3:
            continue
        frequency, loss = free.frequency_ratio * row.frequency_hz, free.loss_ratio * row.loss_factor
        figures = {
            "free_frequency_hz": frequency,
            "free_frequency_hz_u": math.hypot(
                free.frequency_ratio * row.frequency_hz_u, free.frequency_ratio_u * row.frequency_hz
            ),
            "free_loss_factor": loss,
            "free_loss_factor_u": math.hypot(free.loss_ratio * row.loss_factor_u, free.loss_ratio_u * row.loss_factor),
        }
        return row.model_copy(update={**figures, "reasons": {k: v for k, v in row.reasons.items() if k not in figures}})
    stray = "no mode of the fitted cone lies here: a bell mode, the coil on its joint, or none of the cone's"
    return row.model_copy(
        update={"reasons": {**row.reasons, **{k: stray for k in row.reasons if k.startswith("free_")}}}
    )
