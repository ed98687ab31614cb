"""A cone's section drawn to scale, wall and all, with its measures; a plain SVG without script or style."""

from __future__ import annotations

from html import escape

import numpy as np
from markupsafe import Markup

from frusta.cone.profile import ConeProfile
from frusta.design.printability import OverhangLimit, overhang_deg

WIDTH = 372.0
"""As wide as it is shown, so that its letters keep their size."""
MARGIN = 52.0
PLACES = 81


def section_svg(profile: ConeProfile, *, label: str, limit: OverhangLimit | None = None, bed: bool = False) -> Markup:
    """Return the section of a cone, both halves, at one scale for everything.

    Parameters
    ----------
    profile : ConeProfile
    label : str
        The result in words.
    limit : OverhangLimit, optional
        Marks where along the meridian a wall printed neck down may sag or fails, and how far it leans at its flattest.
    bed : bool
        Draw the printer's bed under the neck.
    """
    u = np.linspace(0.0, 1.0, PLACES)
    radius, height = profile.meridian(u)
    lean = np.arctan(profile.slope(u))
    half = 0.5 * profile.thickness_m(u)
    scale = (WIDTH / 2 - MARGIN) / float(radius[-1])
    tall = scale * float(np.max(height) - min(0.0, np.min(height)))
    base = tall + 38.0
    middle = WIDTH / 2
    outer = (radius - half * np.sin(lean), height + half * np.cos(lean))
    inner = (radius + half * np.sin(lean), height - half * np.cos(lean))

    def place(side: float, r: float, z: float) -> str:
        return f"{middle + side * scale * r:.1f},{base - scale * z:.1f}"

    halves = []
    for side in (-1.0, 1.0):
        r = np.concatenate([outer[0], inner[0][::-1]])
        z = np.concatenate([outer[1], inner[1][::-1]])
        points = " ".join(place(side, a, b) for a, b in zip(r, z, strict=True))
        halves.append(f'<polygon class="wall" points="{points}"/>')
    marks = []
    for kind, first, last in _stretches(profile, limit):
        within = slice(round(first * (PLACES - 1)), round(last * (PLACES - 1)) + 1)
        for side in (-1.0, 1.0):
            points = " ".join(place(side, a, b) for a, b in zip(radius[within], height[within], strict=True))
            marks.append(f'<polyline class="{kind}" points="{points}"/>')
    if limit is not None:
        marks += _flattest(profile, limit, middle, base, scale)
    rim = scale * float(radius[-1])
    top = base - scale * float(height[-1])
    depth_mm, rim_mm = 1e3 * profile.depth_m, 2e3 * profile.rim_radius_m
    below = base + (26 if bed else 22)
    parts = [
        *marks,
        *halves,
        _line(middle - rim, 24, middle + rim, 24),
        _line(middle - rim, 19, middle - rim, 29),
        _line(middle + rim, 19, middle + rim, 29),
        _text(middle, 16, f"rim {rim_mm:.4g} mm", "middle"),
        _line(middle + rim + 12, top, middle + rim + 12, base),
        _text(middle + rim + 17, (top + base) / 2 + 5, f"{depth_mm:.3g}", "start"),
        _text(middle, below, f"neck {2e3 * profile.neck_radius_m:.4g} mm{', on the bed' if bed else ''}", "middle"),
    ]
    if bed:
        parts.append(
            f'<line x1="20" y1="{base + 3:.1f}" x2="{WIDTH - 20:.0f}" y2="{base + 3:.1f}" stroke="var(--ink)" '
            'stroke-width="3"/>'
        )
    return Markup(
        f'<svg class="section-drawing" viewBox="0 0 {WIDTH:.0f} {below + 8:.0f}" role="img" '
        f'aria-label="{escape(label, quote=True)}">'
        f"{''.join(parts)}</svg>"
    )


def _stretches(profile: ConeProfile, limit: OverhangLimit | None) -> list[tuple[str, float, float]]:
    """Where along the meridian a wall may sag or fails: which, from and to (0 at the neck, 1 at the rim)."""
    if limit is None:
        return []
    lean = overhang_deg(profile)[1]
    kinds = np.where(lean >= limit.failed_at_deg, 2, np.where(lean > limit.clean_to_deg + 1e-9, 1, 0))
    edges = np.flatnonzero(np.diff(kinds)) + 1
    found = []
    for first, last in zip([0, *edges.tolist()], [*edges.tolist(), kinds.size], strict=True):
        if kinds[first]:
            word = "fails" if kinds[first] == 2 else "sags"
            found.append((word, first / (kinds.size - 1), (last - 1) / (kinds.size - 1)))
    return found


def _flattest(profile: ConeProfile, limit: OverhangLimit, middle: float, base: float, scale: float) -> list[str]:
    """A mark where the wall leans furthest, with the angle and what it means."""
    radius, lean = overhang_deg(profile)
    even = float(np.ptp(lean)) < 0.1
    at = lean.size // 2 if even else int(np.argmax(lean))
    height = float(profile.meridian(np.array([at / (lean.size - 1)]))[1][0])
    x, y = middle - scale * float(radius[at]), base - scale * height
    word = (
        "fails" if lean[at] >= limit.failed_at_deg else "may sag" if lean[at] > limit.clean_to_deg + 1e-9 else "clean"
    )
    return [
        f'<circle class="spot" cx="{x:.1f}" cy="{y:.1f}" r="4.5"/>',
        _line(x, y, middle - 66, 48),
        _text(middle, 52, f"{lean[at]:.0f}° from upright", "middle", strong=True),
        _text(middle, 70, f"{'all along' if even else 'at its flattest'}: {word}", "middle"),
    ]


def _line(x1: float, y1: float, x2: float, y2: float) -> str:
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="var(--edge)" stroke-width="1.5"/>'


def _text(x: float, y: float, text: str, anchor: str, *, strong: bool = False) -> str:
    weight = ' class="strong"' if strong else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"{weight}>{escape(text)}</text>'
