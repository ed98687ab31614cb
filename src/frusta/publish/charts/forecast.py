"""A forecast: the level that should be heard, with the band that holds 95 % of prints."""

from __future__ import annotations

from typing import Any

from frusta.publish.charts.curve import Curve
from frusta.publish.charts.response import response_chart


def forecast_chart(
    expected: Curve,
    low: Curve,
    high: Curve,
    *,
    description: str,
    rigid: Curve | None = None,
    band_hz: tuple[float, float] | None = None,
    relative: bool = False,
    total_width: float = 700,
    scheme: str = "light",
    background: bool = False,
) -> dict[str, Any]:
    """Draw a forecast on a logarithmic frequency axis on which 25 dB are as long as one decade.

    Parameters
    ----------
    expected, low, high : Curve
        Level and the ends of its band, dB, on one grid of Hz; the name of the first stands at its anchor.
    description : str
        The result in words.
    rigid : Curve or None
        The same cone, were it rigid; dots.
    band_hz : (float, float) or None
        The campaign's band.
    relative : bool
        Levels have no absolute reference.
    total_width : float
        Of the whole picture, px; below 450 for a phone.
    scheme : {"light", "dark"}
    background : bool

    Returns
    -------
    dict
        A Vega-Lite specification.
    """
    return response_chart(
        [expected],
        description=description,
        rigid=rigid,
        spread=(low, high),
        band_hz=band_hz,
        relative=relative,
        total_width=total_width,
        scheme=scheme,
        background=background,
    )
