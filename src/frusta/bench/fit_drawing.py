"""The drawing of a fit: what was measured as dots, what was fitted as lines, on a log frequency axis; SVG, by hand."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from frusta.bench.rig_constants import RigConstants

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class FitLook:
    """How large the drawing is, and its colours.

    Parameters
    ----------
    width, height, edge, letters : float
        Pixels.
    font : str
    titled : bool
        Whether the title stands in it.
    paper, ink, grid : str
    lines : tuple of str
        Without, and with the added mass.
    """

    width: float = 640.0
    height: float = 360.0
    edge: float = 56.0
    letters: float = 13.0
    font: str = "sans-serif"
    titled: bool = True
    paper: str = "white"
    ink: str = "black"
    grid: str = "#c9d0c3"
    lines: tuple[str, str] = ("#0072b2", "#d55e00")


PAPER = FitLook()
PAGE = FitLook(
    560.0,
    300.0,
    52.0,
    16.0,
    "inherit",
    False,
    "var(--card)",
    "var(--ink)",
    "var(--grid-2)",
    ("var(--ink)", "var(--ink)"),
)
"""For a page that names its colours, where colour belongs to materials; dashes tell the two apart."""
PHONE = replace(PAGE, width=326.0, height=280.0, edge=44.0)
_NAMES = {"impedance": ("without", "with the mass"), "sound": ("with the mass over without",)}
_TICKS_HZ = (20, 50, 100, 200, 500)


def fit_svg(found: RigConstants, look: FitLook = PAPER) -> str:
    """Return the drawing of a rig's constants: magnitude against frequency, without and with the added mass.

    Parameters
    ----------
    found : RigConstants
    look : FitLook
    """
    width, height, edge = look.width, look.height, look.edge
    everything = np.concatenate([np.abs(c.values) for c in (*found.measured, *found.fitted)])
    low, high = 0.9 * float(everything.min()), 1.1 * float(everything.max())
    first = min(float(c.frequency_hz[0]) for c in found.measured)
    last = max(float(c.frequency_hz[-1]) for c in found.measured)

    def place(frequency_hz: Floats, values: Floats) -> list[tuple[float, float]]:
        x = edge + (width - 2 * edge) * np.log(frequency_hz / first) / np.log(last / first)
        y = height - edge - (height - 2 * edge) * np.log(values / low) / np.log(high / low)
        return [(float(a), float(b)) for a, b in zip(x, y, strict=True)]

    unit = "impedance, ohm" if found.method == "impedance" else "sound, ratio"
    title = f"Fit of the rig's constants: {100 * found.misfit:.2g} % rms left"
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" role="img" '
        f'aria-label="{title}" width="{width:g}" height="{height:g}" font-family="{look.font}" '
        f'font-size="{look.letters:g}" fill="{look.ink}">',
        f'<rect width="{width:g}" height="{height:g}" fill="{look.paper}"/>',
        f'<text x="{edge:g}" y="{44 if look.titled else 20}">{unit}</text>',
    ]
    if look.titled:
        parts.append(f'<text x="{edge:g}" y="24">{title}</text>')
    ticks = [tick for tick in _TICKS_HZ if first <= tick <= last]
    for tick in ticks:
        hertz = " Hz" if tick == ticks[-1] else ""
        (x, y), _ = place(np.array([tick, tick], dtype=float), np.array([low, high]))
        parts.append(f'<path d="M{x:.1f} {y:.1f}V{edge:g}" stroke="{look.grid}"/>')
        parts.append(f'<text x="{x:.1f}" y="{y + 20:.1f}" text-anchor="middle">{tick}{hertz}</text>')
    for value in _round_values(low, high):
        (x, y), _ = place(np.array([first, last]), np.array([value, value]))
        parts.append(f'<path d="M{x:.1f} {y:.1f}H{width - edge:g}" stroke="{look.grid}"/>')
        parts.append(f'<text x="{x - 6:.1f}" y="{y + 4:.1f}" text-anchor="end">{value:g}</text>')
    peaks = [int(np.argmax(np.abs(c.values))) for c in found.measured]
    lowest = min(float(c.frequency_hz[at]) for c, at in zip(found.measured, peaks, strict=True))
    for measured, fitted, colour, name, dash in zip(
        found.measured, found.fitted, look.lines, _NAMES[found.method], ("", "8 4"), strict=False
    ):
        line = " ".join(f"{x:.1f},{y:.1f}" for x, y in place(fitted.frequency_hz, np.abs(fitted.values)))
        style = f'fill="none" stroke="{colour}" stroke-width="2" stroke-dasharray="{dash}"'
        parts.append(f'<polyline points="{line}" {style}/>')
        dots = place(measured.frequency_hz, np.abs(measured.values))
        parts += [f'<circle cx="{x:.1f}" cy="{y:.1f}" r="2.2" fill="none" stroke="{colour}"/>' for x, y in dots]
        at = int(np.argmax(np.abs(measured.values)))
        x, y = dots[at]
        outward = float(measured.frequency_hz[at]) > lowest if len(found.measured) > 1 else x < 0.5 * width
        anchor, x = ("start", x + 8.0) if outward else ("end", x - 8.0)
        parts.append(f'<text x="{x:.1f}" y="{y - 6:.1f}" text-anchor="{anchor}">{name}</text>')
    return "\n".join([*parts, "</svg>\n"])


def _round_values(low: float, high: float) -> list[float]:
    """1, 2, 5 steps within a range."""
    powers = range(int(np.floor(np.log10(low))), int(np.ceil(np.log10(high))) + 1)
    return [m * 10.0**p for p in powers for m in (1.0, 2.0, 5.0) if low <= m * 10.0**p <= high]
