"""Responses, a chart a shape and four groups, with the rigid cone behind."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import partial

import numpy as np

from frusta.campaign.curves import TakeCurves
from frusta.campaign.findings import Findings
from frusta.campaign.package import Package
from frusta.publish import facts
from frusta.publish.charts import Curve, response_chart
from frusta.publish.curves_of import response_curve, rigid_curve
from frusta.publish.drawings.curve_parts import FIRST_PX, LATER_PX, one_series, parts_of, series_of, third_octaves
from frusta.publish.drawings.drawing import Drawing, glyph_of, sized
from frusta.publish.groups import Groups
from frusta.publish.prints import profiles_of
from frusta.publish.words import quantity


def response_drawings(
    findings: Findings, package: Package, curves: Mapping[str, TakeCurves], groups: Groups
) -> list[Drawing]:
    """Responses, a chart a profile and four groups."""
    band = facts.band_of(package)
    stop, start = facts.stop_hz(findings, package), facts.start_hz(findings, package)
    relative = facts.relative_levels(findings, package)
    several = len(profiles_of(findings, package)) > 1
    drawings: list[Drawing] = []
    for part in parts_of(findings, package, curves, groups):
        lines, rigid = [response_curve(s) for s in part.shown], rigid_curve(part.shown)
        peaks = "; ".join(
            f"{s.group.name} breaks up at {quantity(s.reading.breakup_hz, 'Hz')}"
            if s.reading.breakup_hz
            else f"{s.group.name}: {s.reading.reasons.get('breakup_hz', 'no break-up read')}"
            for s in part.shown
        )
        label = f"Response of the {part.name} cones, one median print of each. {peaks}."
        chart = partial(
            response_chart,
            lines,
            description=label,
            rigid=rigid,
            band_hz=band,
            read_hz=_read_span(lines, start, stop),
            relative=relative,
        )
        drawings.append(
            Drawing(
                part.key("response"),
                sized(chart),
                label,
                LATER_PX if drawings else FIRST_PX,
                heading=part.heading if several or part.parts > 1 else "",
                glyph=glyph_of(part.profile, package),
                table=third_octaves(lines, "dB", 1),
                series=[*series_of(lines, 1), *([one_series(rigid, "rigid", 1)] if rigid else [])],
                units=("Hz", "dB"),
            )
        )
    return drawings


def _read_span(lines: Sequence[Curve], start: float | None, stop: float | None) -> tuple[float, float] | None:
    """What was read, Hz: inside the sweep, and where any curve has a value."""
    ends = [(float(c.x[good][0]), float(c.x[good][-1])) for c in lines if (good := np.isfinite(c.y)).any()]
    if not ends:
        return None
    low, high = min(e[0] for e in ends), max(e[1] for e in ends)
    return max(low, start or 0.0), min(high, stop or math.inf)
