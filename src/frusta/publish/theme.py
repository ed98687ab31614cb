"""Colours, dashes and marks of every chart, and the Vega configuration for light and dark."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

FONT = "Atkinson Hyperlegible Next"
FONT_STACK = f"{FONT}, system-ui, sans-serif"
SMALL_PX = 15
LABEL_PX = 16

LIGHT: Mapping[str, str] = {
    "paper": "#e6eae2",
    "card": "#fcfcf8",
    "sunk": "#f1f3ec",
    "ink": "#161b17",
    "ink-2": "#475046",
    "rule": "#cbd2c5",
    "edge": "#788272",
    "grid": "#e0e4da",
    "grid-2": "#c9d0c3",
    "used": "#eef1e3",
    "floor": "#dfe3d8",
    "m1": "#0072b2",
    "m2": "#d55e00",
    "m3": "#009e73",
    "m4": "#b8568f",
}
DARK: Mapping[str, str] = {
    "paper": "#171916",
    "card": "#222520",
    "sunk": "#1b1e1a",
    "ink": "#f4f4ec",
    "ink-2": "#bec4b6",
    "rule": "#3d423a",
    "edge": "#8c9583",
    "grid": "#2d312a",
    "grid-2": "#42483e",
    "used": "#2e322a",
    "floor": "#383d34",
    "m1": "#56b4e9",
    "m2": "#e69f00",
    "m3": "#00a87a",
    "m4": "#cc79a7",
}
SCHEMES: Mapping[str, Mapping[str, str]] = {"light": LIGHT, "dark": DARK}

MATERIAL_COLOURS = ("m1", "m2", "m3", "m4")
_FIRST_DASHES: tuple[tuple[float, ...], ...] = ((12, 4), (11, 3, 3, 3), (), (7, 3, 2, 3, 2, 3))
_LATER_DASHES: tuple[tuple[float, ...], ...] = ((18, 3), (2, 2), (9, 3, 9, 3, 2, 3), (5, 5))
_RECIPE_DASHES: tuple[tuple[float, ...], ...] = ((4, 3), (2, 3), (8, 3, 2, 3), (14, 3, 2, 3))
_MARKS = ("square", "triangle-up", "circle", "diamond", "triangle-down", "cross", "triangle-right", "triangle-left")


@dataclass(frozen=True)
class Style:
    """How one material and recipe is drawn wherever it appears: never by colour alone."""

    colour: str
    dash: tuple[float, ...]
    mark: str
    hollow: bool = False


def group_styles(groups: Sequence[tuple[str, str]]) -> dict[tuple[str, str], Style]:
    """Give every (material, recipe) its style, for life: by the order in which materials are listed.

    Parameters
    ----------
    groups : sequence of (material, recipe)
        In the order of the campaign's tables.

    Returns
    -------
    dict of (material, recipe) to Style
        Neighbours in the list never share a colour unless they share the material; further recipes of a
        material keep its colour and mark, dashed otherwise and hollow.
    """
    materials = list(dict.fromkeys(material for material, _ in groups))
    seen: dict[str, int] = {}
    styles: dict[tuple[str, str], Style] = {}
    for material, recipe in groups:
        if (material, recipe) in styles:
            continue
        place = materials.index(material)
        colour = MATERIAL_COLOURS[place % len(MATERIAL_COLOURS)]
        mark = _MARKS[place % len(_MARKS)]
        nth = seen.get(material, 0)
        seen[material] = nth + 1
        if nth:
            dash = _RECIPE_DASHES[(nth - 1) % len(_RECIPE_DASHES)]
        else:
            dash = (_FIRST_DASHES if place < len(_FIRST_DASHES) else _LATER_DASHES)[place % len(_FIRST_DASHES)]
        styles[(material, recipe)] = Style(colour, dash, mark, hollow=nth > 0)
    return styles


def config(scheme: str = "light", *, background: bool = False) -> dict[str, Any]:
    """Return the Vega configuration of the page, the report and a notebook.

    Parameters
    ----------
    scheme : {"light", "dark"}
        Which set of colours.
    background : bool
        Paint the card behind the chart; the page and the report have their own.

    Returns
    -------
    dict
        To be put under ``config`` in a Vega-Lite specification.
    """
    colours = SCHEMES[scheme]
    return {
        "background": colours["card"] if background else "transparent",
        "font": FONT_STACK,
        "aria": False,
        "view": {"stroke": None, "fill": None},
        "axis": {
            "domain": False,
            "ticks": False,
            "grid": False,
            "labelColor": colours["ink-2"],
            "labelFontSize": SMALL_PX,
            "labelFont": FONT_STACK,
            "labelPadding": 8,
            "labelOverlap": False,
            "title": None,
        },
        "text": {"font": FONT_STACK, "fontSize": SMALL_PX, "color": colours["ink"]},
        "line": {"strokeCap": "butt", "strokeJoin": "round"},
    }
