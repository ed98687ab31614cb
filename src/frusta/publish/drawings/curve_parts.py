"""What all drawings of curves share: one chart a shape and four groups, its table and its values to read off."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from frusta.campaign.curves import TakeCurves
from frusta.campaign.findings import Findings
from frusta.campaign.package import Package
from frusta.publish.charts import Curve
from frusta.publish.curves_of import Shown, shown_takes
from frusta.publish.drawings.drawing import slug
from frusta.publish.groups import Groups, profile_name
from frusta.publish.prints import profiles_of
from frusta.publish.table import TableOf
from frusta.publish.words import NBSP, plain, quantity

MOST_CURVES = 4
FIRST_PX, LATER_PX = 700, 500
"""Widths on a desk: of a figure's first chart, and of those behind it."""


@dataclass(frozen=True)
class Part:
    """The takes of one shape that share a chart.

    Attributes
    ----------
    profile, name : str
        Key, and in words.
    shown : list of Shown
        One take a group.
    nth, parts : int
        Which of how many charts of this shape, from 0.
    """

    profile: str
    name: str
    shown: list[Shown]
    nth: int
    parts: int

    def key(self, kind: str) -> str:
        """Return the key of a drawing."""
        return f"{kind}-{slug(self.profile)}" + (f"-{self.nth + 1}" if self.parts > 1 else "")

    @property
    def heading(self) -> str:
        """The shape in words, and which part of it where there are several."""
        return f"{self.name}, {self.nth + 1} of {self.parts}" if self.parts > 1 else self.name


def parts_of(findings: Findings, package: Package, curves: Mapping[str, TakeCurves], groups: Groups) -> Iterator[Part]:
    """Yield the charts that curves are drawn in, shape by shape."""
    for profile in profiles_of(findings, package):
        shown = shown_takes(findings.readings, curves, groups, profile)
        chunks = [shown[k : k + MOST_CURVES] for k in range(0, len(shown), MOST_CURVES)]
        for nth, chunk in enumerate(chunks):
            yield Part(profile, profile_name(profile, package), chunk, nth, len(chunks))


def third_octaves(lines: Sequence[Curve], unit: str, digits: int) -> TableOf:
    """Values of curves at third-octave centres (the nearest point of the grid), for the table behind a chart."""
    rows = []
    for k in range(-9, 15):
        centre = 1000 * 2 ** (k / 3)
        cells = []
        for line in lines:
            value = line.at(centre)
            cells.append(f"{plain(value, digits)}{NBSP}{unit}" if np.isfinite(value) else "not read")
        if any(cell != "not read" for cell in cells):
            rows.append([_centre_words(centre), *cells])
    return TableOf(["Frequency", *(line.name for line in lines)], rows)


def _centre_words(hz: float) -> str:
    nominal = (125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300,
               8000, 10000, 12500, 16000, 20000, 25000)  # fmt: skip
    return quantity(min(nominal, key=lambda n: abs(math.log(n / hz))), "Hz")


def series_of(lines: Sequence[Curve], digits: int, step: int = 2) -> list[dict[str, Any]]:
    """Return curves as values to read off: name, colour, x and y."""
    return [one_series(line, line.style.colour, digits, step) for line in lines]


def one_series(line: Curve, colour: str, digits: int, step: int = 2) -> dict[str, Any]:
    """Return every ``step``-th point of a curve, rounded, for reading off."""
    x, y = line.x[::step], line.y[::step]
    good = (x >= 20) | (x[0] < 1)
    return {
        "name": line.name,
        "colour": colour,
        "x": [float(f"{v:.4g}") for v in x[good]],
        "y": [round(float(v), digits) if np.isfinite(v) else None for v in y[good]],
    }
