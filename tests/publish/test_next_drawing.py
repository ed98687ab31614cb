"""The trade-off drawn: every cone has its mark at its place, names lie on no other name, bounds are the data's.

Oracle: the specification itself.
"""

from __future__ import annotations

import json

import pytest

from frusta.publish import render
from frusta.publish.charts.frame import text_width
from frusta.publish.charts.trade_off import Axis, Spot, trade_off_chart
from frusta.publish.theme import LABEL_PX, Style

FIRST, SECOND = Style("m1", (), "square"), Style("m2", (), "circle")
TRIED = [Spot(2000.0 + 37 * i, 12.0 + (i * 7 % 11) / 3, (FIRST, SECOND)[i % 2]) for i in range(40)]
ANSWERS = [
    Spot(2500.0, 12.5, FIRST, "1 Fir", (2450.0, 2550.0), (12.2, 12.9)),
    Spot(2510.0, 12.52, SECOND, "2 Ash"),
]
EXISTING = [Spot(2200.0, 14.0, FIRST, "Fir, st80")]
X, Y = Axis("moves as one piece up to, Hz", True, True), Axis("unevenness, ± dB", False, False)


def texts(spec: dict) -> list[str]:  # type: ignore[type-arg]
    return [
        layer["encoding"]["text"]["value"]
        for layer in spec["layer"]
        if isinstance(layer["encoding"].get("text"), dict) and "value" in layer["encoding"]["text"]
    ]


def test_every_cone_is_drawn_and_named_once_its_place_is_free() -> None:
    spec = trade_off_chart(TRIED, ANSWERS, EXISTING, X, Y, description="Fir plays on.")
    points = [row for layer in spec["layer"] if layer["mark"]["type"] == "point" for row in layer["data"]["values"]]
    assert len(points) == len(TRIED) + len(ANSWERS) + len(EXISTING)
    assert {(row["x"], row["y"]) for row in points} == {(s.x, s.y) for s in (*TRIED, *ANSWERS, *EXISTING)}
    assert {"1 Fir", "2 Ash", "Fir, st80"} <= set(texts(spec))
    assert "moves as one piece up to, Hz (better to the right)" in texts(spec)
    assert "unevenness, ± dB (better below)" in texts(spec)
    low, high = spec["usermeta"]["frusta"]["x"]
    assert low < 2000.0 < 3443.0 < high
    boxes = {
        layer["encoding"]["text"]["value"]: (layer["encoding"]["x"]["value"], layer["encoding"]["y"]["value"])
        for layer in spec["layer"]
        if layer["encoding"].get("text", {}).get("value") in ("1 Fir", "2 Ash")
    }
    (x1, y1), (x2, y2) = boxes["1 Fir"], boxes["2 Ash"]
    assert abs(y1 - y2) >= 17.0 or abs(x1 - x2) > text_width("2 Ash", LABEL_PX, bold=True)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_renders_and_alike_every_time(scheme: str) -> None:
    spec = trade_off_chart(TRIED, ANSWERS, EXISTING, X, Y, description="Fir plays on.", scheme=scheme)
    assert json.dumps(spec) == json.dumps(
        trade_off_chart(TRIED, ANSWERS, EXISTING, X, Y, description="Fir plays on.", scheme=scheme)
    )
    svg = render.raw_svg(spec)
    assert svg.startswith("<svg")
    assert "1 Fir" in svg


def test_one_cone_alone_has_an_axis_too() -> None:
    spec = trade_off_chart([], ANSWERS[:1], [], Axis("mass, g", False, False), Y, description="One.")
    low, high = spec["usermeta"]["frusta"]["x"]
    assert low < 2500.0 < high
