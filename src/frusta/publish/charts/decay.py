"""Falling silent: the envelope of the impulse response in percent of its peak, over time."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from frusta.publish.charts.curve import ROW_PX, Curve, draw_lines, stairs
from frusta.publish.charts.frame import Frame, Layers

LOWEST_PERCENT = 0.8


def decay_chart(
    curves: Sequence[Curve],
    *,
    description: str,
    echo_ms: float | None = None,
    total_width: float = 700,
    end_ms: float | None = None,
    scheme: str = "light",
    background: bool = False,
) -> dict[str, Any]:
    """Draw how fast cones fall silent.

    Parameters
    ----------
    curves : sequence of Curve
        Percent of the peak over ms after it; ``anchor`` is the 2 % crossing, ms.
    description : str
        The result in words.
    echo_ms : float or None
        Where the reflection-free part ends; what lies beyond is greyed.
    total_width : float
        Of the whole picture, px; below 450 the chart is drawn for a phone.
    end_ms : float or None
        End of the time axis; follows the crossings if None.
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
    end = decay_end(curves, echo_ms) if end_ms is None else end_ms
    left, right = (42.0, 8.0) if narrow else (46.0, 16.0)
    width = total_width - left - right
    height = 232.0 if narrow else 250.0
    top = 100 * 10 ** (_headroom(curves, narrow, height) / 20)
    frame = Frame(
        width, height, (0, end), (LOWEST_PERCENT, top), x_log=False, y_log=True, left=left, right=right, top=30
    )
    layers = Layers(frame, scheme)
    if echo_ms is not None and echo_ms < end:
        layers.zone(echo_ms, end, "floor", opacity=0.55)
    levels = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)
    times = _time_ticks(end, 5 if narrow else 8)
    layers.grid(
        dict.fromkeys(times, True),
        dict.fromkeys(levels, True),
        x_labels={t: f"{t:g}\u00a0ms" if t in (times[0], times[-1]) else f"{t:g}" for t in times},
        y_labels={level: f"{level:g}" for level in levels},
    )
    layers.unit("%")
    strong = {"type": "rule", "color": layers.colours["edge"], "strokeWidth": 1.6}
    layers.add(strong, [{"y": 2.0}, {"y": 5.0}], y=layers.y())
    if echo_ms is not None and echo_ms < end:
        layers.edge(echo_ms)
        x = frame.x_px(echo_ms) + 7
        if frame.width - x > 74:
            for row, line in enumerate(("first echo:", "not read")):
                layers.text_at(line, x, 14 + 19 * row, align="left", color=layers.colours["ink-2"], halo=0)
    draw_lines(layers, curves, narrow=narrow)
    stairs(layers, curves, narrow=narrow)
    for curve in curves:
        if curve.marked and curve.anchor is not None and 0 <= curve.anchor <= end:
            layers.add(layers.point_mark(curve.style), [{"x": curve.anchor, "y": 2.0}], x=layers.x(), y=layers.y())
    return layers.spec(description, background=background)


def _headroom(curves: Sequence[Curve], narrow: bool, height: float) -> float:
    """Decibels kept free above 100 % so that names do not lie on the curves where all are close to their peak."""
    rows = (len(curves) + 1) // 2 if not narrow else len(curves)
    return 42 * min(0.4, ROW_PX * max(0, rows - 1) / height)


def decay_end(curves: Sequence[Curve], echo_ms: float | None) -> float:
    """End of the time axis: a little past the last 2 % crossing or the first echo, whichever is nearer to it."""
    crossings = [c.anchor for c in curves if c.anchor is not None and c.marked]
    open_ended = len(crossings) < len(curves)
    last = [float(c.x[np.isfinite(c.y)][-1]) for c in curves if np.isfinite(c.y).any()]
    reach = 1.3 * max(crossings) if crossings else max(last, default=5.0)
    if echo_ms is not None and (echo_ms < reach or open_ended):
        reach = echo_ms * 1.17
    return float(max(1.0, math.ceil(2 * reach) / 2))


def _time_ticks(end: float, most: int) -> list[float]:
    step = next(s for s in (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 1e9) if end / s <= most)
    return [round(k * step, 6) for k in range(int(end / step + 1e-9) + 1)]
