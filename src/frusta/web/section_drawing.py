"""A cone's section drawn to scale, wall and all, with its measures; a plain SVG without script or style."""

from __future__ import annotations

from html import escape

import numpy as np
from markupsafe import Markup

from frusta.cone.profile import ConeProfile

WIDTH = 440.0
MARGIN = 46.0


def section_svg(profile: ConeProfile, *, label: str, flattest: str = "", bed: bool = False) -> Markup:
    """Return the section of a cone, both halves, at one scale for everything.

    Parameters
    ----------
    profile : ConeProfile
    label : str
        The result in words.
    flattest : str
        What to write inside the cone; empty for nothing.
    bed : bool
        Draw the printer's bed under the neck.
    """
    u = np.linspace(0.0, 1.0, 41)
    radius, height = profile.meridian(u)
    lean = np.arctan(profile.slope(u))
    half = 0.5 * profile.thickness_m(u)
    scale = (WIDTH / 2 - MARGIN) / float(radius[-1])
    outer = (radius - half * np.sin(lean), height + half * np.cos(lean))
    inner = (radius + half * np.sin(lean), height - half * np.cos(lean))
    tall = scale * float(np.max(height) - min(0.0, np.min(height)))
    base = tall + 34.0
    middle = WIDTH / 2
    halves = []
    for side in (-1.0, 1.0):
        r = np.concatenate([outer[0], inner[0][::-1]])
        z = np.concatenate([outer[1], inner[1][::-1]])
        points = " ".join(f"{middle + side * scale * a:.1f},{base - scale * b:.1f}" for a, b in zip(r, z, strict=True))
        halves.append(f'<polygon class="wall" points="{points}"/>')
    rim = scale * float(radius[-1])
    top = base - scale * float(height[-1])
    depth_mm, rim_mm = 1e3 * profile.depth_m, 2e3 * profile.rim_radius_m
    parts = [
        *halves,
        _line(middle - rim, 14, middle + rim, 14),
        _line(middle - rim, 9, middle - rim, 19),
        _line(middle + rim, 9, middle + rim, 19),
        _text(middle, 10, f"rim {rim_mm:.4g} mm", "middle", lift=True),
        _line(middle + rim + 14, top, middle + rim + 14, base),
        _text(middle + rim + 20, (top + base) / 2 + 5, f"{depth_mm:.3g}", "start"),
        _text(middle, base + 20, f"neck {2e3 * profile.neck_radius_m:.4g} mm", "middle"),
    ]
    if bed:
        parts.append(
            f'<line x1="20" y1="{base + 2:.1f}" x2="{WIDTH - 20:.0f}" y2="{base + 2:.1f}" stroke="var(--ink)" '
            'stroke-width="3"/>'
        )
    if flattest:
        parts.append(_text(middle, max(base - 10, 60), flattest, "middle"))
    total = base + 28
    return Markup(
        f'<svg class="section-drawing" viewBox="0 0 {WIDTH:.0f} {total:.0f}" role="img" '
        f'aria-label="{escape(label, quote=True)}">'
        f"{''.join(parts)}</svg>"
    )


def _line(x1: float, y1: float, x2: float, y2: float) -> str:
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="var(--edge)" stroke-width="1.5"/>'


def _text(x: float, y: float, text: str, anchor: str, *, lift: bool = False) -> str:
    y = y if not lift else y + 22
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(text)}</text>'
