"""A trade-off: two figures of many possible cones, the front, the answers by number and the cones there are."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from frusta.publish.charts.frame import Frame, Layers, text_width
from frusta.publish.theme import LABEL_PX, Style


@dataclass(frozen=True)
class Spot:
    """One cone.

    Attributes
    ----------
    x, y : float
    style : Style
        Of its material.
    name : str
        Written beside it; may be empty.
    x_ends, y_ends : (float, float) or None
        Where 95 % of prints lie.
    """

    x: float
    y: float
    style: Style
    name: str = ""
    x_ends: tuple[float, float] | None = None
    y_ends: tuple[float, float] | None = None


@dataclass(frozen=True)
class Axis:
    """One figure: its title with the unit, whether more is better, and whether it is drawn logarithmically."""

    title: str
    more_is_better: bool
    logarithmic: bool


def trade_off_chart(
    tried: Sequence[Spot],
    answers: Sequence[Spot],
    existing: Sequence[Spot],
    x_axis: Axis,
    y_axis: Axis,
    *,
    description: str,
    total_width: float = 700,
    scheme: str = "light",
    background: bool = False,
) -> dict[str, Any]:
    """Draw what one figure costs of the other.

    Parameters
    ----------
    tried : sequence of Spot
        Cones that were computed; small and faint.
    answers : sequence of Spot
        Large, named, with the ends of their 95 %.
    existing : sequence of Spot
        Cones that were printed; hollow, named.
    x_axis, y_axis : Axis
    description : str
        The result in words.
    total_width : float
        Of the whole picture, px.
    scheme : {"light", "dark"}
    background : bool

    Returns
    -------
    dict
        A Vega-Lite specification.
    """
    left, right = 56.0, 18.0
    width, height = total_width - left - right, 0.62 * total_width
    every = [*tried, *answers, *existing]
    frame = Frame(
        width,
        height,
        _window([s.x for s in every], x_axis.logarithmic),
        _window([s.y for s in every], y_axis.logarithmic),
        x_log=x_axis.logarithmic,
        y_log=y_axis.logarithmic,
        left=left,
        right=right,
        top=34,
        bottom=58,
    )
    layers = Layers(frame, scheme)
    x_ticks, y_ticks = _ticks(frame.x, frame.x_log), _ticks(frame.y, frame.y_log)
    layers.grid(
        dict.fromkeys(x_ticks, False),
        dict.fromkeys(y_ticks, False),
        x_labels={v: f"{v:g}" for v in x_ticks},
        y_labels={v: f"{v:g}" for v in y_ticks},
    )
    grey = {"color": layers.colours["ink-2"], "halo": 0}
    layers.text_at(_words(x_axis, "to the right", "to the left"), width, height + 44, align="right", **grey)
    layers.text_at(_words(y_axis, "above", "below"), -left + 8, -20, align="left", **grey)
    for style in dict.fromkeys(s.style for s in tried):
        mark = {**layers.point_mark(style, size=22), "opacity": 0.35, "strokeWidth": 0}
        layers.add(mark, [{"x": s.x, "y": s.y} for s in tried if s.style == style], x=layers.x(), y=layers.y())
    for spot in answers:
        _ends(layers, spot)
    for spot in existing:
        hollow = {**layers.point_mark(spot.style, size=120), "fill": layers.colours["card"], "strokeWidth": 2.2}
        hollow["stroke"] = layers.colours[spot.style.colour]
        layers.add(hollow, [{"x": spot.x, "y": spot.y}], x=layers.x(), y=layers.y())
    for spot in answers:
        layers.add(layers.point_mark(spot.style, size=260), [{"x": spot.x, "y": spot.y}], x=layers.x(), y=layers.y())
    _names(layers, answers, bold=True)
    _names(layers, existing, bold=False, taken=[_box(layers, s, bold=True) for s in answers if s.name])
    return layers.spec(description, background=background)


def _words(axis: Axis, more: str, less: str) -> str:
    return f"{axis.title} (better {more if axis.more_is_better else less})"


def _window(values: Sequence[float], logarithmic: bool) -> tuple[float, float]:
    """Ends of an axis with some room; equal values get room too."""
    low, high = min(values), max(values)
    if logarithmic:
        span = max(math.log(high / low), 0.05)
        return low * math.exp(-0.08 * span), high * math.exp(0.08 * span)
    span = max(high - low, 0.05 * abs(high), 1e-3)
    return low - 0.08 * span, high + 0.08 * span


def _ticks(ends: tuple[float, float], logarithmic: bool) -> list[float]:
    """Round values inside an axis, about six."""
    low, high = ends
    steps = [f * 10.0**k for k in range(-3, 6) for f in (1.0, 2.0, 5.0)]
    if logarithmic and high / low > 3.0:
        return [f * 10.0**k for k in range(-3, 6) for f in (1, 1.5, 2, 3, 5, 7) if low <= f * 10.0**k <= high]
    step = next((s for s in steps if (high - low) / s <= 7.0), steps[-1])
    first = math.ceil(low / step - 1e-9)
    return [round(k * step, 6) for k in range(first, math.floor(high / step + 1e-9) + 1)]


def _ends(layers: Layers, spot: Spot) -> None:
    """Lines over which 95 % of prints lie."""
    mark = {"type": "rule", "color": layers.colours[spot.style.colour], "strokeWidth": 2.4, "clip": True}
    if spot.x_ends is not None:
        row = {"x": spot.x_ends[0], "x2": spot.x_ends[1], "y": spot.y}
        layers.add(mark, [row], x=layers.x(), x2={"field": "x2"}, y=layers.y())
    if spot.y_ends is not None:
        row = {"x": spot.x, "y": spot.y_ends[0], "y2": spot.y_ends[1]}
        layers.add(mark, [row], x=layers.x(), y=layers.y(), y2={"field": "y2"})


Box = tuple[float, float, float, float]


def _box(layers: Layers, spot: Spot, *, bold: bool, side: int = 1, row: int = 0) -> Box:
    wide = text_width(spot.name, LABEL_PX, bold=bold)
    x, y = layers.frame.x_px(spot.x), layers.frame.y_px(spot.y) + 17.0 * row
    begin = x + 13.0 if side > 0 else x - 13.0 - wide
    return begin, y - 9.0, begin + wide, y + 9.0


def _names(layers: Layers, spots: Sequence[Spot], *, bold: bool, taken: Sequence[Box] = ()) -> None:
    """Names beside their marks, on the side and in the row where they lie on no other name; else left out."""
    held = [] if bold else list(taken)
    for spot in spots:
        if not spot.name:
            continue
        for side, row in ((1, 0), (-1, 0), (1, -1), (1, 1), (-1, -1), (-1, 1), (1, -2), (1, 2)):
            box = _box(layers, spot, bold=bold, side=side, row=row)
            inside = box[0] >= 0.0 and box[2] <= layers.frame.width
            free = all(box[2] < b[0] or box[0] > b[2] or box[3] <= b[1] or box[1] >= b[3] for b in held)
            if inside and free:
                held.append(box)
                layers.text_at(
                    spot.name,
                    box[0],
                    0.5 * (box[1] + box[3]),
                    align="left",
                    fontSize=LABEL_PX,
                    fontWeight=650 if bold else 400,
                )
                break
