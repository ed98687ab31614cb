"""The reflection-free time told as a distance: what to move, and how far, for a millisecond more."""

from __future__ import annotations

import math

from frusta.signal.gate import Gate

WANTED_S = 0.005
"""Modes need 3 to 5 ms without reflections."""


def room_lines(gate: Gate | None, microphone_distance_m: float, sound_speed_m_s: float = 343.2) -> tuple[str, ...]:
    """Return the reflection-free time in words.

    Parameters
    ----------
    gate : Gate or None
        Of a take.
    microphone_distance_m : float
        From the plane of the rim.
    sound_speed_m_s : float

    Returns
    -------
    tuple of str
        What is free, and if it is short, how far the surface must go. The surface is taken to lie beside the middle
        of the way from cone to microphone, the nearest place that such a detour can have: a surface further off
        needs less.

    Examples
    --------
    >>> room_lines(Gate(0.0, 0.0031, 0.0032, -14.0, 1.06), 0.15)[0]
    'free of reflections for 3.1 ms: what echoes stands about 62 cm away'
    """
    if gate is None:
        return ()
    if gate.reflection_s is None:
        return (f"free of reflections for {1e3 * gate.length_s:.1f} ms or more",)
    away = _distance_m(gate.reflection_s, microphone_distance_m, sound_speed_m_s)
    first = f"free of reflections for {1e3 * gate.length_s:.1f} ms: what echoes stands about {100 * away:.0f} cm away"
    if gate.length_s >= WANTED_S:
        return (first,)
    more = _distance_m(gate.reflection_s + 1e-3, microphone_distance_m, sound_speed_m_s) - away
    wanted = _distance_m(WANTED_S, microphone_distance_m, sound_speed_m_s) - away
    return (
        first,
        f"move {math.ceil(100 * more - 1e-9):.0f} cm away from it for 1 ms more, "
        f"{math.ceil(100 * wanted - 1e-9):.0f} cm for {1e3 * WANTED_S:.0f} ms",
    )


def _distance_m(delay_s: float, direct_m: float, speed: float) -> float:
    """Distance of a parallel surface whose mirrored path is longer than the direct one by ``delay_s``."""
    path = direct_m + delay_s * speed
    return 0.5 * math.sqrt(max(path**2 - direct_m**2, 0.0))
