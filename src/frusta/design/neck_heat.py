"""How much power a coil may take before the cone's neck softens: a cautious range, with all that was assumed."""

from __future__ import annotations

import math
from dataclasses import dataclass

from frusta.cone.heat import HeatPath, volts_rms_of

CREEP_K = 15.0
"""A deflection temperature is where a bar sags within minutes (ISO 75); a push fit creeps for hours. Assumed."""

ROOM_C = (20.0, 35.0)
"""Assumed: a living room, the inside of a warm cabinet."""

NECK_SHARE = (0.5, 1.0)
"""Share of the coil's rise that reaches the neck: half of it at best, all of it beside the winding. Assumed."""

AIR_W_M_K = 0.026
"""Thermal conductivity of air at room temperature (handbook, from memory)."""

GAP_HEIGHT_M, GAP_AIR_M = (0.003, 0.008), (0.0005, 0.00025)
"""Of a coil of unknown make: how much of its length lies in the gap, how much air on each side of it; worse, better."""

COIL_HEIGHT_M, CONVECTION_W_M2_K = 0.010, 12.0
"""Of its winding, and what moving air takes from a surface near body heat."""

MAGNET_K_W = (5.0, 1.0)
"""From magnet to room, worse and better."""

SOFTENS_C = {
    "pla": (50.0, 58.0),
    "petg": (63.0, 72.0),
    "abs": (80.0, 95.0),
    "asa": (85.0, 98.0),
    "pp": (75.0, 105.0),
    "pa12": (80.0, 150.0),
    "pc": (110.0, 135.0),
}
"""Heat deflection temperature at 0.45 MPa, handbook ranges from memory; whoever uses them says assumed."""


@dataclass(frozen=True)
class Limits:
    """A lower and an upper value of something.

    Parameters
    ----------
    low, high : float
    """

    low: float
    high: float


@dataclass(frozen=True)
class NeckHeat:
    """What a neck bears.

    Parameters
    ----------
    watts, volts_rms : Limits
        Continuous power in the coil, and the voltage that keeps it there. The low end is the one to stay under.
    softens_c : Limits
        Where the neck is taken to give way.
    coil_to_room_k_w, neck_share, room_c : Limits
        What went in.
    coil_c : Limits
        The coil's temperature at either end of the power.
    assumed : tuple of str
        In words.
    """

    watts: Limits
    volts_rms: Limits
    softens_c: Limits
    coil_to_room_k_w: Limits
    neck_share: Limits
    room_c: Limits
    coil_c: Limits
    assumed: tuple[str, ...]

    def paths(self) -> tuple[HeatPath, HeatPath]:
        """The path that heats the neck most, and the one that heats it least."""
        return (
            HeatPath.of_share(self.coil_to_room_k_w.high, self.neck_share.high),
            HeatPath.of_share(self.coil_to_room_k_w.low, self.neck_share.low),
        )


def neck_heat(
    deflection_c: Limits,
    neck_radius_m: float,
    coil_ohm: float,
    *,
    coil_to_room_k_w: Limits | None = None,
    room_c: float | None = None,
    assumed: tuple[str, ...] = (),
) -> NeckHeat:
    """Return the continuous power before a neck softens.

    Parameters
    ----------
    deflection_c : Limits
        Heat deflection temperature, °C.
    neck_radius_m : float
        The coil is taken to be as wide.
    coil_ohm : float
        At 20 °C.
    coil_to_room_k_w : Limits, optional
        Stated or measured; else estimated from the radius.
    room_c : float, optional
        Else `ROOM_C`.
    assumed : tuple of str
        What was assumed of the deflection temperature or the coil.
    """
    words = list(assumed)
    path = coil_to_room_k_w
    if path is None:
        path = guessed_coil_to_room_k_w(neck_radius_m)
        words.append(
            f"heat leaves the coil through {path.low:.0f} to {path.high:.0f} K/W, guessed from its radius: measure it "
            "(--hot-coil)"
        )
    room = Limits(*ROOM_C) if room_c is None else Limits(room_c, room_c)
    if room_c is None:
        words.append(f"room or cabinet at {room.low:g} to {room.high:g} °C (--room-c)")
    share = Limits(*NECK_SHARE)
    words.append(f"the neck rises by {share.low:g} to {share.high:g} of what the coil rises by")
    words.append(f"a push fit creeps up to {CREEP_K:g} K below the deflection temperature")
    softens = Limits(deflection_c.low - CREEP_K, deflection_c.high)
    worst, best = HeatPath.of_share(path.high, share.high), HeatPath.of_share(path.low, share.low)
    low, high = worst.watts_at_neck(softens.low, room.high), best.watts_at_neck(softens.high, room.low)
    return NeckHeat(
        Limits(low, high),
        Limits(volts_rms_of(worst, low, coil_ohm, room.high), volts_rms_of(best, high, coil_ohm, room.low)),
        softens,
        path,
        share,
        room,
        Limits(worst.temperatures_c(low, room.high)[0], best.temperatures_c(high, room.low)[0]),
        tuple(words),
    )


def guessed_coil_to_room_k_w(radius_m: float) -> Limits:
    """Return a wide guess of the thermal resistance from a coil to the room, from its radius alone.

    The coil gives its heat through the air of the gap on both sides and by convection; the magnet then to the room.
    """
    around_m = 2.0 * math.pi * radius_m
    free_w_k = 2.0 * around_m * COIL_HEIGHT_M * CONVECTION_W_M2_K
    worse, better = (
        1.0 / (2.0 * AIR_W_M_K * around_m * height / air + free_w_k) + magnet
        for height, air, magnet in zip(GAP_HEIGHT_M, GAP_AIR_M, MAGNET_K_W, strict=True)
    )
    return Limits(better, worse)
