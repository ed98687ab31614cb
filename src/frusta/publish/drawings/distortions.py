"""Input-referred distortion, a chart a shape and four groups, with the highest noise floor."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial

import numpy as np
from numpy.typing import NDArray

from frusta.campaign.curves import TakeCurves
from frusta.campaign.findings import Findings
from frusta.campaign.package import Package
from frusta.publish import facts
from frusta.publish.charts import Curve, distortion_chart
from frusta.publish.curves_of import distortion_curve
from frusta.publish.drawings.curve_parts import FIRST_PX, LATER_PX, parts_of, series_of, third_octaves
from frusta.publish.drawings.drawing import Drawing, glyph_of, sized
from frusta.publish.groups import Groups
from frusta.publish.prints import group_means
from frusta.publish.words import listed

Floats = NDArray[np.float64]


def distortion_drawings(
    findings: Findings, package: Package, curves: Mapping[str, TakeCurves], groups: Groups
) -> list[Drawing]:
    """Input-referred distortion, a chart a profile and four groups; none where no harmonic could be read."""
    band, stop = facts.band_of(package), facts.stop_hz(findings, package)
    means = {(m.profile, id(m.group)): m for m in group_means(findings.readings, groups, "input_thd_peak_percent")}
    drawings: list[Drawing] = []
    for part in parts_of(findings, package, curves, groups):
        pairs = [distortion_curve(s, means.get((part.profile, id(s.group)))) for s in part.shown]
        lines = [curve for curve, _ in pairs if np.isfinite(curve.y).any()]
        if not lines:
            continue
        noise = Curve("noise", lines[0].style, lines[0].x, highest([floor for _, floor in pairs]))
        said = "; ".join(" ".join(p for p in (c.name, c.figure, c.detail) if p) for c in lines)
        hidden = [curve.name for curve, _ in pairs if not np.isfinite(curve.y).any()]
        label = f"Input distortion of the {part.name} cones. Largest: {said}."
        if hidden:
            label += f" Hidden by noise: {listed(hidden)}."
        chart = partial(distortion_chart, lines, description=label, noise=noise, stop_hz=stop, band_hz=band)
        drawings.append(
            Drawing(
                part.key("distortion"),
                sized(chart),
                label,
                LATER_PX if drawings else FIRST_PX,
                heading=part.heading,
                glyph=glyph_of(part.profile, package),
                table=third_octaves(lines, "%", 3),
                series=series_of(lines, 3),
                units=("Hz", "%"),
            )
        )
    return drawings


def highest(floors: Sequence[Floats]) -> Floats:
    """Return the highest of several noise floors, point by point; not a number where none is known."""
    stacked = np.array(floors)
    floor = np.full(stacked.shape[1], np.nan)
    some = np.isfinite(stacked).any(axis=0)
    floor[some] = np.nanmax(stacked[:, some], axis=0)
    return floor
