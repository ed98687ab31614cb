"""One chart of a report with what belongs to it: its words, its table, the values to read off."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from frusta.campaign.package import Package
from frusta.publish.groups import glyph_points
from frusta.publish.table import TableOf

NARROW_PX = 358
STRIP_PX = 336

Make = Callable[[float, str], dict[str, Any]]


@dataclass(frozen=True)
class Drawing:
    """One chart of the report.

    Attributes
    ----------
    key : str
        Name of its files, unique in the report.
    make : callable of (width in px, scheme) to a Vega-Lite dict
        The chart's one definition.
    label : str
        The result in words.
    wide : float
        Width on a desk, px.
    heading : str
        What the chart shows apart from its section's heading; empty if nothing.
    caption : str
        How to read it.
    glyph : tuple or None
        A cone's section to draw beside the heading.
    table : TableOf or None
        The same in a table.
    series : list of dict
        Curves to read off by pointing: name, colour, x and y.
    units : (str, str)
        Of x and y.
    narrow : bool
        Has a version of its own for a phone.
    """

    key: str
    make: Make
    label: str
    wide: float
    heading: str = ""
    caption: str = ""
    glyph: tuple[str, str, str] | None = None
    table: TableOf | None = None
    series: list[dict[str, Any]] = field(default_factory=list)
    units: tuple[str, str] = ("", "")
    narrow: bool = True


def sized(chart: Callable[..., dict[str, Any]]) -> Make:
    """Return a chart that lacks only its size and colours as what a `Drawing` makes it by.

    Parameters
    ----------
    chart : callable
        Takes ``total_width`` and ``scheme`` by name; `functools.partial` of a function of `frusta.publish.charts`.
    """
    return lambda width, scheme: chart(total_width=width, scheme=scheme)


def glyph_of(profile: str, package: Package) -> tuple[str, str, str] | None:
    """Return a cone's section as points; None where the profile is not in the table."""
    row = package.profiles.get(profile)
    return glyph_points(row) if row is not None else None


def slug(text: str) -> str:
    """Return a key as part of a file's name; "cones" where it is empty."""
    return text.replace("_", "-") or "cones"
