"""Whether the rig has moved: the check cone's level, session by session, against its first."""

from __future__ import annotations

import math
from dataclasses import dataclass
from html import escape

from markupsafe import Markup

from frusta.campaign.findings import Reading
from frusta.publish.words import NBSP, plain
from frusta.web.desk import Desk

WIDE, SLIM = 700.0, 322.0
HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 250.0, 52.0, 16.0, 26.0, 54.0
NAME_PX = 92.0
"""What the name of a session takes."""


@dataclass(frozen=True)
class CheckChart:
    """The check cone's level over the sessions.

    Attributes
    ----------
    sentence, says : str
    wide, slim : Markup
    """

    sentence: str
    says: str
    wide: Markup
    slim: Markup


def check_chart_of(desk: Desk) -> CheckChart | None:
    """Return the check cone's chart; None where no check cone was heard twice."""
    known = desk.known
    if known is None:
        return None
    order = list(known.package.sessions)
    heard = [
        r for r in known.findings.readings if r.kind == "check" and r.quality != "repeat" and r.level_db is not None
    ]
    if len(heard) < 2:
        return None
    heard.sort(key=lambda r: order.index(r.session) if r.session in order else -1)
    first = heard[0].level_db or 0.0
    points = [
        ((r.level_db or 0.0) - first, 1.96 * math.hypot(r.level_db_u or 0.0, heard[0].level_db_u or 0.0)) for r in heard
    ]
    largest = max(abs(gap) for gap, _ in points)
    far = [i for i, (gap, half) in enumerate(points) if i and abs(gap) > half]
    size = f"{plain(largest, 2 if largest < 0.095 else 1)}{NBSP}dB"
    sentence = f"The rig moved by up to {size}" if far else "The rig has not moved"
    says = (
        "The check cone, heard in every session, drifted by more than its readings are uncertain; "
        "differences take the drift out and carry its uncertainty."
        if far
        else f"The check cone stays within {size}, no more than its readings are uncertain."
    )
    wide, slim = (_svg(heard, points, sentence, width) for width in (WIDE, SLIM))
    return CheckChart(sentence, says, wide, slim)


def _svg(heard: list[Reading], points: list[tuple[float, float]], label: str, total: float) -> Markup:
    reach = max(0.25, 1.15 * max(abs(gap) + half for gap, half in points))
    step = next(s for s in (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 1e9) if reach / s <= 3)

    def y(value: float) -> float:
        return TOP + (HEIGHT - TOP - BOTTOM) * (1 - (value + reach) / (2 * reach))

    parts = [_text(LEFT - 10, 16, "dB", "end")]
    for k in range(-int(reach / step), int(reach / step) + 1):
        parts.append(_line(LEFT, y(k * step), total - RIGHT, y(k * step), "grid-2", 1.0))
        said = plain(k * step, 1 if step < 1 else 0)
        parts.append(_text(LEFT - 10, y(k * step) + 5, f"+{said}" if k > 0 else said if k else "0", "end"))
    width = (total - LEFT - RIGHT) / len(points)
    named, free_from = "", 0.0
    for i, ((gap, half), reading) in enumerate(zip(points, heard, strict=True)):
        x = LEFT + (i + 0.5) * width
        if i:
            parts.append(_line(x, y(gap - half), x, y(gap + half), "ink", 2.0))
        parts.append(f'<circle cx="{x:.1f}" cy="{y(gap):.1f}" r="5" fill="var(--ink)"/>')
        name = reading.session or ""
        if name != named and x >= free_from:
            parts.append(_text(x, HEIGHT - 22, name if len(name) <= 11 else f"{name[:10]}…", "middle"))
            free_from = x + NAME_PX
        named = name
    return Markup(
        f'<svg class="chart" viewBox="0 0 {total:.0f} {HEIGHT:.0f}" width="{total:.0f}" height="{HEIGHT:.0f}" '
        f'role="img" aria-label="{escape(label, quote=True)}">{"".join(parts)}</svg>'
    )


def _line(x1: float, y1: float, x2: float, y2: float, colour: str, width: float) -> str:
    ends = f'x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"'
    return f'<line {ends} stroke="var(--{colour})" stroke-width="{width:g}"/>'


def _text(x: float, y: float, text: str, anchor: str) -> str:
    return f'<text class="t" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(text)}</text>'
