"""Charts drawn at once are the charts of the report.

Oracle: the other renderer of the same specification: every text, line and path of both, in order, at the same place (to
a tenth of a pixel), of the same colour and thickness.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest

from frusta.publish import render
from frusta.publish.charts import Curve, decay_chart, distortion_chart, response_chart
from frusta.publish.charts.forecast import forecast_chart
from frusta.publish.direct_svg import chart_svg
from frusta.publish.theme import Style

HZ = 1000 * 2 ** (np.arange(-232, 415) / 96)
KEPT = ("fill", "stroke", "stroke-width", "stroke-dasharray", "stroke-linecap", "font-size", "font-weight", "opacity")


def curve(name: str, colour: str, shift: float, *, dash: tuple[float, ...] = ()) -> Curve:
    level = 80.0 + shift + 6.0 * np.sin(HZ / 2500.0) - 14.0 * np.clip(np.log10(HZ / 9000.0), 0.0, None)
    return Curve(name, Style(colour, dash, "circle"), HZ, level, anchor=3950.0, detail="(3.9 to 4.0)")


def forecast(width: float, **more: Any) -> dict[str, Any]:
    low, high, rigid = (curve("", "m2", s) for s in (-1.2, 1.2, -3.0))
    expected = curve("4 < 5 & 6", "m2", 0.0, dash=(12, 4))
    return forecast_chart(expected, low, high, description="d", rigid=rigid, total_width=width, **more)


def broken() -> dict[str, Any]:
    y = np.where((HZ > 700) & (HZ < 900), np.nan, 75.0 + HZ / 4000)
    line = Curve("One", Style("m1", (7, 3), "circle"), HZ, y, anchor=2000.0)
    return response_chart([line], description="d", band_hz=(300.0, 6000.0), read_hz=(250.0, 15000.0), relative=True)


SPECS = {
    "forecast": forecast(740.0, band_hz=(300.0, 6000.0)),
    "forecast, phone": forecast(358.0, relative=True),
    "broken": broken(),
    "distortion": distortion_chart(
        [Curve("One", Style("m3", (), "circle"), HZ, 0.1 + HZ / 1e5, anchor=1e3)], description="d"
    ),
}


def items(svg: str) -> Iterator[tuple[str, list[float], dict[str, str], str]]:
    """Everything drawn: kind, absolute coordinates, style, text."""

    def walk(node: ElementTree.Element, x: float, y: float) -> Iterator[tuple[str, list[float], dict[str, str], str]]:
        moved = re.search(r"translate\(([-\d.]+),([-\d.]+)\)", node.get("transform", ""))
        if moved:
            x, y = x + float(moved[1]), y + float(moved[2])
        kind = node.tag.rpartition("}")[2]
        style = {name: value for name in KEPT if (value := node.get(name)) is not None}
        if kind == "text":
            at = [x + float(node.get("x", "0")), y + float(node.get("y", "0"))]
            yield kind, at, {**style, "anchor": node.get("text-anchor", "")}, node.text or ""
        elif kind == "line":
            ends = [float(node.get(n, "0")) + (x if n[0] == "x" else y) for n in ("x1", "y1", "x2", "y2")]
            points = sorted([(ends[0], ends[1]), (ends[2], ends[3])])
            yield kind, [v for point in points for v in point], style, ""
        elif kind == "rect" and node.get("fill"):
            left, top = x + float(node.get("x", "0")), y + float(node.get("y", "0"))
            yield (
                "rect",
                [left, top, left + float(node.get("width", "0")), top + float(node.get("height", "0"))],
                style,
                "",
            )
        elif kind == "path" and (style.get("fill") or style.get("stroke")):
            box = re.fullmatch(r"M([-\d.]+),([-\d.]+)h([-\d.]+)v([-\d.]+)h[-\d.]+Z", node.get("d", ""))
            if box:
                a, b, wide, tall = map(float, box.groups())
                yield "rect", [x + a, y + b, x + a + wide, y + b + tall], style, ""
                return
            numbers = [float(v) for v in re.findall(r"-?\d+\.?\d*(?:e-?\d+)?", node.get("d", ""))]
            moved_by = [v + (x if i % 2 == 0 else y) for i, v in enumerate(numbers)]
            shape = f"{style.get('stroke', '')}{node.get('d', '').count('M')}"
            yield kind, moved_by, style, shape
        if kind != "clipPath":
            for child in node:
                yield from walk(child, x, y)

    return walk(ElementTree.fromstring(svg.replace("var(--", "var(")), 0.0, 0.0)


def normal(style: dict[str, str]) -> dict[str, str]:
    """Style without what says nothing: full opacity, no dash."""
    dull = {"opacity": "1", "stroke-linecap": "butt"}
    told = {k: v for k, v in style.items() if dull.get(k) != v and not (k == "opacity" and float(v) == 1.0)}
    if "stroke-dasharray" in told:
        told["stroke-dasharray"] = ",".join(f"{float(v):g}" for v in re.split("[ ,]+", told["stroke-dasharray"]))
    if "stroke-width" in told:
        told["stroke-width"] = f"{float(told['stroke-width']):g}"
    return told


@pytest.mark.parametrize("name", SPECS)
def test_both_renderers_draw_the_same(name: str):
    spec = SPECS[name]
    expected = list(items(render.inline_svg(render.raw_svg(spec), label="a <b>", key="k")))
    told = list(items(chart_svg(spec, label="a <b>", key="k")))
    assert len(told) > 20
    assert [(kind, text) for kind, _, _, text in told] == [(kind, text) for kind, _, _, text in expected]
    for (kind, at, style, text), (_, wanted, wanted_style, _) in zip(told, expected, strict=True):
        assert normal(style) == normal(wanted_style), (kind, text)
        np.testing.assert_allclose(at, wanted, atol=0.151, err_msg=f"{kind} {text}")


def test_a_chart_of_other_marks_goes_to_the_other_renderer():
    time_ms = np.arange(0.0, 6.0, 0.02)
    line = Curve("One", Style("m1", (), "circle"), time_ms, 100 * np.exp(-time_ms), anchor=3.9)
    spec = decay_chart([line], description="d")
    assert any(layer["mark"]["type"] == "point" for layer in spec["layer"])
    assert chart_svg(spec, label="a", key="k") == render.inline_svg(render.raw_svg(spec), label="a", key="k")
