"""Whether a cone can be printed neck down: overhang along the meridian, and how thin a wall of lines gets."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from frusta.cone.profile import ConeProfile
from frusta.errors import ParameterError

USUAL_CLEAN_DEG, USUAL_FAILED_DEG = 45.0, 60.0
"""Overhang from the upright that usually prints clean, and that usually fails: workshop lore, assumed."""
NOZZLE_M = 0.4e-3
_PLACES = 1001


@dataclass(frozen=True)
class OverhangLimit:
    """How far a wall may lean from the upright, degrees: clean up to one angle, failed from another.

    Parameters
    ----------
    clean_to_deg, failed_at_deg : float
        0 to 90, clean ≤ failed.
    assumed : bool
        Whether no coupon told it.
    """

    clean_to_deg: float = USUAL_CLEAN_DEG
    failed_at_deg: float = USUAL_FAILED_DEG
    assumed: bool = True

    def __post_init__(self) -> None:
        if not 0.0 <= self.clean_to_deg <= self.failed_at_deg <= 90.0:
            raise ParameterError(
                "overhang angles must keep 0 ≤ clean_to_deg ≤ failed_at_deg ≤ 90 "
                f"(got {self.clean_to_deg:g} and {self.failed_at_deg:g})"
            )


@dataclass(frozen=True)
class Printable:
    """Whether a cone can be printed.

    Attributes
    ----------
    verdict : {"yes", "doubtful", "no"}
        Doubtful between the clean and the failed angle.
    steepest_overhang_deg : float
        Largest lean from the upright anywhere on the meridian.
    at_radius_percent : float
        Where that is, percent of the rim's radius.
    thinnest_wall_mm : float
        Along the normal.
    reasons : tuple of str
        What fails, where, and what would mend it.
    assumed : tuple of str
    """

    verdict: str
    steepest_overhang_deg: float
    at_radius_percent: float
    thinnest_wall_mm: float
    reasons: tuple[str, ...]
    assumed: tuple[str, ...]


def overhang_deg(profile: ConeProfile) -> tuple[np.ndarray, np.ndarray]:
    """Return radius (m) and lean of the wall from the upright (degrees; above 90 it turns down) along the meridian.

    A cone printed neck down, without supports.
    """
    u = np.linspace(0.0, 1.0, _PLACES)
    return profile.meridian(u)[0], 90.0 - np.degrees(np.arctan(profile.slope(u)))


def printable(profile: ConeProfile, limit: OverhangLimit | None = None, nozzle_m: float = NOZZLE_M) -> Printable:
    """Return whether a cone can be printed upright, neck down.

    Parameters
    ----------
    profile : ConeProfile
    limit : OverhangLimit, optional
        From the overhang coupon of this material and recipe; else the usual 45 to 60 degrees, assumed.
    nozzle_m : float
        Width of a line: a wall under it is no whole line.
    """
    limit = limit or OverhangLimit()
    radius, lean = overhang_deg(profile)
    worst = int(np.argmax(lean))
    wall = profile.thickness_m(np.linspace(0.0, 1.0, _PLACES))
    percent = 100.0 * float(radius[worst]) / profile.rim_radius_m
    reasons: list[str] = []
    verdict = "yes"
    if lean[worst] > limit.clean_to_deg + 1e-9:
        verdict = "no" if lean[worst] >= limit.failed_at_deg else "doubtful"
        bound = limit.failed_at_deg if verdict == "no" else limit.clean_to_deg
        past = np.flatnonzero(lean >= bound if verdict == "no" else lean > bound)
        start = 100.0 * float(radius[past[0]]) / profile.rim_radius_m
        word = "fails" if verdict == "no" else "may sag"
        from_to = (
            "all along"
            if past.size == lean.size
            else f"from {start:.0f} % of the radius on"
            if past[-1] == (lean.size - 1)
            else f"from {start:.0f} to {100.0 * float(radius[past[-1]]) / profile.rim_radius_m:.0f} % of the radius"
        )
        reasons.append(
            f"{word} {from_to}: the wall leans {lean[worst]:.0f}° from the upright, "
            f"{limit.clean_to_deg:.0f}° prints clean and {limit.failed_at_deg:.0f}° fails; {_mend(profile, bound)}"
        )
    horizontal = profile.wall_m * (1.0 - 0.5 * abs(profile.wall_taper))
    if profile.wall_rule == "normal":
        horizontal = float(np.min(wall / np.maximum(np.abs(profile.unit_normal(np.linspace(0, 1, _PLACES))[0]), 1e-9)))
    if horizontal < nozzle_m * 0.999:
        verdict = "no"
        reasons.append(
            f"a layer of the wall is {1e3 * horizontal:.2f} mm wide, less than one line of {1e3 * nozzle_m:.2f} mm; "
            "thicken the wall or use a finer nozzle"
        )
    assumed = ("overhang limit 45 to 60 degrees, no coupon was printed",) if limit.assumed else ()
    return Printable(verdict, float(lean[worst]), percent, 1e3 * float(wall.min()), tuple(reasons), assumed)


def _mend(profile: ConeProfile, bound_deg: float) -> str:
    """What change of bow, else of depth, would keep the wall within an overhang."""
    least = math.tan(math.radians(90.0 - bound_deg)) * profile.span_m
    if profile.depth_m > least and profile.bow_m != 0.0:
        bow = math.copysign((profile.depth_m - least) / 4.0, profile.bow_m)
        if abs(bow) < abs(profile.bow_m) and _exists(profile, bow):
            tenth = math.copysign(math.floor(1e4 * abs(bow)) / 1e4, bow)
            return f"bring the bow to {1e3 * tenth:.1f} mm"
    return f"make it at least {1e3 * (math.ceil(1e4 * least) / 1e4 + 4.0 * abs(profile.bow_m)):.1f} mm deep"


def _exists(profile: ConeProfile, bow_m: float) -> bool:
    try:
        replace(profile, bow_m=bow_m)
    except ParameterError:
        return False
    return True
