"""What a curve is to a chart: points, a name, a style, and the point that its name is tied to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frusta.publish.charts.frame import Layers, text_width
from frusta.publish.theme import LABEL_PX, SMALL_PX, Style
from frusta.publish.words import shortened


@dataclass(frozen=True, eq=False)
class Curve:
    """One curve with its name.

    Attributes
    ----------
    name : str
        In words.
    style : Style
        Colour, dash and mark of its material.
    x, y : ndarray of float, shape (n,)
        Points; NaN breaks the curve.
    anchor : float or None
        Place along x that the name is tied to; None leaves it to the chart.
    figure, detail : str
        Figure that follows the name, with its unit; its interval, left out on a phone.
    marked : bool
        Whether the anchor is a figure to put the material's mark on, not just a place for the name.
    """

    name: str
    style: Style
    x: NDArray[np.float64]
    y: NDArray[np.float64]
    anchor: float | None = None
    figure: str = ""
    detail: str = ""
    marked: bool = True

    def at(self, place: float) -> float:
        """Value of the curve at a place, NaN outside."""
        good = np.isfinite(self.y) & np.isfinite(self.x)
        if not good.any():
            return float("nan")
        x, y = self.x[good], self.y[good]
        return float(np.interp(place, x, y, left=np.nan, right=np.nan))

    def highest_near(self, place: float, share: float = 0.03) -> float:
        """Largest value within a few percent of a place, NaN if there is none."""
        near = (self.x > place * (1 - share)) & (self.x < place * (1 + share)) & np.isfinite(self.y)
        return float(self.y[near].max()) if near.any() else self.at(place)


@dataclass(frozen=True)
class _Label:
    text: str
    colour: str
    x_px: float
    y_px: float


ROW_PX = 19.0


def draw_lines(layers: Layers, curves: Sequence[Curve], *, narrow: bool) -> None:
    """Draw curves, each in the colour, dash and thickness of its material."""
    for curve in curves:
        layers.line(curve.x, curve.y, layers.curve_mark(curve.style, narrow=narrow))


def stairs(layers: Layers, curves: Sequence[Curve], *, narrow: bool, top_px: float = 8.0) -> None:
    """Write the names of the curves like stairs, tied to their anchors by thin leaders that cross no name.

    Names left of the split lie to the left of their leader, the rest to the right; of each side the innermost
    is on top. The split is where the fewest names leave the frame.
    """
    frame = layers.frame
    size = SMALL_PX if narrow else LABEL_PX
    longest = 17 if narrow else 30
    labels = []
    for curve in curves:
        if curve.anchor is None or not frame.x[0] <= curve.anchor <= frame.x[1]:
            continue
        value = curve.highest_near(curve.anchor)
        if not np.isfinite(value):
            continue
        parts = [shortened(curve.name, longest), curve.figure, "" if narrow else curve.detail]
        text = " ".join(part for part in parts if part)
        y_px = min(max(frame.y_px(value), 0.0), frame.height)
        labels.append(_Label(text, curve.style.colour, frame.x_px(curve.anchor), y_px))
    labels.sort(key=lambda label: (label.x_px, label.text))
    split = _best_split(labels, frame.width, size)
    for place, label in enumerate(labels):
        left = place < split
        row = split - 1 - place if left else place - split
        y = top_px + ROW_PX * row + 2
        reach = -7.0 if left else 7.0
        layers.segments([(label.x_px, label.y_px - 3), (label.x_px, y), (label.x_px + reach, y)], label.colour)
        layers.texts(
            [{"text": label.text, "px": label.x_px + 1.6 * reach, "py": y}],
            align="right" if left else "left",
            fontSize=size,
            fontWeight=700,
            halo=5,
        )


def _best_split(labels: list[_Label], width: float, size: float) -> int:
    """Number of names to put on the left of their leaders."""

    def cost(split: int) -> tuple[float, float]:
        over = 0.0
        for place, label in enumerate(labels):
            wide = text_width(label.text, size, bold=True) + 12
            over += max(0.0, wide - label.x_px) if place < split else max(0.0, label.x_px + wide - width)
        return over, abs(split - (len(labels) + 0.5) / 2)

    return min(range(len(labels) + 1), key=cost)
