"""Whether the rig has moved: the check cone's level, session by session, against its first."""

from __future__ import annotations

import math
from dataclasses import dataclass
from html import escape

from markupsafe import Markup

from frusta.campaign.findings import Reading
from frusta.publish.words import NBSP, plain
from frusta.web.desk import Desk

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 620.0, 250.0, 64.0, 24.0, 26.0, 54.0


@dataclass(frozen=True)
class CheckChart:
    """The check cone's level over the sessions.

    Attributes
    ----------
    sentence, says : str
    svg : Markup
    """

    sentence: str
    says: str
    svg: Markup


def check_chart_of(desk: Desk) -> CheckChart | None:
    """Return the check cone's chart; None where no check cone was heard twice."""
    known = desk.known
    if known is None:
        return None
    order = list(known.package.sessions)
    heard = [r for r in known.findings.readings if r.kind == "check" and r.quality != "repeat" and r.level_db is not None]
    if len(heard) < 2:
        return None
    heard.sort(key=lambda r: order.index(r.session) if r.session in order else -1)
    first = heard[0].level_db or 0.0
    points = [((r.level_db or 0.0) - first, 1.96 * math.hypot(r.level_db_u or 0.0, heard[0].level_db_u or 0.0)) for r in heard]
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
    return CheckChart(sentence, says, _svg(heard, points, sentence))


def _svg(heard: list[Reading], points: list[tuple[float, float]], label: str) -> Markup:
    reach = max(0.25, 1.15 * max(abs(gap) + half for gap, half in points))
    step = next(s for s in (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 1e9) if reach / s <= 3)

    def y(value: float) -> float:
        return TOP + (HEIGHT - TOP - BOTTOM) * (1 - (value + reach) / (2 * reach))

    parts = []
    ticks = range(-int(reach / step), int(reach / step) + 1)
    for k in ticks:
        value = k * step
        parts.append(
            f'<line x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y(value):.1f}" y2="{y(value):.1f}" stroke="var(--grid-2)"/>'
            f'<text class="t" x="{LEFT - 10}" y="{y(value) + 5:.1f}" text-anchor="end">{"+" if k > 0 else ""}{plain(value, 1 if step < 1 else 0) if k else "0"}</text>'
        )
    parts.append(f'<text class="t u" x="{LEFT - 10}" y="16" text-anchor="end">dB</text>')
    width = (WIDTH - LEFT - RIGHT) / len(points)
    said = ""
    for i, ((gap, half), reading) in enumerate(zip(points, heard, strict=True)):
        x = LEFT + (i + 0.5) * width
        if i:
            parts.append(
                f'<line x1="{x:.1f}" x2="{x:.1f}" y1="{y(gap - half):.1f}" y2="{y(gap + half):.1f}" stroke="var(--ink)" stroke-width="2"/>'
            )
        parts.append(f'<circle cx="{x:.1f}" cy="{y(gap):.1f}" r="5" fill="var(--ink)" stroke="var(--card)" stroke-width="1.2"/>')
        name = reading.session or ""
        if name != said and (width > 60 or name != said):
            parts.append(f'<text class="t" x="{x:.1f}" y="{HEIGHT - 22}" text-anchor="middle">{escape(name[:10])}</text>')
        said = name
    return Markup(
        f'<svg class="chart" viewBox="0 0 {WIDTH:.0f} {HEIGHT:.0f}" width="{WIDTH:.0f}" height="{HEIGHT:.0f}" role="img" '
        f'aria-label="{escape(label, quote=True)}">{"".join(parts)}</svg>'
    )
