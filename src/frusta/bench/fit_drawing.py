"""The drawing of a fit: what was measured as dots, what was fitted as lines, on a log frequency axis; SVG, by hand."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from frusta.bench.rig_constants import RigConstants

Floats = NDArray[np.float64]

_WIDTH, _HEIGHT, _EDGE = 640.0, 360.0, 56.0
_COLOURS = ("#0072b2", "#d55e00")
_NAMES = {"impedance": ("without", "with the added mass"), "sound": ("with the added mass over without",)}
_TICKS_HZ = (20, 50, 100, 200, 500)


def fit_svg(found: RigConstants) -> str:
    """Return the drawing of a rig's constants: magnitude against frequency, without and with the added mass.

    Parameters
    ----------
    found : RigConstants
    """
    everything = np.concatenate([np.abs(c.values) for c in (*found.measured, *found.fitted)])
    low, high = 0.9 * float(everything.min()), 1.1 * float(everything.max())
    first = min(float(c.frequency_hz[0]) for c in found.measured)
    last = max(float(c.frequency_hz[-1]) for c in found.measured)

    def place(frequency_hz: Floats, values: Floats) -> list[tuple[float, float]]:
        x = _EDGE + (_WIDTH - 2 * _EDGE) * np.log(frequency_hz / first) / np.log(last / first)
        y = _HEIGHT - _EDGE - (_HEIGHT - 2 * _EDGE) * np.log(values / low) / np.log(high / low)
        return [(float(a), float(b)) for a, b in zip(x, y, strict=True)]

    unit = "impedance, Ω" if found.method == "impedance" else "sound, ratio"
    title = f"Fit of the rig's constants: {100 * found.misfit:.2g} % rms left"
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH:g} {_HEIGHT:g}" role="img" '
        f'aria-label="{title}" font-family="sans-serif" font-size="13">',
        f'<rect width="{_WIDTH:g}" height="{_HEIGHT:g}" fill="white"/>',
        f'<text x="{_EDGE:g}" y="24">{title}</text>',
        f'<text x="{_EDGE:g}" y="44">{unit}</text>',
    ]
    for tick in _TICKS_HZ:
        if first <= tick <= last:
            (x, y), _ = place(np.array([tick, tick], dtype=float), np.array([low, high]))
            parts.append(f'<path d="M{x:.1f} {y:.1f}V{_EDGE:g}" stroke="#c9d0c3"/>')
            parts.append(f'<text x="{x:.1f}" y="{y + 18:.1f}" text-anchor="middle">{tick} Hz</text>')
    for value in _round_values(low, high):
        (x, y), _ = place(np.array([first, last]), np.array([value, value]))
        parts.append(f'<path d="M{x:.1f} {y:.1f}H{_WIDTH - _EDGE:g}" stroke="#c9d0c3"/>')
        parts.append(f'<text x="{x - 6:.1f}" y="{y + 4:.1f}" text-anchor="end">{value:g}</text>')
    for measured, fitted, colour, name, dash in zip(
        found.measured, found.fitted, _COLOURS, _NAMES[found.method], ("", "8 4"), strict=False
    ):
        line = " ".join(f"{x:.1f},{y:.1f}" for x, y in place(fitted.frequency_hz, np.abs(fitted.values)))
        style = f'fill="none" stroke="{colour}" stroke-width="2" stroke-dasharray="{dash}"'
        parts.append(f'<polyline points="{line}" {style}/>')
        dots = place(measured.frequency_hz, np.abs(measured.values))
        parts += [f'<circle cx="{x:.1f}" cy="{y:.1f}" r="2.2" fill="none" stroke="{colour}"/>' for x, y in dots]
        x, y = dots[int(np.argmax(np.abs(measured.values)))]
        parts.append(f'<text x="{x + 8:.1f}" y="{y - 6:.1f}">{name}</text>')
    return "\n".join([*parts, "</svg>\n"])


def _round_values(low: float, high: float) -> list[float]:
    """1, 2, 5 steps within a range."""
    powers = range(int(np.floor(np.log10(low))), int(np.ceil(np.log10(high))) + 1)
    return [m * 10.0**p for p in powers for m in (1.0, 2.0, 5.0) if low <= m * 10.0**p <= high]
