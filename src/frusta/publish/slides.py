"""Drawings as 16:9 pictures with large type, for showing to a room."""

from __future__ import annotations

import re
from html import escape
from pathlib import Path

from frusta.publish import render
from frusta.publish.charts.frame import text_width
from frusta.publish.drawings.drawing import Drawing
from frusta.publish.page import Report
from frusta.publish.theme import FONT, LIGHT

WIDTH, HEIGHT, MARGIN = 1600, 900, 60
TITLE_PX = 46.0


def write_slides(folder: Path, report: Report) -> None:
    """Write every large drawing of a report as ``KEY.svg`` and ``KEY.png``, 1600 by 900.

    Parameters
    ----------
    folder : Path
        Is made.
    report : Report
    """
    folder.mkdir()
    for drawings in report.drawings.values():
        for drawing in drawings:
            svg = slide_svg(drawing)
            (folder / f"{drawing.key}.svg").write_bytes(render.standalone_svg(svg).encode("utf-8"))
            (folder / f"{drawing.key}.png").write_bytes(render.png(svg, scale=1.0))


def slide_svg(drawing: Drawing) -> str:
    """Return a drawing on a 16:9 ground, as large as fits, with its result in words above."""
    inner = render.raw_svg(drawing.make(min(drawing.wide, 460), "light"))
    box = re.search(r'viewBox="([^"]+)"', inner)
    width, height = (float(v) for v in (box[1] if box else "0 0 620 400").split()[2:4])
    lines = _lines(drawing.label)
    top = MARGIN + 54 * len(lines) + 10
    scale = min((WIDTH - 2 * MARGIN) / width, (HEIGHT - top - MARGIN / 2) / height)
    left = (WIDTH - scale * width) / 2
    body = inner[inner.index(">", inner.index("<svg")) + 1 : inner.rindex("</svg>")]
    title = "".join(
        f'<text x="{MARGIN}" y="{MARGIN + 40 + 54 * row}" font-family="{FONT}" font-size="{TITLE_PX:.0f}" '
        f'font-weight="700" fill="{LIGHT["ink"]}">{escape(line)}</text>'
        for row, line in enumerate(lines)
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" '
        f'width="{WIDTH}" height="{HEIGHT}"><rect width="{WIDTH}" height="{HEIGHT}" fill="{LIGHT["card"]}"/>{title}'
        f'<g transform="translate({left:.1f},{top:.1f}) scale({scale:.4f})">{body}</g></svg>'
    )


def _lines(label: str) -> list[str]:
    """The first two sentences of a result, on two lines at most."""
    words = label.split()
    lines = [""]
    for word in words:
        longer = f"{lines[-1]} {word}".strip()
        if text_width(longer, TITLE_PX, bold=True) <= WIDTH - 2 * MARGIN:
            lines[-1] = longer
        elif len(lines) == 2:
            lines[-1] += " …"
            break
        else:
            lines.append(word)
    return lines
