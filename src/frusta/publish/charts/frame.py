"""The frame of a chart: size, axes, grid, shaded zones; the parts that every chart is built from."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from frusta.publish import theme

Layer = dict[str, Any]
Floats = NDArray[np.float64]
DECADE_DB = 25.0  # IEC 60263: 25 dB of level are as long as one decade of frequency
SCHEMA = "https://vega.github.io/schema/vega-lite/v6.json"


@dataclass(frozen=True)
class Frame:
    """The rectangle that curves are drawn in.

    Attributes
    ----------
    width, height : float
        Of the plotting area, px.
    x, y : (float, float)
        Domains. Both are taken logarithmically or linearly as told.
    left, top, right, bottom : float
        Room for labels around the plotting area, px.
    """

    width: float
    height: float
    x: tuple[float, float]
    y: tuple[float, float]
    x_log: bool = True
    y_log: bool = False
    left: float = 44
    top: float = 26
    right: float = 44
    bottom: float = 34

    def x_px(self, value: float) -> float:
        """Horizontal place of a value, px from the left edge of the plotting area."""
        return self.width * _place(value, self.x, self.x_log)

    def y_px(self, value: float) -> float:
        """Vertical place of a value, px from the top edge of the plotting area."""
        return self.height * (1 - _place(value, self.y, self.y_log))

    def scales(self) -> tuple[dict[str, Any], dict[str, Any]]:
        """Vega-Lite scales of both axes."""
        return (
            {"type": "log" if self.x_log else "linear", "domain": list(self.x), "nice": False, "zero": False},
            {"type": "log" if self.y_log else "linear", "domain": list(self.y), "nice": False, "zero": False},
        )


def _place(value: float, domain: tuple[float, float], logarithmic: bool) -> float:
    low, high = domain
    if logarithmic:
        value, low, high = math.log(value), math.log(low), math.log(high)
    return (value - low) / (high - low)


def height_of_decibels(width: float, decades: float, range_db: float) -> float:
    """Height of a plot in which 25 dB are as long as one decade."""
    return width / decades * range_db / DECADE_DB


class Layers:
    """Collects the layers of one chart, bottom first."""

    def __init__(self, frame: Frame, scheme: str) -> None:
        self.frame = frame
        self.colours: Mapping[str, str] = theme.SCHEMES[scheme]
        self.scheme = scheme
        self._layers: list[Layer] = []
        self._x, self._y = frame.scales()

    def x(self, field: str = "x") -> dict[str, Any]:
        """Encode a field along the horizontal axis."""
        return {"field": field, "type": "quantitative", "scale": self._x, "title": None, "axis": None}

    def y(self, field: str = "y") -> dict[str, Any]:
        """Encode a field along the vertical axis."""
        return {"field": field, "type": "quantitative", "scale": self._y, "title": None, "axis": None}

    def add(self, mark: Layer, values: Sequence[Mapping[str, Any]], **encoding: Any) -> None:
        """Add one layer of marks."""
        if values:
            self._layers.append({"mark": mark, "data": {"values": list(values)}, "encoding": encoding})

    def grid(
        self,
        x: Mapping[float, bool],
        y: Mapping[float, bool],
        *,
        x_labels: Mapping[float, str],
        y_labels: Mapping[float, str],
    ) -> None:
        """Draw the grid (value to strong or not) and the labels of the axes."""
        for strong in (False, True):
            mark = {"type": "rule", "color": self.colours["grid-2" if strong else "grid"], "strokeWidth": 1}
            self.add(mark, [{"x": v} for v, s in x.items() if s is strong], x=self.x())
            self.add(mark, [{"y": v} for v, s in y.items() if s is strong], y=self.y())
        self._axis("x", x_labels)
        self._axis("y", y_labels)

    def _axis(self, channel: str, labels: Mapping[float, str]) -> None:
        """Labels of one axis as text, so that the first and the last stay inside the picture."""
        if not labels:
            return
        height = self.frame.height
        style = {"type": "text", "color": self.colours["ink-2"], "fontSize": theme.SMALL_PX}
        if channel == "y":
            rows = [{"y": v, "text": t} for v, t in labels.items()]
            mark = {**style, "align": "right", "baseline": "middle"}
            self.add(mark, rows, x={"value": -8}, y=self.y(), text={"field": "text"})
            return
        kept = self._apart(labels)
        for align in ("left", "center", "right"):
            rows = [{"x": v, "text": t} for v, t in labels.items() if kept.get(v) == align]
            mark = {**style, "align": align, "baseline": "top"}
            self.add(mark, rows, x=self.x(), y={"value": height + 9}, text={"field": "text"})

    def _apart(self, labels: Mapping[float, str]) -> dict[float, str]:
        """Alignment of the labels of the horizontal axis that do not touch; the ends and powers of ten go first."""
        values = list(labels)

        def weight(value: float) -> tuple[int, float]:
            at_end = value in (values[0], values[-1])
            power = self.frame.x_log and value > 0 and abs(math.log10(value) - round(math.log10(value))) < 1e-9
            return (0 if at_end else (1 if power else 2)), value

        taken: list[tuple[float, float]] = []
        kept: dict[float, str] = {}
        for value in sorted(values, key=weight):
            place, wide = self.frame.x_px(value), text_width(labels[value], theme.SMALL_PX)
            align = _alignment(place, self.frame.width, labels[value], self.frame)
            begin = place - {"left": 0.0, "center": wide / 2, "right": wide}[align]
            if all(begin > right + 6 or begin + wide < left - 6 for left, right in taken):
                taken.append((begin, begin + wide))
                kept[value] = align
        return kept

    def zone(self, low: float, high: float, colour: str, *, opacity: float = 1.0) -> None:
        """Shade a span of the horizontal axis over the full height; parts outside the frame are cut."""
        low, high = max(low, self.frame.x[0]), min(high, self.frame.x[1])
        if low < high:
            self.add(
                {"type": "rect", "color": self.colours[colour], "opacity": opacity},
                [{"x": low, "x2": high}],
                x=self.x(),
                x2={"field": "x2"},
                y={"value": 0},
                y2={"value": self.frame.height},
            )

    def edge(self, value: float) -> None:
        """Draw a dashed upright line: here something ends."""
        mark = {"type": "rule", "color": self.colours["edge"], "strokeWidth": 1.5, "strokeDash": [5, 4]}
        self.add(mark, [{"x": value}], x=self.x())

    def line(self, along: Floats, values: Floats, mark: Layer) -> None:
        """Draw a curve, broken where values are missing and cut, not flattened, at the frame."""
        rows = [
            {"x": round(x, 5), "y": round(y, 5) if math.isfinite(y) else None}
            for x, y in zip(along.tolist(), values.tolist(), strict=True)
            if math.isfinite(x) and (x > 0 or not self.frame.x_log)
        ]
        whole = {"type": "line", "clip": True, "invalid": "break-paths-show-domains", **mark}
        self.add(whole, rows, x=self.x(), y=self.y())

    def curve_mark(self, style: theme.Style, *, narrow: bool) -> Layer:
        """Line of a material: colour, dash and thickness."""
        thick = 2.1 if narrow else 2.6
        return {
            "color": self.colours[style.colour],
            "strokeDash": list(style.dash) or [1, 0],
            "strokeWidth": thick if style.dash else thick + 0.3,
        }

    def point_mark(self, style: theme.Style, *, size: float = 110) -> Layer:
        """Mark of a material: its shape, filled or hollow."""
        colour = self.colours[style.colour]
        return {
            "type": "point",
            "shape": style.mark,
            "size": size,
            "opacity": 1,
            "filled": False,
            "fill": self.colours["card"] if style.hollow else colour,
            "stroke": colour if style.hollow else self.colours["card"],
            "strokeWidth": 2 if style.hollow else 1.2,
        }

    def text_at(self, text: str, x_px: float, y_px: float, **mark: Any) -> None:
        """Write a text at a place of the plotting area, px, with a halo of the ground."""
        self.texts([{"text": text, "px": x_px, "py": y_px}], **mark)

    def texts(self, rows: Sequence[Mapping[str, Any]], **mark: Any) -> None:
        """Write texts at their ``px``, ``py``, each over a halo that keeps curves away from the letters."""
        halo = mark.pop("halo", 4)
        ground = mark.pop("ground", "card")
        base = {"type": "text", "fontSize": theme.SMALL_PX, "color": self.colours["ink"], "baseline": "middle", **mark}
        for row in rows:
            place = {"x": {"value": row["px"]}, "y": {"value": row["py"]}, "text": {"value": row["text"]}}
            if halo:
                under = {**base, "stroke": self.colours[ground], "strokeWidth": halo, "strokeJoin": "round"}
                self._layers.append({"mark": under, "data": {"values": [{}]}, "encoding": place})
            self._layers.append({"mark": base, "data": {"values": [{}]}, "encoding": place})

    def segments(self, points: Sequence[tuple[float, float]], colour: str, *, width: float = 1.5, **mark: Any) -> None:
        """Draw a thin line through places of the plotting area, px."""
        for (x1, y1), (x2, y2) in pairwise(points):
            rule = {"type": "rule", "color": self.colours[colour], "strokeWidth": width, "strokeCap": "square", **mark}
            ends = {"x": {"value": x1}, "y": {"value": y1}, "x2": {"value": x2}, "y2": {"value": y2}}
            self._layers.append({"mark": rule, "data": {"values": [{}]}, "encoding": ends})

    def unit(self, text: str) -> None:
        """Write the unit on top of the vertical axis."""
        self.text_at(text, -8, -18, align="right", color=self.colours["ink-2"], fontWeight=600, halo=0)

    def spec(self, description: str, *, background: bool = False) -> dict[str, Any]:
        """Return the whole Vega-Lite specification."""
        frame = self.frame
        return {
            "$schema": SCHEMA,
            "description": description,
            "width": round(frame.width, 2),
            "height": round(frame.height, 2),
            "autosize": {"type": "none"},
            "padding": {"left": frame.left, "top": frame.top, "right": frame.right, "bottom": frame.bottom},
            "config": theme.config(self.scheme, background=background),
            "layer": self._layers,
            "usermeta": {
                "frusta": {
                    "left": frame.left,
                    "top": frame.top,
                    "width": round(frame.width, 2),
                    "height": round(frame.height, 2),
                    "x": list(frame.x),
                    "y": list(frame.y),
                    "x_log": frame.x_log,
                    "y_log": frame.y_log,
                }
            },
        }


def _alignment(place: float, width: float, text: str, frame: Frame) -> str:
    """Centre a label unless that would push it out of the picture."""
    half = text_width(text, theme.SMALL_PX) / 2
    if place - half < -frame.left + 4 or place < 1:
        return "left"
    if place + half > width + frame.right - 4 or place > width - 1:
        return "right"
    return "center"


_WIDE, _NARROW = frozenset("mwMW%\u2026"), frozenset("ijlftrI.,:;'()|/ \u00a0-")


def text_width(text: str, size_px: float, *, bold: bool = False) -> float:
    """Width of a text in Atkinson Hyperlegible Next with tabular figures, px.

    By classes of letters, from the mean advances of the font's regular and bold weights; a few percent off.
    """
    ems = 0.0
    for letter in text:
        if letter in _NARROW:
            ems += 0.3
        elif letter in _WIDE:
            ems += 0.83
        else:
            ems += 0.61 if letter.isdigit() else (0.63 if letter.isupper() else 0.52)
    return ems * size_px * (1.07 if bold else 1.0)


def fitted(text: str, room_px: float, size_px: float, *, bold: bool = False) -> str:
    """Cut a text to the room there is for it, the last letter an ellipsis."""
    if text_width(text, size_px, bold=bold) <= room_px:
        return text
    while len(text) > 1 and text_width(text + "\u2026", size_px, bold=bold) > room_px:
        text = text[:-1].rstrip(" ,:;")
    return text + "\u2026"
