"""A chart as SVG in a few milliseconds, for pictures that follow a slider.

It reads the same specification as the renderer of the report and writes the same picture, but knows only the marks that
a chart of curves is built from (`frusta.publish.charts.frame.Layers`).
"""

from __future__ import annotations

import html
import math
from collections.abc import Callable, Mapping
from typing import Any

from frusta.publish.render import inline_svg, raw_svg
from frusta.publish.theme import LIGHT

Values = Mapping[str, Any]
_VARIABLES = {colour.lower(): f"var(--{name})" for name, colour in reversed(tuple(LIGHT.items()))}
_ANCHORS = {"left": "start", "center": "middle", "right": "end"}
_BASELINES = {"middle": 0.30, "top": 0.79, "alphabetic": 0.0}
"""How far below its place a text's line lies, in parts of its size; as Vega has it."""
_STROKES = {
    "strokeWidth": "stroke-width",
    "strokeDash": "stroke-dasharray",
    "strokeCap": "stroke-linecap",
    "strokeJoin": "stroke-linejoin",
    "opacity": "opacity",
}
_KNOWN = {"type", "color", "clip", "invalid", "align", "baseline", "fontSize", "fontWeight", "stroke", *_STROKES}


def chart_svg(spec: Mapping[str, Any], *, label: str, key: str) -> str:
    """Return a chart of curves as an ``svg`` element of the page, as `frusta.publish.render.inline_svg` does.

    Parameters
    ----------
    spec : mapping
        A Vega-Lite specification made by `frusta.publish.charts`, in the light scheme; one that holds other marks goes
        to the other renderer.
    label : str
        The result in words.
    key : str
        Unique in the page.
    """
    layers = spec["layer"]
    if not all(_is_known(layer) for layer in layers):
        return inline_svg(raw_svg(dict(spec)), label=label, key=key)
    frame, room = spec["usermeta"]["frusta"], spec["padding"]
    width, height = frame["width"], frame["height"]
    places = _Places(frame)
    body = "".join(_DRAW[layer["mark"]["type"]](layer, places, f"url(#{key}-clip)") for layer in layers)
    total = (_n(width + room["left"] + room["right"]), _n(height + room["top"] + room["bottom"]))
    return (
        f'<svg class="chart" viewBox="0 0 {total[0]} {total[1]}" width="{total[0]}" height="{total[1]}" role="img" '
        f'aria-label="{html.escape(label, quote=True)}"><defs><clipPath id="{key}-clip"><rect width="{_n(width)}" '
        f'height="{_n(height)}"/></clipPath></defs><g fill="none" stroke-miterlimit="10" '
        f'transform="translate({_n(room["left"])},{_n(room["top"])})">{body}</g></svg>'
    )


class _Places:
    """Where values of a frame lie, px."""

    def __init__(self, frame: Values) -> None:
        self.width, self.height = float(frame["width"]), float(frame["height"])
        self.x = _scale(frame["x"], 0.0, self.width, frame["x_log"])
        self.y = _scale(frame["y"], self.height, 0.0, frame["y_log"])

    def of(self, channel: str, encoding: Values, row: Values) -> float | None:
        """Place of a row on a channel (x, x2, y, y2), or None where it has none."""
        told = encoding.get(channel)
        if told is None:
            return None
        if "value" in told:
            return float(told["value"])
        value = row.get(told["field"])
        return None if value is None else (self.x if channel[0] == "x" else self.y)(value)


def _scale(domain: tuple[float, float], begin: float, end: float, logarithmic: bool) -> Callable[[float], float]:
    low, high = (math.log(v) for v in domain) if logarithmic else domain
    slope = (end - begin) / (high - low)
    if logarithmic:
        return lambda value: begin + slope * (math.log(value) - low) if value > 0 else math.nan
    return lambda value: begin + slope * (value - low)


def _is_known(layer: Values) -> bool:
    mark = layer["mark"]
    return mark["type"] in _DRAW and set(mark) <= _KNOWN


def _rect(layer: Values, places: _Places, clip: str) -> str:
    mark, encoding = layer["mark"], layer["encoding"]
    parts = []
    for row in layer["data"]["values"]:
        x, x2, y, y2 = (places.of(channel, encoding, row) or 0.0 for channel in ("x", "x2", "y", "y2"))
        parts.append(
            f'<rect x="{_n(min(x, x2))}" y="{_n(min(y, y2))}" width="{_n(abs(x2 - x))}" height="{_n(abs(y2 - y))}" '
            f'fill="{_colour(mark["color"])}"{_strokes(mark)}/>'
        )
    return "".join(parts)


