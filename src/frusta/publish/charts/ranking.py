"""The ranking: places, scores with their intervals, and a bracket where places are shared."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from frusta.publish.charts.frame import Frame, Layers
from frusta.publish.charts.strips import round_ticks
from frusta.publish.theme import LABEL_PX, Style
from frusta.publish.words import NBSP, shortened


@dataclass(frozen=True)
class RankRow:
    """One group's standing.

    Attributes
    ----------
    name, detail : str
        Name, and the score in words or why there is none.
    style : Style
        Colour and mark of the material.
    score, low, high : float or None
        Points and their interval.
    rank_low, rank_high : int or None
        Best and worst place that the scatter leaves open.
    """

    name: str
    detail: str
    style: Style
    score: float | None
    low: float | None
    high: float | None
    rank_low: int | None
    rank_high: int | None


def tied_runs(rows: Sequence[RankRow]) -> list[tuple[int, int]]:
    """First and last row of every run that shares one span of places, longer than one row."""
    runs: list[tuple[int, int]] = []
    start = 0
    for place in range(1, len(rows) + 1):
        same = place < len(rows) and _places(rows[place]) == _places(rows[start])
        if not same:
            shared = _places(rows[start])
            if place - start > 1 and shared[0] is not None and shared[0] != shared[1]:
                runs.append((start, place - 1))
            start = place
    return runs


def _places(row: RankRow) -> tuple[int | None, int | None]:
    return row.rank_low, row.rank_high


def ranking_chart(
    rows: Sequence[RankRow],
    *,
    description: str,
    total_width: float = 1000,
    scheme: str = "light",
    background: bool = False,
) -> dict[str, Any]:
    """Draw places, names and scores with their intervals; a tie is bracketed and called one.

    Parameters
    ----------
    rows : sequence of RankRow
        Best first.
    description : str
        The result in words.
    total_width : float
        Of the whole picture, px; below 450 the chart is drawn for a phone.
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
    row_px = 86.0 if narrow else 61.0
    left, right = (64.0, 44.0) if narrow else (390.0, 34.0)
    ends = [v for row in rows for v in (row.score, row.low, row.high) if v is not None]
    low, high = (min(ends), max(ends)) if ends else (0.0, 100.0)
    margin = max(0.06 * (high - low), 2.0)
    frame = Frame(
        total_width - left - right,
        row_px * max(1, len(rows)),
        (low - margin, high + margin),
        (0, 1),
        x_log=False,
        left=left,
        right=right,
        top=4,
        bottom=32,
    )
    layers = Layers(frame, scheme)
    ticks = round_ticks(*frame.x, most=4 if narrow else 7)
    labels = {t: f"{t:g}".replace("-", "−") for t in ticks}
    labels[ticks[-1]] += f"{NBSP}points"
    layers.grid(dict.fromkeys(ticks, True), {}, x_labels=labels, y_labels={})
    for place, row in enumerate(rows):
        _row(layers, row, place * row_px, row_px, narrow)
    x = frame.width + 14 if narrow else -28.0
    for first, last in tied_runs(rows):
        top, bottom = first * row_px + 10, (last + 1) * row_px - 10
        layers.segments([(x - 7, top), (x, top), (x, bottom), (x - 7, bottom)], "ink", width=2)
        layers.text_at("a tie", x + 14, (top + bottom) / 2, align="center", fontWeight=700, angle=270)
    return layers.spec(description, background=background)


def place_words(row: RankRow) -> tuple[str, str]:
    """The place in two parts: "2" and "to 4"; "1" and nothing; a dash where there is none."""
    if row.rank_low is None or row.rank_high is None:
        return "–", ""
    return str(row.rank_low), f"to {row.rank_high}" if row.rank_high > row.rank_low else ""


def _row(layers: Layers, row: RankRow, top: float, row_px: float, narrow: bool) -> None:
    frame = layers.frame
    if top:
        layers.segments([(-frame.left + 2, top), (frame.width, top)], "grid-2", width=1)
    number, to = place_words(row)
    number_y = top + (30 if not narrow else 26)
    layers.text_at(number, -frame.left + 2, number_y, align="left", fontSize=30, fontWeight=700, halo=0)
    if to:
        layers.text_at(
            to,
            -frame.left + 2 + 17 * len(number) + 5,
            number_y + 3,
            align="left",
            color=layers.colours["ink-2"],
            halo=0,
        )
    name_x = 6.0 if narrow else -frame.left + 96
    name = shortened(row.name, 28 if narrow else 30)
    layers.text_at(name, name_x, top + 18, align="left", fontSize=LABEL_PX, fontWeight=700)
    layers.text_at(row.detail, name_x, top + 40, align="left", color=layers.colours["ink-2"])
    y = top + (66 if narrow else row_px / 2)
    colour = layers.colours[row.style.colour]
    if row.low is not None and row.high is not None:
        bar = {"type": "rect", "color": colour, "opacity": 0.3}
        ends = {"y": {"value": y - 11}, "y2": {"value": y + 11}}
        layers.add(bar, [{"x": row.low, "x2": row.high}], x=layers.x(), x2={"field": "x2"}, **ends)
    if row.score is not None:
        layers.add(layers.point_mark(row.style), [{"x": row.score}], x=layers.x(), y={"value": y})
