"""The geometry of one cone: its mid-surface, its wall, its volume."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from frusta.errors import ParameterError

Shape = Literal["straight", "concave", "convex"]
WallRule = Literal["normal", "line"]
Cap = Literal["none", "flat"]
Floats = NDArray[np.float64]

_CHECK_POINTS = 201
_GAUSS = np.polynomial.legendre.leggauss(40)


@dataclass(frozen=True)
class ConeProfile:
    """A cone's mid-surface from neck (u = 0, z = 0) to rim (u = 1, z = depth), and the wall on it.

    The meridian is z(u) = depth·u + 4·bow·u·(1 − u) over u = (r − neck)/(rim − neck); z points to the
    listener, bow > 0 is convex. The wall lies half on either side of the mid-surface and both its
    edges are cut along the normal.

    Parameters
    ----------
    shape : {"straight", "concave", "convex"}
        What the maker calls it; the geometry follows `bow_m` alone, so a fitted bow may differ.
    neck_radius_m, rim_radius_m, depth_m : float
        Radii of the mid-surface at its edges and the height between them, m.
    bow_m : float
        Height of the meridian over its chord at mid radius, m.
    wall_m : float
        Thickness along the normal (rule "normal"), or horizontal width of the printed lines
        (rule "line": thickness along the normal = wall × |radial part of the unit normal|), m.
    wall_rule : {"normal", "line"}
    cap : {"none", "flat"}
        "flat" closes the neck with a disc in the plane z = 0, as thick as `wall_m`.
    wall_taper : float
        The wall times 1 + taper·(u − 1/2): 0.1 makes the rim 10 % thicker than the neck.

    Raises
    ------
    ParameterError
        If the geometry cannot exist.

    Examples
    --------
    >>> cone = ConeProfile("straight", 0.0145, 0.045, 0.030, 0.0, 0.0009)
    >>> round(cone.volume_m3 * 1e9), round(cone.area_m2 * 1e6)
    (7197, 7997)
    """

    shape: Shape
    neck_radius_m: float
    rim_radius_m: float
    depth_m: float
    bow_m: float
    wall_m: float
    wall_rule: WallRule = "normal"
    cap: Cap = "none"
    wall_taper: float = 0.0

    def __post_init__(self) -> None:
        _check_words(self)
        _check_numbers(self)
        _check_wall(self)

    @property
    def span_m(self) -> float:
        """Rim radius less neck radius, m."""
        return self.rim_radius_m - self.neck_radius_m

    def meridian(self, u: ArrayLike) -> tuple[Floats, Floats]:
        """Return radius and height of the mid-surface.

        Parameters
        ----------
        u : array_like
            Place along the meridian, 0 at the neck, 1 at the rim.

        Returns
        -------
        radius_m, height_m : ndarray of float, shape of `u`
        """
        place = np.asarray(u, dtype=np.float64)
        radius = self.neck_radius_m + self.span_m * place
        height = self.depth_m * place + 4.0 * self.bow_m * place * (1.0 - place)
        return radius, height

    def slope(self, u: ArrayLike) -> Floats:
        """Return dz/dr along the meridian (1 = 45°, 0 = flat)."""
        place = np.asarray(u, dtype=np.float64)
        return (self.depth_m + 4.0 * self.bow_m * (1.0 - 2.0 * place)) / self.span_m

    def unit_normal(self, u: ArrayLike) -> tuple[Floats, Floats]:
        """Return radial and axial part of the unit normal on the listener's side."""
        slope = self.slope(u)
        length = np.sqrt(1.0 + slope**2)
        return -slope / length, 1.0 / length

    def curvature_per_m(self, u: ArrayLike) -> Floats:
        """Return the meridian's curvature, 1/m, positive where it turns towards the listener (concave)."""
        second = -8.0 * self.bow_m / self.span_m**2
        return second / (1.0 + self.slope(u) ** 2) ** 1.5

    def thickness_m(self, u: ArrayLike) -> Floats:
        """Return the wall's thickness along the normal, m."""
        place = np.asarray(u, dtype=np.float64)
        wall = self.wall_m * (1.0 + self.wall_taper * (place - 0.5))
        if self.wall_rule == "line":
            wall = wall * np.abs(self.unit_normal(place)[0])
        return wall

    def arc_per_u_m(self, u: ArrayLike) -> Floats:
        """Return the length of meridian per unit of `u`, m."""
        return self.span_m * np.sqrt(1.0 + self.slope(u) ** 2)

    @property
    def arc_length_m(self) -> float:
        """Length of the meridian from neck to rim, m."""
        place, weight = _gauss_unit()
        return float(weight @ self.arc_per_u_m(place))

    @property
    def area_m2(self) -> float:
        """Area of the mid-surface (one face, without the cap), m²."""
        place, weight = _gauss_unit()
        return float(2.0 * np.pi * weight @ (self.arc_per_u_m(place) * self.meridian(place)[0]))

    @property
    def cap_volume_m3(self) -> float:
        """Volume of the flat cap, m³; zero without one."""
        return math.pi * self.neck_radius_m**2 * self.wall_m if self.cap == "flat" else 0.0

    @property
    def volume_m3(self) -> float:
        """Volume of the printed material, cap included, m³.

        The integral over the thickness is exact: ∫(r + ζ n_r)(1 − κζ)dζ = r·t − κ·n_r·t³/12.
        """
        place, weight = _gauss_unit()
        wall = self.thickness_m(place)
        across = self.meridian(place)[0] * wall
        across -= self.curvature_per_m(place) * self.unit_normal(place)[0] * wall**3 / 12.0
        return float(2.0 * np.pi * weight @ (self.arc_per_u_m(place) * across)) + self.cap_volume_m3


