"""Charts of the report, drawn for the page: a wide and a narrow picture, values to read off, the table behind."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from frusta.publish.charts import Curve
from frusta.publish.drawings.drawing import NARROW_PX, Drawing
from frusta.publish.table import TableOf
from frusta.web.desk import Desk


@dataclass(frozen=True)
class Drawn:
    """A chart for the template.

    Attributes
    ----------
    key, heading : str
    glyph : tuple or None
    wide, narrow : Markup
    data : Markup
        JSON of the curves, for reading values off; empty where there is nothing to read.
    table : TableOf or None
    label : str
    """

    key: str
    heading: str
    glyph: tuple[str, str, str] | None
    wide: Markup
    narrow: Markup
    data: Markup
    table: TableOf | None
    label: str


def drawn(desk: Desk, drawing: Drawing, *depends: str) -> Drawn:
    """Return a drawing, rendered once.

    Parameters
    ----------
    desk : Desk
    drawing : Drawing
    *depends : str
        What it depends on beside the findings and its key.
    """
    key = (drawing.key, *depends)
    wide = desk.picture(key, lambda: drawing.make(drawing.wide, "light"), drawing.label, drawing.key)
    frames, narrow = [wide.frame], ""
    if drawing.narrow:
        slim = desk.picture(
            (*key, "slim"), lambda: drawing.make(NARROW_PX, "light"), drawing.label, f"{drawing.key}-slim"
        )
        frames.append(slim.frame)
        narrow = slim.svg
    data = ""
    if drawing.series:
        data = safe_json({"units": drawing.units, "frames": frames, "series": drawing.series})
    return Drawn(
        drawing.key, drawing.heading, drawing.glyph, Markup(wide.svg), Markup(narrow), Markup(data), drawing.table,
        drawing.label,
    )  # fmt: skip


def series_of(
    lines: Sequence[Curve], digits: int, *, step: int = 2, rigid: Curve | None = None
) -> list[dict[str, Any]]:
    """Return every ``step``-th point of curves, rounded, for reading off."""
    named = [(line.name, line.style.colour, line) for line in lines]
    if rigid is not None:
        named.append(("rigid cone", "rigid", rigid))
    found = []
    for name, colour, line in named:
        x, y = line.x[::step], line.y[::step]
        found.append(
            {
                "name": name,
                "colour": colour,
                "x": [float(f"{v:.4g}") for v in x],
                "y": [round(float(v), digits) if v == v else None for v in y],
            }
        )
    return found


def safe_json(value: Any) -> str:
    """Return JSON that cannot end the element it stands in."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