def _rule(layer: Values, places: _Places, clip: str) -> str:
    mark, encoding = layer["mark"], layer["encoding"]
    style = f'stroke="{_colour(mark["color"])}"{_strokes(mark)}'
    parts = []
    for row in layer["data"]["values"]:
        x, x2, y, y2 = (places.of(channel, encoding, row) for channel in ("x", "x2", "y", "y2"))
        if x is None:  # from edge to edge
            x, x2 = 0.0, places.width
        if y is None:
            y, y2 = 0.0, places.height
        ends = f'x1="{_n(x)}" y1="{_n(y)}" x2="{_n(x if x2 is None else x2)}" y2="{_n(y if y2 is None else y2)}"'
        parts.append(f"<line {ends} {style}/>")
    return "".join(parts)


def _text(layer: Values, places: _Places, clip: str) -> str:
    mark, encoding = layer["mark"], layer["encoding"]
    size = mark["fontSize"]
    down = _half_up(_BASELINES[mark.get("baseline", "alphabetic")] * size)
    weight = f' font-weight="{mark["fontWeight"]}"' if "fontWeight" in mark else ""
    stroke = f' stroke="{_colour(mark["stroke"])}"' if "stroke" in mark else ""
    anchor = _ANCHORS[mark.get("align", "left")]
    parts = []
    for row in layer["data"]["values"]:
        told = encoding["text"]
        text = str(told["value"] if "value" in told else row[told["field"]])
        x, y = (places.of(channel, encoding, row) or 0.0 for channel in ("x", "y"))
        parts.append(
            f'<text text-anchor="{anchor}" x="{_n(x)}" y="{_n(y + down)}" font-size="{size}px"{weight} '
            f'fill="{_colour(mark["color"])}"{stroke}{_strokes(mark)}>{html.escape(text, quote=False)}</text>'
        )
    return "".join(parts)


def _line(layer: Values, places: _Places, clip: str) -> str:
    mark, encoding = layer["mark"], layer["encoding"]
    x_field, y_field = encoding["x"]["field"], encoding["y"]["field"]
    path, pen = [], "M"
    for row in layer["data"]["values"]:
        if row[y_field] is None:
            pen = "M"
            continue
        path.append(f"{pen}{_n(places.x(row[x_field]))},{_n(places.y(row[y_field]))}")
        pen = "L"
    join = "" if "strokeJoin" in mark else ' stroke-linejoin="round"'
    return (
        f'<g clip-path="{clip}"><path d="{"".join(path)}" stroke="{_colour(mark["color"])}"{_strokes(mark)}{join}/></g>'
    )


def _area(layer: Values, places: _Places, clip: str) -> str:
    mark, encoding = layer["mark"], layer["encoding"]
    x_field, y_field, y2_field = (encoding[channel]["field"] for channel in ("x", "y", "y2"))
    rows = layer["data"]["values"]
    x = [_n(places.x(row[x_field])) for row in rows]
    there = [f"{a},{_n(places.y(row[y_field]))}" for a, row in zip(x, rows, strict=True)]
    back = [f"{a},{_n(places.y(row[y2_field]))}" for a, row in zip(x, rows, strict=True)][::-1]
    style = f'fill="{_colour(mark["color"])}"{_strokes(mark)}'
    return f'<g clip-path="{clip}"><path d="M{"L".join(there + back)}Z" {style}/></g>'


_DRAW: dict[str, Callable[[Values, _Places, str], str]] = {
    "rect": _rect,
    "rule": _rule,
    "text": _text,
    "line": _line,
    "area": _area,
}


def _strokes(mark: Values) -> str:
    found = []
    for name, attribute in _STROKES.items():
        value = mark.get(name)
        if value is not None:
            text = ",".join(f"{v:g}" for v in value) if isinstance(value, list) else f"{value}"
            found.append(f' {attribute}="{text}"')
    return "".join(found)


def _colour(colour: str) -> str:
    return _VARIABLES.get(colour.lower(), colour)


def _n(value: float) -> str:
    """A coordinate to a tenth of a pixel."""
    text = f"{value:.1f}"
    return text[:-2] if text.endswith(".0") else text


def _half_up(value: float) -> int:
    return math.floor(value + 0.5)