def _gauss_unit() -> tuple[Floats, Floats]:
    """Gauss points and weights on 0..1."""
    return 0.5 * (_GAUSS[0] + 1.0), 0.5 * _GAUSS[1]


def _check_words(profile: ConeProfile) -> None:
    """Refuse words that the geometry does not know."""
    known = {
        "shape": ("straight", "concave", "convex"),
        "wall_rule": ("normal", "line"),
        "cap": ("none", "flat"),
    }
    for name, words in known.items():
        if getattr(profile, name) not in words:
            raise ParameterError(f"{name} must be one of {', '.join(words)} (got {getattr(profile, name)!r})")


def _check_numbers(profile: ConeProfile) -> None:
    """Refuse numbers that describe no cone."""
    for field in fields(profile):
        value = getattr(profile, field.name)
        if not isinstance(value, str) and not math.isfinite(value):
            raise ParameterError(f"{field.name} must be a finite number (got {value})")
    for name in ("neck_radius_m", "wall_m"):
        if getattr(profile, name) <= 0.0:
            raise ParameterError(f"{name} must be positive (got {getattr(profile, name):g} m)")
    if profile.rim_radius_m <= profile.neck_radius_m:
        raise ParameterError(
            f"rim_radius_m must exceed neck_radius_m, {profile.neck_radius_m:g} m "
            f"(got {profile.rim_radius_m:g} m); are the two swapped?"
        )
    if profile.depth_m <= 0.0:
        raise ParameterError(
            f"depth_m must be positive, the rim lies over the neck (got {profile.depth_m:g} m); "
            "measure from the neck's plane to the rim's"
        )
    if profile.wall_m >= profile.neck_radius_m:
        raise ParameterError(
            f"wall_m must be less than neck_radius_m, {profile.neck_radius_m:g} m (got {profile.wall_m:g} m)"
        )
    if abs(profile.wall_taper) >= 2.0:
        raise ParameterError(
            f"wall_taper must lie between -2 and 2, else the wall vanishes (got {profile.wall_taper:g})"
        )


def _check_wall(profile: ConeProfile) -> None:
    """Refuse a wall that crosses itself or vanishes (wall_m < neck_radius_m keeps the neck open)."""
    place = np.linspace(0.0, 1.0, _CHECK_POINTS)
    wall = profile.thickness_m(place)
    slope = profile.slope(place)
    if profile.wall_rule == "line" and slope.min() <= 0.0:
        raise ParameterError(
            "the meridian must rise everywhere under wall_rule line, a level stretch has no wall "
            f"(dz/dr falls to {slope.min():.3g}); lower |bow_m| under a quarter of depth_m or use wall_rule normal"
        )
    bend = 0.5 * wall * np.abs(profile.curvature_per_m(place))
    if bend.max() >= 1.0:
        raise ParameterError(
            "the wall must not cross itself: half its thickness must stay under the meridian's radius of "
            f"curvature (got {bend.max():.3g} times that at u = {place[bend.argmax()]:.2f}); lower |bow_m| or wall_m"
        )
