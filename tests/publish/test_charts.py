"""The charts, as drawn: geometry measured in the SVG, not in the specification."""

from __future__ import annotations

import math
import re
from itertools import pairwise

import numpy as np
import pytest

from frusta.publish import render, theme
from frusta.publish.charts import (
    Curve,
    RankRow,
    StripRow,
    decay_chart,
    distortion_chart,
    ranking_chart,
    response_chart,
    shared_windows,
    strips_chart,
)
from frusta.publish.charts.frequency_axis import frequency_grid, frequency_labels, frequency_span
from frusta.publish.charts.ranking import tied_runs

STYLES = list(theme.group_styles([("a", ""), ("b", ""), ("c", ""), ("d", "")]).values())


def line(name: str, place: int, peak_hz: float) -> Curve:
    x = 1000 * 2 ** (np.arange(-230, 420) / 48)
    y = 85 + 15 / (1 + (40 * np.log2(x / peak_hz)) ** 2)
    return Curve(name, STYLES[place], x, y, anchor=peak_hz)


@pytest.mark.parametrize("width", [700.0, 500.0, 358.0])
def test_twenty_five_decibels_are_as_long_as_one_decade(width):
    """Oracle: IEC 60263, as the list of checks gives it; measured between grid lines of the drawing."""
    svg = render.raw_svg(response_chart([line("Rook", 0, 4000.0)], description="", total_width=width))
    upright = sorted({float(x) for x in re.findall(r'translate\(([\d.]+),0\)" x2="0" y2="[1-9][\d.]*"', svg)})
    level = sorted({float(y) for y in re.findall(r'translate\([\d.]+,([\d.]+)\)" x2="-\d{3}[\d.]*" y2="0"', svg)})
    ten_db = np.diff(level)
    assert len(level) >= 4
    assert np.ptp(ten_db) < 0.3
    decade = (upright[-1] - upright[0]) / math.log10(20000 / 200)
    assert decade / 25 == pytest.approx(float(np.mean(ten_db)) / 10, rel=0.005)


def test_distortion_obeys_the_same_scale():
    spec = distortion_chart([line("Rook", 0, 900.0)], description="", total_width=700)
    frame = spec["usermeta"]["frusta"]
    decibels = 20 * math.log10(frame["y"][1] / frame["y"][0])
    decades = math.log10(frame["x"][1] / frame["x"][0])
    assert frame["height"] / decibels * 25 == pytest.approx(frame["width"] / decades, rel=1e-4)


def test_lines_stand_at_one_to_nine_and_ticks_carry_their_unit():
    grid = frequency_grid(200, 20000)
    assert list(grid) == [*range(200, 1000, 100), *range(1000, 10000, 1000), 10000, 20000]
    assert [v for v, strong in grid.items() if strong] == [200, 500, 1000, 2000, 5000, 10000, 20000]
    assert list(frequency_labels(200, 20000).values()) == [
        "200\u00a0Hz", "500", "1\u00a0kHz", "2", "5", "10", "20\u00a0kHz",
    ]  # fmt: skip


def test_the_axis_grows_with_the_band():
    assert frequency_span(None, None) == (200, 20000)
    assert frequency_span((60, 900), 20000) == (50, 20000)


def test_no_text_is_smaller_than_15_px_and_every_name_is_there():
    curves = [line(name, k, 2500.0 * 1.2**k) for k, name in enumerate(("Rook", "Flint", "Marram", "Sedge"))]
    rows = [StripRow("Rook", "3.96 kHz", "3.88 to 4.04", STYLES[0], (3900.0, 4000.0), 3950.0, 3880.0, 4040.0)]
    rank = [RankRow("Rook", "79 points (73 to 84)", STYLES[0], 79.0, 73.0, 84.0, 1, 2)]
    specs = []
    for width in (700.0, 358.0):
        specs += [
            response_chart(curves, description="", band_hz=(300, 3000), read_hz=(300, 15000), total_width=width),
            distortion_chart(curves, description="", stop_hz=16000, total_width=width),
            decay_chart(curves, description="", echo_ms=5.0, total_width=width, end_ms=6.0),
            ranking_chart(rank, description="", total_width=width),
        ]
    specs.append(strips_chart(rows, description="", unit="Hz", window=shared_windows([rows], logarithmic=True)[0]))
    for spec in specs:
        svg = render.raw_svg(spec)
        sizes = {float(s) for s in re.findall(r'font-size="([\d.]+)px"', svg)}
        assert sizes
        assert min(sizes) >= 15
    for name in ("Rook", "Flint", "Marram", "Sedge"):
        assert f">{name}<" in render.raw_svg(specs[0])


