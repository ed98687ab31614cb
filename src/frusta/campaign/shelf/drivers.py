"""Finished drivers beside printed cones, by figures that mean the same for both, and what does not.

What makes a small light cone and a large heavy one comparable is to measure frequency by the cone's own size:
ka = 2·pi·f·a/c, with a the rim's radius. Below ka = 1 any cone is a point to the air, so a break-up at ka 3 is late for
its size whatever the size. Break-up × radius says the same without the air's temperature.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from statistics import median

import numpy as np
from numpy.typing import NDArray

from frusta.campaign.findings import Reading
from frusta.campaign.package import Package
from frusta.campaign.resolve import resolve_take
from frusta.cone.medium import air_at
from frusta.errors import ParameterError

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Standing:
    """One printed cone or finished driver by size-free figures; None with a reason in `reasons`.

    Attributes
    ----------
    specimen, kind, rig, mounting : str
    radius_m : float or None
        Of the rim.
    breakup_ka : float or None
        2·pi·f·a/c at the break-up.
    breakup_radius_hz_m : float or None
        Break-up times radius, Hz m.
    upper_limit_ka : float or None
    mass_per_area_kg_m2 : float or None
        Cone and coil, what the rig moves besides included where it is known, over pi·a².
    decay_2_percent_cycles : float or None
        Time to fall to 2 % counted in cycles of the break-up.
    reasons : dict of str to str
    series : tuple of (float, float)
        Level, dB, and largest input-referred distortion, per cent, of takes at several drive gains, quietest first;
        empty where there is no such series.
    """

    specimen: str
    kind: str
    rig: str
    mounting: str
    radius_m: float | None
    breakup_ka: float | None
    breakup_radius_hz_m: float | None
    upper_limit_ka: float | None
    mass_per_area_kg_m2: float | None
    decay_2_percent_cycles: float | None
    reasons: dict[str, str] = field(default_factory=dict)
    series: tuple[tuple[float, float], ...] = ()


def standings(package: Package, readings: Sequence[Reading]) -> tuple[Standing, ...]:
    """Return cones and drivers by size-free figures, in the order of specimens.csv.

    Parameters
    ----------
    package : Package
    readings : sequence of Reading
        Of its takes; those to repeat are left out.
    """
    rows = []
    for name, specimen in package.specimens.items():
        mine = [r for r in readings if r.specimen == name and r.quality != "repeat"]
        if specimen.kind not in ("cone", "driver") or not mine:
            continue
        resolved = resolve_take(package, package.takes[mine[0].take])
        profile = resolved.profile
        radius_mm = specimen.rim_radius_mm or (profile.rim_radius_mm if profile else None)
        radius = radius_mm * 1e-3 if radius_mm is not None else None
        reasons: dict[str, str] = {}
        breakup = _middle(mine, "breakup_hz", reasons)
        upper = _middle(mine, "upper_limit_hz", reasons)
        decay = _middle(mine, "decay_2_percent_ms", reasons)
        sound = air_at(resolved.temperature_c or 20.0, resolved.humidity_pct or 50.0).sound_speed_m_s
        if radius is None:
            why = "its radius is not known; give rim_radius_mm in specimens.csv, or a profile"
            reasons |= dict.fromkeys(
                ("breakup_ka", "breakup_radius_hz_m", "upper_limit_ka", "mass_per_area_kg_m2"), why
            )
        scale = None if radius is None else 2 * math.pi * radius / sound
        mass = _moving_mass_kg(resolved.cone_mass_kg, resolved.coil_mass_kg, specimen.mass_with_coil_g)
        if mass is None and radius is not None:
            reasons["mass_per_area_kg_m2"] = "cone and coil were not weighed"
        rows.append(
            Standing(
                name,
                specimen.kind,
                resolved.rig.rig,
                resolved.rig.mounting,
                radius,
                _times(breakup, scale),
                _times(breakup, radius),
                _times(upper, scale),
                None if mass is None or radius is None else mass / (math.pi * radius**2),
                None if decay is None or breakup is None else decay * 1e-3 * breakup,
                reasons,
                _series(package, mine),
            )
        )
    return tuple(rows)


def incomparable(a: Standing, b: Standing) -> tuple[str, ...]:
    """Return what cannot be compared between two, and why; empty where all of it can.

    Parameters
    ----------
    a, b : Standing
    """
    said = []
    if a.mounting != b.mounting:
        said.append(
            f"level, lower limit and unevenness: {a.specimen} was measured {_mounted(a)}, {b.specimen} {_mounted(b)}; "
            "a cone without a baffle loses the bass that a baffle keeps"
        )
    if a.rig != b.rig:
        said.append(
            f"level and distortion as recorded: {a.specimen} stood on rig {a.rig}, {b.specimen} on {b.rig}; compare "
            "distortion at equal sound pressure, and level through a check cone measured on both"
        )
    if {a.kind, b.kind} == {"cone", "driver"}:
        said.append(
            "decay and distortion: a finished driver has a surround, glue and its own motor, a printed cone on the rig "
            "has none of its own"
        )
    return tuple(said)


def distortion_at_pressure(
    frequency_hz: Floats, level_db: Floats, harmonic_db: Mapping[int, Floats], wanted_db: float
) -> Floats:
    """Return distortion as it would be were the sound pressure the same at every frequency.

    Parameters
    ----------
    frequency_hz, level_db : ndarray, shape (n,)
        Drive frequencies and the level recorded there, dB re 20 µPa.
    harmonic_db : mapping of int to ndarray, shape (n,)
        Harmonic n in dB re the fundamental at the same drive frequency, as recorded.
    wanted_db : float
        Sound pressure level of the fundamental.

    Returns
    -------
    ndarray, shape (n,)
        Total of the harmonics over the fundamental, per cent. In a weakly nonlinear system the nth harmonic over the
        fundamental grows with the (n − 1)th power of the drive (Chebyshev identities of a polynomial), so each is
        moved by (n − 1)·(wanted − level). NaN where that is more than 10 dB: so far the law is not to be trusted.

    Raises
    ------
    ParameterError
        If an order is below 2.
    """
    if any(order < 2 for order in harmonic_db):
        raise ParameterError(f"orders must be at least 2 (got {sorted(harmonic_db)}); order 1 is the fundamental")
    step = wanted_db - np.asarray(level_db, dtype=np.float64)
    power = np.zeros(step.shape)
    for order, curve in harmonic_db.items():
        power += 10.0 ** ((np.asarray(curve) + (order - 1) * step) / 10.0)
    return np.where(np.abs(step) <= 10.0, 100.0 * np.sqrt(power), np.nan)


def distortion_at_equal_level(rows: Sequence[Standing]) -> tuple[float, dict[str, float]] | None:
    """Return distortion at one sound pressure that every series holds.

    Parameters
    ----------
    rows : sequence of Standing
        Those without a series are left out.

    Returns
    -------
    (level_db, percent by specimen) or None
        At the highest level that all series reach, interpolated as decibels over decibels (a straight line for any one
        order), never beyond a series; None where fewer than two have one, or they have no level in common.
    """
    held = {row.specimen: row.series for row in rows if len(row.series) > 1}
    if len(held) < 2:
        return None
    level = min(series[-1][0] for series in held.values())
    if any(series[0][0] > level for series in held.values()):
        return None
    return level, {
        name: float(np.exp(np.interp(level, [p[0] for p in series], np.log([p[1] for p in series]))))
        for name, series in held.items()
    }


def standing_lines(rows: Sequence[Standing]) -> list[str]:
    """Return standings in words, drivers first, then what the pairs of driver and cone do not allow."""
    ordered = sorted(rows, key=lambda row: (row.kind != "driver", row.specimen))
    lines = [
        f"{row.specimen} ({row.kind}): "
        + ", ".join(
            text
            for text in (
                _said("break-up at ka", row.breakup_ka, "{:.2f}"),
                _said("break-up × radius", row.breakup_radius_hz_m, "{:.0f} Hz m"),
                _said("upper limit at ka", row.upper_limit_ka, "{:.2f}"),
                _said("moving mass", row.mass_per_area_kg_m2, "{:.2f} kg/m²"),
                _said("silent (2 %) after", row.decay_2_percent_cycles, "{:.1f} cycles of its break-up"),
            )
            if text
        )
        for row in ordered
    ]
    equal = distortion_at_equal_level(ordered)
    if equal is not None:
        level, percent = equal
        words = ", ".join(f"{name} {value:.2g} %" for name, value in percent.items())
        lines.append(
            f"Distortion at equal sound pressure ({level:.1f} dB in the piston band, input-referred): {words}."
        )
    elif any(row.kind == "driver" for row in ordered):
        lines.append(
            "Distortion at equal sound pressure: not had; it takes two that were swept at several levels which overlap "
            "(frusta record --levels 0,-6,-12) and whose distortion stands over the noise."
        )
    said: dict[str, None] = {}
    for driver in (r for r in ordered if r.kind == "driver"):
        for cone in (r for r in ordered if r.kind == "cone"):
            said.update(dict.fromkeys(incomparable(driver, cone)))
    return lines + [f"Not comparable: {text}." for text in said]


def _middle(readings: Sequence[Reading], key: str, reasons: dict[str, str]) -> float | None:
    known = [float(v) for r in readings if (v := getattr(r, key)) is not None]
    if known:
        return float(median(known))
    reasons[key] = next((r.reasons[key] for r in readings if key in r.reasons), "no take gives it")
    return None


def _series(package: Package, readings: Sequence[Reading]) -> tuple[tuple[float, float], ...]:
    """Level and distortion at each drive gain; levels of several rigs only where they are in pascals."""
    points: dict[float, list[tuple[float, float]]] = {}
    for reading in readings:
        percent = reading.input_thd_peak_percent
        resolved = resolve_take(package, package.takes[reading.take])
        comparable = resolved.full_scale_pa is not None or len(package.rigs) == 1
        if reading.level_db is None or not percent or not comparable:
            continue
        gain_db = resolved.drive_gain_db
        points.setdefault(round(gain_db, 1), []).append((reading.level_db + gain_db, percent))
    if len(points) < 2:
        return ()
    return tuple(
        sorted((float(median(p[0] for p in group)), float(median(p[1] for p in group))) for group in points.values())
    )


def _moving_mass_kg(cone: float | None, coil: float | None, with_coil_g: float | None) -> float | None:
    if with_coil_g is not None:
        return with_coil_g * 1e-3
    return None if cone is None or coil is None else cone + coil


def _times(value: float | None, factor: float | None) -> float | None:
    return None if value is None or factor is None else value * factor


def _mounted(row: Standing) -> str:
    return "free" if row.mounting == "free" else "in a baffle"


def _said(name: str, value: float | None, form: str) -> str:
    return "" if value is None else f"{name} {form.format(value)}"
