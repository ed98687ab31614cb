"""The bodies a maker prints: the cone with its socket, and the coupons."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frusta.cone.profile import ConeProfile
from frusta.design.solid import SEGMENTS, Solid, drawn_out, turned
from frusta.errors import ParameterError

Floats = NDArray[np.float64]

_STATIONS = 61
LARGEST_LEAN_DEG = 75.0


@dataclass(frozen=True)
class Socket:
    """The sleeve under the neck that a coil former is pushed into; the neck's edge is the former's seat.

    Parameters
    ----------
    former_radius_m : float
        Outer radius of the coil former.
    length_m : float
        Of the sleeve, below the neck.
    wall_m : float
        Of the sleeve.
    fit_m : float
        Gap between former and sleeve on the radius: 0.05 mm pushes on with most printers.
    """

    former_radius_m: float
    length_m: float = 4e-3
    wall_m: float = 0.8e-3
    fit_m: float = 0.05e-3

    def __post_init__(self) -> None:
        for name in ("former_radius_m", "length_m", "wall_m"):
            if not (math.isfinite(getattr(self, name)) and getattr(self, name) > 0.0):
                raise ParameterError(f"{name} of the socket must be positive (got {getattr(self, name):g} m)")
        if not -0.5e-3 <= self.fit_m <= 0.5e-3:
            raise ParameterError(f"fit_m must lie within half a millimetre (got {1e3 * self.fit_m:g} mm)")

    @property
    def bore_radius_m(self) -> float:
        """Inner radius of the sleeve."""
        return self.former_radius_m + self.fit_m


def cone_body(profile: ConeProfile, socket: Socket | None = None, segments: int = SEGMENTS) -> Solid:
    """Return a cone, neck down on the plate.

    Parameters
    ----------
    profile : ConeProfile
    socket : Socket, optional
        Adds mass that the profile's volume does not hold.
    segments : int

    Raises
    ------
    ParameterError
        If the socket does not meet the neck, or a capped cone is to have one.
    """
    return turned(cone_outline(profile, socket), segments).on_the_plate()


def cone_outline(profile: ConeProfile, socket: Socket | None = None) -> Floats:
    """Return the outline of a cone's section.

    Parameters
    ----------
    profile : ConeProfile
    socket : Socket, optional
        For a former to be glued in.

    Returns
    -------
    ndarray, shape (n, 2)
        Radius and height, m, the rear first, once round.

    Raises
    ------
    ParameterError
        If a capped cone is to have a socket.
    """
    u = np.linspace(0.0, 1.0, _STATIONS)
    radius, height = profile.meridian(u)
    across, up = profile.unit_normal(u)
    half = 0.5 * profile.thickness_m(u)
    front = np.stack([radius + across * half, height + up * half], axis=-1)
    rear = np.stack([radius - across * half, height - up * half], axis=-1)
    if profile.cap == "flat":
        if socket is not None:
            raise ParameterError("a capped cone has no socket: the former would have to pass the cap; leave one out")
        return _capped(front, rear, profile)
    if socket is None:
        return np.concatenate([rear, front[::-1]])
    return _with_socket(front, rear, socket)


def _capped(front: Floats, rear: Floats, profile: ConeProfile) -> Floats:
    """The disc's faces lie half its thickness below and above the neck's plane; the cone goes on from there."""
    half = 0.5 * profile.wall_m
    above = front[front[:, 1] > half]
    inner = float(np.interp(half, front[:, 1], front[:, 0]))
    lower = rear[0] if rear[0, 1] > -half else np.array([rear[0, 0], -half])
    bottom = [[0.0, -half], [float(lower[0]), -half]]
    return np.concatenate([bottom, rear[rear[:, 1] > -half], above[::-1], [[inner, half], [0.0, half]]])


def _with_socket(front: Floats, rear: Floats, socket: Socket) -> Floats:
    """Sleeve below, its bore between the two edges of the neck so that the inner edge is a seat."""
    bore, outside = socket.bore_radius_m, socket.bore_radius_m + socket.wall_m
    inner, outer = front[0], rear[0]
    if not inner[0] < bore < outer[0] < outside:
        raise ParameterError(
            f"the socket must meet the neck: its bore between {1e3 * inner[0]:.2f} and {1e3 * outer[0]:.2f} mm, its "
            f"outside beyond (got {1e3 * bore:.2f} and {1e3 * outside:.2f} mm); change former, fit or neck"
        )
    if outside >= rear[-1, 0]:
        raise ParameterError("the socket must be narrower than the rim; make its wall thinner")
    share = (bore - inner[0]) / (outer[0] - inner[0])
    seat = inner + share * (outer - inner)
    foot = -socket.length_m
    joins = float(np.interp(outside, rear[:, 0], rear[:, 1]))
    beyond = rear[rear[:, 0] > outside]
    sleeve = [[bore, foot], [outside, foot], [outside, joins]]
    return np.concatenate([sleeve, beyond, front[::-1], [[float(seat[0]), float(seat[1])]]])


def stick_body(length_m: float, width_m: float, thickness_m: float, upright: bool) -> Solid:
    """Return a bar, standing on its end or lying on its broad side.

    Raises
    ------
    ParameterError
        If a measure is not positive.
    """
    _positive(length_m=length_m, width_m=width_m, thickness_m=thickness_m)
    x, z = (0.5 * thickness_m, length_m) if upright else (0.5 * length_m, thickness_m)
    return drawn_out(np.array([[-x, 0.0], [-x, z]]), np.array([[x, 0.0], [x, z]]), width_m)


def disc_body(diameter_m: float, thickness_m: float, segments: int = SEGMENTS) -> Solid:
    """Return a disc lying on the plate.

    Raises
    ------
    ParameterError
        If a measure is not positive.
    """
    _positive(diameter_m=diameter_m, thickness_m=thickness_m)
    r = 0.5 * diameter_m
    return turned(np.array([[0.0, 0.0], [r, 0.0], [r, thickness_m], [0.0, thickness_m]]), segments)


def overhang_body(radius_m: float = 0.030, width_m: float = 0.010, back_m: float = 0.028) -> Solid:
    """Return a block whose front leans out more and more: at height h by asin(h/radius) from the upright.

    Where it begins to sag, measure the height: `overhang_lean_deg` gives the angle.

    Raises
    ------
    ParameterError
        If a measure is not positive.
    """
    _positive(radius_m=radius_m, width_m=width_m, back_m=back_m)
    lean = np.radians(np.linspace(0.0, LARGEST_LEAN_DEG, 76))
    height = radius_m * np.sin(lean)
    front = np.stack([radius_m * (1.0 - np.cos(lean)), height], axis=-1)
    return drawn_out(np.stack([np.full(lean.size, -back_m), height], axis=-1), front, width_m)


def overhang_lean_deg(height_m: float, radius_m: float = 0.030) -> float:
    """Return the lean from the upright at a height of the overhang coupon, degrees.

    Raises
    ------
    ParameterError
        If the height is not on the coupon.
    """
    top = radius_m * math.sin(math.radians(LARGEST_LEAN_DEG))
    if not 0.0 <= height_m <= top * (1.0 + 1e-9):
        raise ParameterError(
            f"the height must lie on the coupon, 0 to {1e3 * top:.1f} mm (got {1e3 * height_m:.1f} mm)"
        )
    return math.degrees(math.asin(min(height_m / radius_m, 1.0)))


def _positive(**measures_m: float) -> None:
    for name, value in measures_m.items():
        if not (math.isfinite(value) and value > 0.0):
            raise ParameterError(f"{name} must be positive (got {value:g} m)")
