"""The charts, each defined once for the page, the report and a notebook: functions that return Vega-Lite dicts."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from frusta.publish.charts.curve import Curve
from frusta.publish.charts.decay import decay_chart
from frusta.publish.charts.distortion import distortion_chart
from frusta.publish.charts.ranking import RankRow, ranking_chart
from frusta.publish.charts.response import response_chart
from frusta.publish.charts.strips import StripRow, Window, shared_windows, strips_chart

if TYPE_CHECKING:
    import altair

__all__ = [
    "Curve",
    "RankRow",
    "StripRow",
    "Window",
    "decay_chart",
    "distortion_chart",
    "ranking_chart",
    "response_chart",
    "shared_windows",
    "strips_chart",
    "to_altair",
]


def to_altair(spec: dict[str, Any]) -> altair.TopLevelMixin:
    """Return a chart as an Altair object, which a notebook shows by itself."""
    import altair

    chart: altair.TopLevelMixin = altair.Chart.from_dict(spec)
    return chart
