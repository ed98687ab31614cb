"""Heat at the neck of a forecast cone: what the tables say of material and coil, as numbers and in words."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from frusta.campaign.package import Package
from frusta.campaign.rows import Rig
from frusta.cone.heat import measured_k_w
from frusta.cone.profile import ConeProfile
from frusta.design.neck_heat import SOFTENS_C, Limits, NeckHeat, neck_heat
from frusta.errors import ParameterError
from frusta.material.handbook import plastic_named

SHOWN_W = (0.5, 1.0, 2.0, 5.0, 10.0)
MEASURED_SD = 0.1
"""Relative: what a resistance read by hand and a power set by hand leave of a thermal resistance."""

CAUTIONS = (
    "Stay under the low end. Music's mean power counts, over minutes; a sweep's is short.",
    "Glue, insulation and leads of the coil have limits of their own, often lower ones.",
    "Hot coils and amplifiers burn; leave none running alone. Local codes and qualified practice go first.",
)


def parse_hot_coil(text: str) -> tuple[float, float]:
    """Return hot resistance and power from ``7.1@4``: 7.1 ohm once settled at 4 W.

    Raises
    ------
    ParameterError
        If it is not two numbers.
    """
    ohm, _, watts = text.replace(",", ".").partition("@")
    try:
        return float(ohm), float(watts)
    except ValueError:
        raise ParameterError(
            f"--hot-coil must be the settled hot resistance in ohm @ the power in W, such as 7.1@4 (got {text!r})"
        ) from None


def heat_of(
    package: Package,
    rig: Rig,
    material: str,
    profile: ConeProfile,
    coil_ohm: float,
    *,
    thermal_k_w: float | None = None,
    hot_coil: tuple[float, float] | None = None,
    room_c: float | None = None,
) -> tuple[NeckHeat | None, str | None]:
    """Return what the neck of a cone bears, or why that cannot be told.

    Parameters
    ----------
    package, rig, material, profile
        Of the forecast.
    coil_ohm : float
        Of the campaign's mean coil, at 20 °C.
    thermal_k_w : float, optional
        From coil to room, as stated.
    hot_coil : tuple of float, optional
        Hot resistance, ohm, and the power it settled at, W.
    room_c : float, optional

    Raises
    ------
    ParameterError
        If what is stated contradicts itself.
    """
    if thermal_k_w is not None and hot_coil is not None:
        raise ParameterError("a thermal resistance is stated or measured, not both; leave out --thermal or --hot-coil")
    deflection, assumed = _deflection(package, material)
    if deflection is None:
        return None, f"no heat_deflection_c of {material} in materials.csv; fill it in from the filament's data sheet"
    path = None
    if thermal_k_w is not None:
        path = Limits(thermal_k_w, thermal_k_w)
    if hot_coil is not None:
        found = measured_k_w(hot_coil[0], coil_ohm, hot_coil[1])
        path = Limits((1.0 - 2.0 * MEASURED_SD) * found, (1.0 + 2.0 * MEASURED_SD) * found)
        assumed = (*assumed, f"{found:.1f} K/W measured, taken to {200 * MEASURED_SD:.0f} %")
    if rig.coil_resistance_ohm is None and not any(s.coil_resistance_ohm for s in package.specimens.values()):
        assumed = (*assumed, f"a coil of {coil_ohm:g} ohm")
    heat = neck_heat(
        deflection, profile.neck_radius_m, coil_ohm, coil_to_room_k_w=path, room_c=room_c, assumed=assumed
    )  # fmt: skip
    return heat, None


def heat_document(heat: NeckHeat | None) -> dict[str, Any] | None:
    """Return heat as plain numbers; each pair is low and high."""
    if heat is None:
        return None
    names = {
        "continuous_power_w": heat.watts,
        "continuous_voltage_v_rms": heat.volts_rms,
        "softens_c": heat.softens_c,
        "coil_c": heat.coil_c,
        "coil_to_room_k_w": heat.coil_to_room_k_w,
        "neck_share": heat.neck_share,
        "room_c": heat.room_c,
    }
    rounded = {name: {k: round(v, 3) for k, v in asdict(pair).items()} for name, pair in names.items()}
    return {**rounded, "assumed": list(heat.assumed)}


def heat_line(heat: NeckHeat | None, reason: str | None) -> str:
    """Return the range in one line."""
    if heat is None:
        return f"heat at the neck: not had: {reason}"
    softens = f"softens at {heat.softens_c.low:.0f} to {heat.softens_c.high:.0f} °C"
    if heat.watts.high <= 0.0:
        return f"heat at the neck: {softens}: the room alone is as warm; it bears no power"
    return (
        f"heat at the neck: {softens}; bears {_short(heat.watts.low)} to {_short(heat.watts.high)} W for hours "
        f"({_short(heat.volts_rms.low)} to {_short(heat.volts_rms.high)} V rms)"
    )


def heat_rows(heat: NeckHeat) -> list[tuple[str, str, str, str]]:
    """Return coil power, temperatures of coil and neck once settled, best to worst, and what comes of it."""
    worst, best = heat.paths()
    rows = []
    for watts in SHOWN_W:
        coil_low, neck_low = best.temperatures_c(watts, heat.room_c.low)
        coil_high, neck_high = worst.temperatures_c(watts, heat.room_c.high)
        coil, neck = f"{coil_low:.0f} to {coil_high:.0f} °C", f"{neck_low:.0f} to {neck_high:.0f} °C"
        rows.append((f"{watts:g} W", coil, neck, _mark(neck_low, neck_high, heat)))
    return rows


def heat_lines(heat: NeckHeat) -> list[str]:
    """Return temperatures at some powers, what was assumed, and the cautions."""
    lines = ["coil power   coil            neck            (settled, best to worst)"]
    lines += [f"{watts:>7}     {coil:<15} {neck:<15} {mark}" for watts, coil, neck, mark in heat_rows(heat)]
    return [*lines, *(f"assumed: {words}" for words in heat.assumed), *CAUTIONS]


def _mark(neck_low_c: float, neck_high_c: float, heat: NeckHeat) -> str:
    if neck_high_c < heat.softens_c.low:
        return "holds"
    return "softens" if neck_low_c > heat.softens_c.high else "may soften"


def _deflection(package: Package, material: str) -> tuple[Limits | None, tuple[str, ...]]:
    row = package.materials[material]
    if row.heat_deflection_c is not None:
        return Limits(row.heat_deflection_c, row.heat_deflection_c), ()
    _, name = plastic_named(row.polymer or row.name)
    if name is None:
        return None, ()
    low, high = SOFTENS_C[name]
    words = f"{name.upper()} deflects at {low:g} to {high:g} °C (handbook): write heat_deflection_c into materials.csv"
    return Limits(low, high), (words,)


def _short(value: float) -> str:
    return f"{value:.2g}" if value < 10.0 else f"{value:.0f}"
