"""Strips: a row a material, a mark a print, a bar the 95 % interval, a line the mean, the figures in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from frusta.publish.charts.frame import Frame, Layers, fitted, text_width
from frusta.publish.theme import LABEL_PX, SMALL_PX, Style
from frusta.publish.words import MINUS, NBSP, scaled


@dataclass(frozen=True)
class StripRow:
    """One group: its prints, its mean, its interval if there is one.

    Attributes
    ----------
    name, figure, detail : str
        Name in words, the mean with its unit, the interval or why there is none.
    style : Style
        Colour and mark of the material.
    prints : tuple of float
        One value a print.
    mean, low, high : float or None
        Mean of the group and its interval.
    assumed : bool
        Mostly what was put in, not measured: drawn in dashes.
    """

    name: str
    figure: str
    detail: str
    style: Style
    prints: tuple[float, ...]
    mean: float | None = None
    low: float | None = None
    high: float | None = None
    assumed: bool = False


@dataclass(frozen=True)
class Window:
    """Ends of an axis and whether it is logarithmic."""

    low: float
    high: float
    logarithmic: bool


def shared_windows(panels: Sequence[Sequence[StripRow]], *, logarithmic: bool) -> list[Window]:
    """One window a panel, all equally wide, so that equal lengths are equal percentages (or equal differences).

    Parameters
    ----------
    panels : sequence of sequences of StripRow
        The rows of every panel.
    logarithmic : bool
        Equal percentages; else equal differences. Falls back to linear where a value is not positive.

    Returns
    -------
    list of Window
        In the order of the panels.
    """
    values = [
        [v for row in rows for v in (*row.prints, row.mean, row.low, row.high) if v is not None] for rows in panels
    ]
    every = [v for panel in values for v in panel]
    logarithmic = logarithmic and bool(every) and min(every) > 0
    if not every:
        return [Window(0.0, 1.0, False) for _ in panels]

    def forth(v: float) -> float:
        return math.log(v) if logarithmic else v

    spans = [(min(map(forth, p)), max(map(forth, p))) for p in values if p]
    length = max(high - low for low, high in spans)
    least = 0.04 if logarithmic else max(abs(v) for v in every) * 0.04 or 1.0
    length = max(length, least) * 1.16
    windows = []
    for panel in values:
        middle = (min(map(forth, panel)) + max(map(forth, panel))) / 2 if panel else sum(spans[0]) / 2
        low, high = middle - length / 2, middle + length / 2
        windows.append(Window(math.exp(low), math.exp(high), True) if logarithmic else Window(low, high, False))
    return windows


def strips_chart(
    rows: Sequence[StripRow],
    *,
    description: str,
    unit: str,
    window: Window,
    total_width: float = 340,
    scheme: str = "light",
    background: bool = False,
) -> dict[str, Any]:
    """Draw one panel of strips.

    Parameters
    ----------
    rows : sequence of StripRow
        Top to bottom.
    description : str
        The result in words.
    unit : str
        Of the values; Hz is shown as kHz where the axis lies above 1000.
    window : Window
        The axis, see `shared_windows`.
    total_width : float
        Of the whole picture, px.
    scheme : {"light", "dark"}
        Which set of colours.
    background : bool
        Paint the ground.

    Returns
    -------
    dict
        A Vega-Lite specification.
    """
    width = total_width - 24
    tall = any(_words_width(row) > width + 16 for row in rows)
    row_px = 82.0 if tall else 61.0
    frame = Frame(
        width,
        row_px * max(1, len(rows)),
        (window.low, window.high),
        (0, 1),
        x_log=window.logarithmic,
        left=4,
        right=20,
        top=4,
        bottom=30,
    )
    layers = Layers(frame, scheme)
    ticks = round_ticks(window.low, window.high)
    factor, shown = scaled(window.high, unit)
    labels = {t: f"{t / factor:g}".replace("-", MINUS) for t in ticks}
    if ticks and shown:
        labels[ticks[-1]] += f"{NBSP}{shown}"
    layers.grid(dict.fromkeys(ticks, True), {}, x_labels=labels, y_labels={})
    for place, row in enumerate(rows):
        _row(layers, row, place * row_px, width, tall)
    return layers.spec(description, background=background)


def _words_width(row: StripRow) -> float:
    """Width of name, figure and detail on one line, px."""
    bold = text_width(row.name, LABEL_PX, bold=True) + text_width(row.figure, LABEL_PX, bold=True)
    return bold + text_width(row.detail, SMALL_PX) + 17


def _row(layers: Layers, row: StripRow, top: float, width: float, tall: bool) -> None:
    """One material: words above, in two lines where one is too short; interval, mean and prints below."""
    if top:
        layers.segments([(0, top), (width, top)], "grid-2", width=1)
    words_y, marks_y = top + 17, top + (63 if tall else 42)
    name = fitted(row.name, width, LABEL_PX, bold=True)
    layers.text_at(name, 0, words_y, align="left", fontSize=LABEL_PX, fontWeight=700)
    x = 0.0 if tall else text_width(name, LABEL_PX, bold=True) + 10
    words_y += 21 if tall else 0
    layers.text_at(row.figure, x, words_y, align="left", fontSize=LABEL_PX, fontWeight=700)
    x += text_width(row.figure, LABEL_PX, bold=True) + 8
    detail = fitted(row.detail, width + 20 - x, SMALL_PX)
    layers.text_at(detail, x, words_y, align="left", color=layers.colours["ink-2"])
    colour = layers.colours[row.style.colour]
    if row.low is not None and row.high is not None:
        bar: dict[str, Any] = {"type": "rect", "color": colour, "opacity": 0.3, "clip": True}
        if row.assumed:
            bar = {**bar, "filled": False, "stroke": colour, "strokeDash": [4, 3], "strokeWidth": 2, "opacity": 1}
        ends = {"y": {"value": marks_y - 11}, "y2": {"value": marks_y + 11}}
        layers.add(bar, [{"x": row.low, "x2": row.high}], x=layers.x(), x2={"field": "x2"}, **ends)
    if row.mean is not None:
        line = {"type": "rule", "color": colour, "strokeWidth": 2.5, "strokeDash": [4, 3] if row.assumed else [1, 0]}
        ends = {"y": {"value": marks_y - 11}, "y2": {"value": marks_y + 11}}
        layers.add(line, [{"x": row.mean}], x=layers.x(), **ends)
    number = len(row.prints)
    step = min(7.0, 22.0 / number) if number else 0.0
    for nth, value in enumerate(row.prints):
        y = marks_y + (nth - (number - 1) / 2) * step
        layers.add(layers.point_mark(row.style, size=88), [{"x": value}], x=layers.x(), y={"value": y})


def round_ticks(low: float, high: float, most: int = 4) -> list[float]:
    """Two to four round numbers inside an axis.

    >>> round_ticks(2730.0, 4100.0)
    [3000.0, 3500.0, 4000.0]
    """
    span = high - low
    if not span > 0:
        return [low]
    for exponent in range(math.floor(math.log10(span)) - 2, math.floor(math.log10(span)) + 2):
        for digit in (1, 2, 5):
            step = digit * 10.0**exponent
            first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
            if last - first + 1 <= most:
                if last < first:
                    return [round((low + high) / 2, max(0, -exponent))]
                return [float(f"{k * step:.12g}") for k in range(first, last + 1)]
    return [low, high]
