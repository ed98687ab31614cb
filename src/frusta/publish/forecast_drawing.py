"""A forecast drawn: the expected response in its 95 % band, the rigid cone, and recorded cones beside it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from frusta.campaign.atomic import write_atomically
from frusta.errors import ParameterError
from frusta.publish import render
from frusta.publish.charts.curve import Curve
from frusta.publish.charts.response import response_chart
from frusta.publish.theme import SCHEMES, Style

FORECAST = Style("m1", (), "circle")
RECORDED = Style("m2", (11, 3, 3, 3), "triangle-up")
MOST_RECORDED = 3


def forecast_chart(
    document: Mapping[str, Any], *, total_width: float = 700, scheme: str = "light", background: bool = False
) -> dict[str, Any]:
    """Return the chart of a forecast.

    Parameters
    ----------
    document : mapping
        Of `frusta.campaign.forecast_file.forecast_document`, or read from its JSON.
    total_width, scheme, background
        As of `response_chart`.

    Returns
    -------
    dict
        A Vega-Lite specification.
    """
    response = document["response"]
    x = np.array(response["frequency_hz"], dtype=np.float64)
    columns = {name: _column(response[name]) for name in ("level_db", "low_95_db", "high_95_db", "rigid_db")}
    break_up_hz = document.get("breakup_hz")
    name = _name(document)
    figure = f"{break_up_hz:.0f} Hz" if break_up_hz else ""
    curves = [
        Curve(
            f"forecast, {name}", FORECAST, x, columns["level_db"], anchor=break_up_hz or float(x[-1]) / 4, figure=figure
        )
    ]
    for cone in document.get("recorded", ())[:MOST_RECORDED]:
        at = np.array(cone["frequency_hz"], dtype=np.float64)
        curves.append(Curve(f"recorded, {cone['specimen']}", RECORDED, at, _column(cone["level_db"]), marked=False))
    if len(curves) > 1:
        curves[1] = Curve(curves[1].name, RECORDED, curves[1].x, curves[1].y, anchor=1500.0, marked=False)
    spread = (Curve("", FORECAST, x, columns["low_95_db"]), Curve("", FORECAST, x, columns["high_95_db"]))
    return response_chart(
        curves,
        description=f"Forecast response of {name}: {_words(document)}.",
        rigid=Curve("rigid", FORECAST, x, columns["rigid_db"]),
        spread=spread,
        read_hz=(float(x[0]), float(x[-1])),
        relative=response["level_is"] == "relative",
        total_width=total_width,
        scheme=scheme,
        background=background,
    )


def write_forecast_chart(document: Mapping[str, Any], path: Path) -> Path:
    """Draw a forecast into a file.

    Parameters
    ----------
    document : mapping
    path : Path
        Ends in .svg or .png.

    Raises
    ------
    ParameterError
        If the name ends in something else.
    OutputError
        If it cannot be written.
    """
    if path.suffix.lower() not in (".svg", ".png"):
        raise ParameterError(f"a chart's name must end in .svg or .png (got {path.name})")
    svg = render.with_ground(render.raw_svg(forecast_chart(document)), SCHEMES["light"]["card"])
    if path.suffix.lower() == ".png":
        return write_atomically(path, render.png(svg))
    return write_atomically(path, render.standalone_svg(svg).encode())


def _column(values: list[float | None]) -> np.ndarray[Any, np.dtype[np.float64]]:
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)


def _name(document: Mapping[str, Any]) -> str:
    recipe = document["recipe"]
    return f"{document['material']}{'/' + recipe if recipe else ''} in {document['profile']}"


def _words(document: Mapping[str, Any]) -> str:
    if document.get("breakup_hz") is None:
        return str(document["reasons"].get("breakup_hz", "no break-up in the band"))
    low, high = document["breakup_hz_low_95"], document["breakup_hz_high_95"]
    return f"breaks up at {document['breakup_hz']:.0f} Hz, 95 % of prints between {low:.0f} and {high:.0f} Hz"
