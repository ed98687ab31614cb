"""A forecast: the level that should be heard, with the band that holds 95 % of prints."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from frusta.publish.charts.curve import Curve, stairs
from frusta.publish.charts.frame import DECADE_DB, Frame, Layers, height_of_decibels
from frusta.publish.charts.frequency_axis import frequency_grid, frequency_labels, frequency_span
from frusta.publish.charts.response import TALLEST_PX, _name_band, _name_rigid

RANGE_DB = (40.0, 70.0)


def forecast_chart(
    expected: Curve,
    low: Curve,
    high: Curve,
    *,
    description: str,
    rigid: Curve | None = None,
    band_hz: tuple[float, float] | None = None,
    relative: bool = False,
    total_width: float = 700,
    scheme: str = "light",
    background: bool = False,
) -> dict[str, Any]:
    """Draw a forecast on a logarithmic frequency axis on which 25 dB are as long as one decade.

    Parameters
    ----------
    expected, low, high : Curve
        Level and the ends of its band, dB, on one grid of Hz; the name of the first stands at its anchor.
    description : str
        The result in words.
    rigid : Curve or None
        The same cone, were it rigid; dots.
    band_hz : (float, float) or None
        The campaign's band.
    relative : bool
        Levels have no absolute reference.
    total_width : float
        Of the whole picture, px; below 450 for a phone.
    scheme : {"light", "dark"}
    background : bool

    Returns
    -------
    dict
        A Vega-Lite specification.
    """
    narrow = total_width < 450
    span = frequency_span(band_hz, None)
    inside = (expected.x >= span[0]) & (expected.x <= span[1]) & np.isfinite(high.y)
    tallest = float(high.y[inside].max()) if inside.any() else 0.0
    lowest = float(np.quantile(low.y[inside], 0.1)) if inside.any() else -40.0
    top = 5.0 * math.ceil((tallest + 5.0) / 5.0)
    length = float(np.clip(5.0 * math.ceil((top - lowest + 3.0) / 5.0), *RANGE_DB))
    left, right = (38.0, 8.0) if narrow else (46.0, 16.0)
    decades = math.log10(span[1] / span[0])
    width = min(total_width - left - right, TALLEST_PX * decades * DECADE_DB / length)
    frame = Frame(
        width, height_of_decibels(width, decades, length), span, (top - length, top), left=left, right=right, top=30
    )
    layers = Layers(frame, scheme)
    if band_hz is not None:
        layers.zone(band_hz[0], band_hz[1], "used")
    lines = [10.0 * k for k in range(math.ceil((top - length) / 10), math.floor(top / 10) + 1)]
    layers.grid(
        frequency_grid(*span),
        dict.fromkeys(lines, True),
        x_labels=frequency_labels(*span),
        y_labels={value: f"{value:.0f}".replace("-", "−") for value in lines},
    )
    layers.unit("dB")
    if relative:
        layers.text_at("levels are relative", 0, -18, align="left", color=layers.colours["ink-2"], halo=0)
    if band_hz is not None:
        _name_band(layers, band_hz, narrow)
    rows = [
        {"x": round(float(x), 3), "y": round(float(a), 3), "y2": round(float(b), 3)}
        for x, a, b in zip(expected.x[inside], low.y[inside], high.y[inside], strict=True)
    ]
    mark = {"type": "area", "color": layers.colours[expected.style.colour], "opacity": 0.3, "clip": True}
    layers.add(mark, rows, x=layers.x(), y=layers.y(), y2={"field": "y2"})
    if rigid is not None:
        dots = {"color": layers.colours["ink"], "strokeDash": [0.1, 5.5], "strokeWidth": 2.4, "strokeCap": "round"}
        layers.line(zip(rigid.x.tolist(), rigid.y.tolist(), strict=True), dots)
    layers.line(
        zip(expected.x.tolist(), expected.y.tolist(), strict=True), layers.curve_mark(expected.style, narrow=narrow)
    )
    if rigid is not None:
        _name_rigid(layers, rigid, [expected], narrow)
    stairs(layers, [expected], narrow=narrow)
    layers.text_at(
        "shaded: 95 % of prints", width - 4, frame.height - 13, align="right", color=layers.colours["ink-2"], halo=4
    )
    return layers.spec(description, background=background)
