"""The response: level over frequency, a rigid cone's own response beneath, the campaign's band shaded."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from frusta.publish.charts.curve import ROW_PX, Curve, draw_lines, stairs
from frusta.publish.charts.frame import DECADE_DB, Frame, Layers, height_of_decibels
from frusta.publish.charts.frequency_axis import frequency_grid, frequency_labels, frequency_span
from frusta.publish.words import band as band_words

TALLEST_PX = 680.0


def response_chart(
    curves: Sequence[Curve],
    *,
    description: str,
    rigid: Curve | None = None,
    spread: tuple[Curve, Curve] | None = None,
    band_hz: tuple[float, float] | None = None,
    read_hz: tuple[float, float] | None = None,
    relative: bool = False,
    total_width: float = 700,
    top_db: float | None = None,
    range_db: float | None = None,
    span_hz: tuple[float, float] | None = None,
    tall_px: float | None = None,
    scheme: str = "light",
    background: bool = False,
) -> dict[str, Any]:
    """Draw responses on a logarithmic frequency axis on which 25 dB are as long as one decade.

    Only a closer look of a given height is stretched, and says so beside it.

    Parameters
    ----------
    curves : sequence of Curve
        Level, dB, over frequency, Hz; four at most read well. ``anchor`` is where the name is tied, Hz.
    description : str
        The result in words.
    rigid : Curve or None
        Response of a rigid cone of the same shape; drawn as dots beneath.
    spread : (Curve, Curve) or None
        Levels between which 95 % of prints lie, at the same frequencies; shaded in the colour of the lower.
    band_hz, read_hz : (float, float) or None
        The campaign's band (shaded); what was read (outside of it is greyed), Hz.
    relative : bool
        Levels have no absolute reference; the axis says so.
    total_width : float
        Of the whole picture, px; below 450 the chart is drawn for a phone.
    top_db, range_db : float or None
        Upper end and length of the level axis, dB; they follow the curves if None.
    span_hz : (float, float) or None
        Ends of the frequency axis, for a closer look; from the band and what was read if None.
    tall_px : float or None
        Height of the plot, px, for a closer look; 25 dB are then no longer as long as one decade.
    scheme : {"light", "dark"}
        Which set of colours.
    background : bool
        Paint the ground.

    Returns
    -------
    dict
        A Vega-Lite specification.
    """
    narrow = total_width < 450
    span = span_hz or frequency_span(band_hz, read_hz[1] if read_hz else None)
    left, right = (38.0, 8.0) if narrow else (46.0, 16.0)
    width = total_width - left - right
    decades = math.log10(span[1] / span[0])
    tall = curves if spread is None else [*curves, spread[1]]
    for _ in range(2):  # a chart that would be too tall is made narrower, and its names then need more of it
        top = response_top(tall, span, width / decades / DECADE_DB) if top_db is None else top_db
        length = response_range(curves, top) if range_db is None else range_db
        width = min(width, TALLEST_PX * decades * DECADE_DB / length) if tall_px is None else width
    range_db = length
    height = height_of_decibels(width, decades, range_db) if tall_px is None else tall_px
    frame = Frame(width, height, span, (top - range_db, top), left=left, right=right, top=30)
    layers = Layers(frame, scheme)
    if band_hz is not None:
        layers.zone(band_hz[0], band_hz[1], "used")
    low, high = (read_hz or span)[0], (read_hz or span)[1]
    layers.zone(span[0], min(low, span[1]), "floor", opacity=0.55)
    layers.zone(max(high, span[0]), span[1], "floor", opacity=0.55)
    lines = [10.0 * k for k in range(math.ceil((top - range_db) / 10), math.floor(top / 10) + 1)]
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
    _name_unread(layers, low, high)
    if spread is not None:
        _shade(layers, *spread)
    if rigid is not None and np.isfinite(rigid.y).any():
        dots = {"color": layers.colours["ink"], "strokeDash": [0.1, 5.5], "strokeWidth": 2.4, "strokeCap": "round"}
        layers.line(rigid.x, rigid.y, dots)
    draw_lines(layers, curves, narrow=narrow)
    if rigid is not None:
        _name_rigid(layers, rigid, curves, narrow)
    stairs(layers, curves, narrow=narrow)
    if spread is not None:
        _name_shade(layers, band_hz)
    return layers.spec(description, background=background)


def _shade(layers: Layers, low: Curve, high: Curve) -> None:
    """Shade what lies between two curves."""
    rows = [
        {"x": round(x, 5), "low": round(a, 4), "high": round(b, 4)}
        for x, a, b in zip(low.x.tolist(), low.y.tolist(), high.y.tolist(), strict=True)
        if math.isfinite(a) and math.isfinite(b)
    ]
    mark = {"type": "area", "clip": True, "color": layers.colours[low.style.colour], "opacity": 0.25}
    layers.add(mark, rows, x=layers.x(), y=layers.y("low"), y2={"field": "high"})


def response_top(curves: Sequence[Curve], span: tuple[float, float], px_per_db: float) -> float:
    """Upper end of the level axis: a multiple of five that leaves room for the names above the highest peak."""
    highest = [float(c.y[i].max()) for c in curves if (i := _inside(c, span)).any()]
    rows = 1 + (len(curves) + 1) // 2
    return math.ceil((max(highest, default=0.0) + (ROW_PX * rows) / px_per_db) / 5) * 5.0


def response_range(curves: Sequence[Curve], top_db: float) -> float:
    """Length of the level axis: 40 dB, or as many fives as bring the piston band into the picture."""
    levels = [float(np.median(c.y[i])) for c in curves if (i := _inside(c, (300.0, 1000.0))).any()]
    span = top_db - min(levels, default=top_db - 24)
    below = 18 if span < 40 else 10
    return float(min(80, max(40, 5 * math.ceil((span + below) / 5))))


def _inside(curve: Curve, span: tuple[float, float]) -> Any:
    return (curve.x >= span[0]) & (curve.x <= span[1]) & np.isfinite(curve.y)


def _name_band(layers: Layers, band_hz: tuple[float, float], narrow: bool) -> None:
    frame = layers.frame
    left = _band_left(layers, band_hz)
    text = "your band" if narrow else f"your band, {band_words(*band_hz)}"
    layers.text_at(text, left, frame.height - 13, align="left", color=layers.colours["ink-2"], ground="used")


def _band_left(layers: Layers, band_hz: tuple[float, float]) -> float:
    return max(layers.frame.x_px(max(band_hz[0], layers.frame.x[0])), 0) + 6


def _name_shade(layers: Layers, band_hz: tuple[float, float] | None) -> None:
    """Name what is shaded around the curve, over the name of the band where there is one."""
    left, above, ground = (6, 13, "card") if band_hz is None else (_band_left(layers, band_hz), 34, "used")
    place = layers.frame.height - above
    text = "shaded: 95 % of prints"
    layers.text_at(text, left, place, align="left", color=layers.colours["ink-2"], ground=ground)


def _name_unread(layers: Layers, low: float, high: float) -> None:
    """Say on a greyed zone that nothing was read there, where the words fit."""
    frame = layers.frame
    for begin, end in ((frame.x[0], low), (high, frame.x[1])):
        if begin < end:
            left, right = frame.x_px(begin), frame.x_px(min(end, frame.x[1]))
            text = "not read" if right - left > 68 else ""
            if text:
                layers.text_at(text, (left + right) / 2, frame.height - 34, align="center", halo=0)


def _name_rigid(layers: Layers, rigid: Curve, curves: Sequence[Curve], narrow: bool) -> None:
    """Name the dots at the lower left, where curves are usually flat."""
    frame = layers.frame
    place = frame.x[0] * (frame.x[1] / frame.x[0]) ** (0.27 if narrow else 0.33)
    here = [value for c in (rigid, *curves) if np.isfinite(value := c.at(place))]
    value = rigid.at(place)
    if not np.isfinite(value):
        return
    y_low = frame.y_px(min(here)) + 38
    if y_low > frame.height - 40:
        return
    x_px = frame.x_px(place)
    layers.segments([(x_px, frame.y_px(value) + 4), (x_px, y_low - 9)], "ink-2")
    text = "rigid cone" if narrow else "dotted: a rigid cone of this shape"
    layers.text_at(text, x_px - 6, y_low, align="left", fontWeight=500, halo=5)  # a curve that rises is on the left
