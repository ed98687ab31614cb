"""What the coil's power does to coil and neck once all is warm: two thermal resistances in a row, copper's resistance.

Heat leaves the coil through the neck: coil, neck, room. Whatever else carries heat off the coil (the gap, the former's
far end) is contained in the resistance from coil to room; the neck then stands at a share of the coil's rise, the whole
of it at worst.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from frusta.errors import ParameterError

COPPER_PER_K = 0.00393
"""Of the resistance at 20 °C; copper, IEC 60028 (from memory)."""

COPPER_C = 20.0
"""Where that coefficient holds."""


@dataclass(frozen=True)
class HeatPath:
    """From coil to neck to room.

    Parameters
    ----------
    coil_to_neck_k_w : float
        Thermal resistance, K/W, >= 0.
    neck_to_room_k_w : float
        The same, > 0.

    Raises
    ------
    ParameterError
        If a resistance is out of its range.

    Examples
    --------
    >>> HeatPath(4.0, 6.0).temperatures_c(2.0, 20.0)
    (40.0, 32.0)
    """

    coil_to_neck_k_w: float
    neck_to_room_k_w: float

    def __post_init__(self) -> None:
        if not (self.coil_to_neck_k_w >= 0.0 and 0.0 < self.neck_to_room_k_w < math.inf):
            raise ParameterError(
                f"thermal resistances must be 0 or more from coil to neck and above 0 from neck to room (got "
                f"{self.coil_to_neck_k_w:g} and {self.neck_to_room_k_w:g} K/W); measure the coil hot and cold"
            )

    @classmethod
    def of_share(cls, coil_to_room_k_w: float, neck_share: float) -> HeatPath:
        """Return the path by its whole resistance and the neck's share of the coil's rise, above 0 to 1.

        Raises
        ------
        ParameterError
            If the share is out of its range.
        """
        if not 0.0 < neck_share <= 1.0:
            raise ParameterError(f"the share of the coil's rise must be above 0 and at most 1 (got {neck_share})")
        return cls((1.0 - neck_share) * coil_to_room_k_w, neck_share * coil_to_room_k_w)

    @property
    def coil_to_room_k_w(self) -> float:
        """The whole resistance, K/W."""
        return self.coil_to_neck_k_w + self.neck_to_room_k_w

    def temperatures_c(self, watts: float, room_c: float) -> tuple[float, float]:
        """Return the settled temperatures of coil and neck, °C, for a power that turns to heat, W."""
        return room_c + watts * self.coil_to_room_k_w, room_c + watts * self.neck_to_room_k_w

    def watts_at_neck(self, neck_c: float, room_c: float) -> float:
        """Return the power, W, that settles the neck at a temperature; 0 where the room is as warm."""
        return max(neck_c - room_c, 0.0) / self.neck_to_room_k_w


def copper_ohm(cold_ohm: float, coil_c: float, cold_c: float = COPPER_C) -> float:
    """Return the resistance of a copper coil at a temperature from the one it had at ``cold_c``.

    Examples
    --------
    >>> round(copper_ohm(6.0, 120.0), 6)
    8.358
    """
    return cold_ohm * (1.0 + COPPER_PER_K * (coil_c - COPPER_C)) / (1.0 + COPPER_PER_K * (cold_c - COPPER_C))


def copper_warming_k(hot_ohm: float, cold_ohm: float, cold_c: float = COPPER_C) -> float:
    """Return how much warmer a copper coil is than when its resistance was ``cold_ohm`` at ``cold_c``, K."""
    return (hot_ohm / cold_ohm - 1.0) * (1.0 / COPPER_PER_K + cold_c - COPPER_C)


def measured_k_w(hot_ohm: float, cold_ohm: float, watts: float, cold_c: float = COPPER_C) -> float:
    """Return the thermal resistance from coil to room from the coil's resistance cold and settled hot.

    Parameters
    ----------
    hot_ohm, cold_ohm : float
        The coil's resistance once it no longer rises, and before, at the room's temperature.
    watts : float
        Power that turned to heat, W: current squared times hot resistance.
    cold_c : float
        Of the room, °C.

    Raises
    ------
    ParameterError
        If the coil was not warmer, or the power is not above 0.

    Examples
    --------
    >>> round(measured_k_w(6.0 * (1.0 + 0.00393 * 40.0), 6.0, 4.0), 6)
    10.0
    """
    warming_k = copper_warming_k(hot_ohm, cold_ohm, cold_c)
    if not (warming_k > 0.0 and watts > 0.0):
        raise ParameterError(
            f"a hot coil must have more resistance than a cold one, at a power above 0 (got {hot_ohm:g} ohm hot, "
            f"{cold_ohm:g} ohm cold, {watts:g} W); let it settle for half an hour and measure again"
        )
    return warming_k / watts


def settled_c(path: HeatPath, volts_rms: float, cold_ohm: float, room_c: float) -> float:
    """Return where a coil settles that is driven by a fixed voltage: its power falls as its resistance rises.

    Parameters
    ----------
    path : HeatPath
    volts_rms : float
        Over the coil; its impedance is taken as its resistance.
    cold_ohm : float
        At 20 °C.
    room_c : float

    Returns
    -------
    float
        °C: the root of ``x (A + B x) = R U²`` with x the rise and ``A + B x`` the coil's resistance.
    """
    a, b = copper_ohm(cold_ohm, room_c), cold_ohm * COPPER_PER_K
    heat = path.coil_to_room_k_w * volts_rms**2
    return room_c + 2.0 * heat / (a + math.sqrt(a**2 + 4.0 * b * heat))


def volts_rms_of(path: HeatPath, watts: float, cold_ohm: float, room_c: float) -> float:
    """Return the voltage, V rms, that keeps a coil at a power once it has settled; ``cold_ohm`` at 20 °C."""
    coil_c, _ = path.temperatures_c(watts, room_c)
    return math.sqrt(watts * copper_ohm(cold_ohm, coil_c))