@pytest.mark.parametrize("names", [("Rook", "Flint", "Marram", "Sedge"), ("A rather long name indeed",) * 4])
def test_leaders_cross_no_name(names):
    """Oracle: rectangles of the names against the upright leaders, both read from the specification."""
    curves = [line(f"{name} {k}", k, 2400.0 * 1.06**k) for k, name in enumerate(names)]
    spec = response_chart(curves, description="", total_width=700)
    leaders, boxes = [], []
    for layer in spec["layer"]:
        mark, encoding = layer["mark"], layer["encoding"]
        if mark["type"] == "rule" and "x2" in encoding and mark.get("strokeWidth") == 1.5:
            ends = [encoding[k]["value"] for k in ("x", "y", "x2", "y2")]
            if ends[0] == ends[2]:
                leaders.append((ends[0], min(ends[1], ends[3]), max(ends[1], ends[3])))
        if mark["type"] == "text" and mark.get("fontWeight") == 700 and "stroke" not in mark:
            x, y, text = (encoding[k]["value"] for k in ("x", "y", "text"))
            wide = len(text) * mark["fontSize"] * 0.5
            boxes.append((x - wide, x, y) if mark["align"] == "right" else (x, x + wide, y))
    assert len(leaders) >= 4
    assert len(boxes) == 4
    for x, top, bottom in leaders:
        for left, right, y in boxes:
            assert not (left < x < right and top < y - 4 and y + 4 < bottom)


def test_a_curve_is_cut_at_the_frame_and_broken_at_gaps():
    x = np.array([200.0, 400.0, 800.0, 1600.0, 3200.0, 6400.0])
    y = np.array([85.0, 86.0, np.nan, 84.0, 300.0, 85.0])
    svg = render.raw_svg(
        response_chart([Curve("Rook", STYLES[0], x, y)], description="", top_db=100, range_db=40, total_width=700)
    )
    path = next(d for d in re.findall(r'd="(M[^"]+)"', svg) if d.count("L") >= 3)
    assert path.count("M") == 2
    assert "clip-path" in svg
    assert min(float(v) for v in re.findall(r"[ML][\d.-]+,(-?[\d.]+)", path)) < -1000


def test_panels_share_one_scale_factor():
    """Oracle: equal lengths are equal percentages, so all windows have one ratio."""
    low = [StripRow("a", "", "", STYLES[0], (2000.0, 2100.0))]
    high = [StripRow("a", "", "", STYLES[0], (5000.0, 6500.0))]
    one, two = shared_windows([low, high], logarithmic=True)
    assert one.high / one.low == pytest.approx(two.high / two.low)
    assert one.low < 2000 < 2100 < one.high
    assert two.low < 5000 < 6500 < two.high


def test_only_shared_places_are_bracketed_as_a_tie():
    def row(low: int, high: int) -> RankRow:
        return RankRow("x", "", STYLES[0], 50.0, 40.0, 60.0, low, high)

    assert tied_runs([row(1, 1), row(2, 4), row(2, 4), row(2, 4)]) == [(1, 3)]
    assert tied_runs([row(1, 2), row(1, 3), row(2, 3)]) == []


def test_neighbours_differ_in_colour_and_no_two_look_alike():
    groups = [(f"m{k}", "") for k in range(8)]
    styles = list(theme.group_styles(groups).values())
    assert all(a.colour != b.colour for a, b in pairwise(styles))
    assert len({(s.colour, s.dash) for s in styles}) == len(styles)
    recipes = list(theme.group_styles([("m", "a"), ("m", "b"), ("m", "c")]).values())
    assert len({s.dash for s in recipes}) == 3
    assert [s.hollow for s in recipes] == [False, True, True]


def contrast(one: str, two: str) -> float:
    def luminance(colour: str) -> float:
        parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    a, b = sorted((luminance(one), luminance(two)))
    return (b + 0.05) / (a + 0.05)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_text_and_curves_stand_out(scheme):
    """Oracle: WCAG 2.2, 4.5 to 1 for text and 3 to 1 for what carries meaning."""
    colours = theme.SCHEMES[scheme]
    for ground in ("card", "sunk", "used"):
        assert contrast(colours["ink-2"], colours[ground]) >= 4.5
    for colour in theme.MATERIAL_COLOURS:
        assert contrast(colours[colour], colours["card"]) >= 3


def test_the_notebook_gets_the_same_chart():
    import altair

    from frusta.publish.charts import to_altair

    spec = response_chart([line("Rook", 0, 4000.0)], description="Rook")
    chart = to_altair(spec)
    assert isinstance(chart, altair.TopLevelMixin)
    assert len(chart.to_dict()["layer"]) == len(spec["layer"])


def test_a_chart_that_asks_for_an_address_is_refused():
    spec = {"data": {"url": "http://192.0.2.1/data.json"}, "mark": "point"}
    with pytest.raises(ValueError, match="192"):
        render.raw_svg(spec)
