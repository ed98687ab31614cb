"""Distortion with the cone's own peaks taken out: percent over drive frequency, above the noise of the recordings."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from frusta.publish.charts.curve import ROW_PX, Curve, draw_lines, stairs
from frusta.publish.charts.frame import DECADE_DB, Frame, Layers, height_of_decibels, text_width
from frusta.publish.charts.frequency_axis import frequency_grid, frequency_labels, frequency_span
from frusta.publish.theme import SMALL_PX
from frusta.publish.words import quantity

CLOSER_DB = 40.0
"""Range that a closer look is taken to have until it is known, for the room that names need."""


def distortion_chart(
    curves: Sequence[Curve],
    *,
    description: str,
    noise: Curve | None = None,
    stop_hz: float | None = None,
    band_hz: tuple[float, float] | None = None,
    total_width: float = 700,
    span_hz: tuple[float, float] | None = None,
    tall_px: float | None = None,
    scheme: str = "light",
    background: bool = False,
) -> dict[str, Any]:
    """Draw harmonic distortion in percent; 25 dB of it are as long as one decade of frequency.

    Parameters
    ----------
    curves : sequence of Curve
        Percent of the fundamental over drive frequency, Hz; NaN where noise hides it.
    description : str
        The result in words.
    noise : Curve or None
        Noise floor of the recordings in the same measure, filled from below.
    stop_hz : float or None
        End of the sweep: the second harmonic is inside it up to half of this, the fifth up to a fifth.
    band_hz : (float, float) or None
        The campaign's band, Hz; only widens the axis.
    total_width : float
        Of the whole picture, px; below 450 the chart is drawn for a phone.
    span_hz : (float, float) or None
        Ends of the frequency axis, for a closer look.
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
    span = span_hz or frequency_span(band_hz, stop_hz)
    left, right = (46.0, 8.0) if narrow else (54.0, 16.0)
    width = total_width - left - right
    decades = math.log10(span[1] / span[0])
    px_per_db = width / decades / DECADE_DB if tall_px is None else tall_px / CLOSER_DB
    low, high = distortion_range(curves, noise, span, ROW_PX * (len(curves) + 1) / px_per_db)
    height = height_of_decibels(width, decades, 20 * math.log10(high / low)) if tall_px is None else tall_px
    frame = Frame(width, height, span, (low, high), y_log=True, left=left, right=right, top=30)
    layers = Layers(frame, scheme)
    limit = None if stop_hz is None else stop_hz / 2
    if limit is not None:
        layers.zone(max(limit, span[0]), span[1], "floor", opacity=0.55)
    if noise is not None:
        _floor(layers, noise)
    ticks = _percent_ticks(low, high)
    layers.grid(
        frequency_grid(*span),
        dict.fromkeys(ticks, True),
        x_labels=frequency_labels(*span),
        y_labels={value: f"{value:g}" for value in ticks},
    )
    layers.unit("%")
    if limit is not None and limit < span[1]:
        if limit > span[0]:
            layers.edge(limit)
        _say_limit(layers, limit, stop_hz or 0.0)
    if stop_hz is not None and not narrow:
        _say_orders(layers, stop_hz)
    draw_lines(layers, curves, narrow=narrow)
    stairs(layers, curves, narrow=narrow)
    return layers.spec(description, background=background)


def distortion_range(
    curves: Sequence[Curve], noise: Curve | None, span: tuple[float, float], headroom_db: float
) -> tuple[float, float]:
    """Ends of the percent axis, from the series 1, 2, 5: room for the names above, for some noise below the curves."""
    shown = _values(curves, span)
    if not shown.size:
        return 0.05, 5.0
    high = float(shown.max()) * 10 ** (headroom_db / 20)
    beneath = _values([noise] if noise is not None else [], span)
    low = min(float(shown.min()), float(np.quantile(beneath, 0.1)) if beneath.size else math.inf)
    series = [float(f"{digit}e{power}") for power in range(-5, 4) for digit in (1, 2, 5)]
    top = next((v for v in series if v >= high), series[-1])
    bottom = max((v for v in series if v <= low), default=series[0])
    return max(bottom, float(f"{top / 1000:.1g}")), top


def _values(curves: Sequence[Curve], span: tuple[float, float]) -> NDArray[np.float64]:
    """All positive values of curves inside the axis."""
    parts = [c.y[(c.x >= span[0]) & (c.x <= span[1]) & np.isfinite(c.y) & (c.y > 0)] for c in curves]
    return np.concatenate(parts) if parts else np.array([])


def _percent_ticks(low: float, high: float) -> list[float]:
    series = [float(f"{digit}e{power}") for power in range(-5, 4) for digit in (1, 2, 5)]
    return [v for v in series if low * 0.999 <= v <= high * 1.001]


def _floor(layers: Layers, noise: Curve) -> None:
    """Fill what the noise of the recordings hides, and say so on it."""
    low, high = layers.frame.y
    rows = [
        {"x": round(float(x), 4), "y": float(np.clip(y, low, high)), "y2": low}
        for x, y in zip(noise.x, noise.y, strict=True)
        if np.isfinite(y) and layers.frame.x[0] <= x <= layers.frame.x[1]
    ]
    if len(rows) < 2:
        return
    mark = {"type": "area", "color": layers.colours["floor"], "opacity": 1, "clip": True}
    layers.add(mark, rows, x=layers.x(), y=layers.y(), y2={"field": "y2"})
    middle = rows[len(rows) // 3]
    y = (layers.frame.y_px(middle["y"]) + layers.frame.height) / 2
    if layers.frame.height - layers.frame.y_px(middle["y"]) > 18:
        x = layers.frame.x_px(middle["x"])
        layers.text_at("noise of the recordings", x, y, align="center", color=layers.colours["ink-2"], ground="floor")


def _say_limit(layers: Layers, limit_hz: float, stop_hz: float) -> None:
    """Say why nothing stands beyond half of the sweep's end."""
    x = layers.frame.x_px(max(limit_hz, layers.frame.x[0])) + 7
    lines = [f"the sweep ends at {quantity(stop_hz, 'Hz')}:", "no harmonics", f"above {quantity(limit_hz, 'Hz')}"]
    room = layers.frame.width + layers.frame.right - x
    if max(text_width(line, SMALL_PX) for line in lines) > room:
        lines = ["sweep ends", f"at {quantity(stop_hz, 'Hz')}"] if room > 82 else []
    for row, line in enumerate(lines):
        layers.text_at(line, x, 14 + 19 * row, align="left", color=layers.colours["ink-2"], halo=0)


def _say_orders(layers: Layers, stop_hz: float) -> None:
    """Mark where the number of harmonics inside the sweep falls: from 2 to 5 down to the second alone."""
    frame = layers.frame
    before = frame.x[0]
    for order, text in ((5, "orders 2 to 5"), (4, "to 4"), (3, "to 3"), (2, "2nd")):
        end = min(stop_hz / order, frame.x[1])
        if end <= before:
            continue
        left, right = frame.x_px(before), frame.x_px(end)
        layers.segments([(right, -16), (right, 0)], "edge")
        if right - left > text_width(text, SMALL_PX) + 8:
            layers.text_at(text, right - 6, -11, align="right", color=layers.colours["ink-2"], halo=0)
        before = end
