"""How fast cones fall silent: envelopes, a chart a shape and four groups."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

import numpy as np

from frusta.campaign.curves import TakeCurves
from frusta.campaign.findings import Findings
from frusta.campaign.package import Package
from frusta.publish.charts import decay_chart
from frusta.publish.curves_of import Shown, decay_curve
from frusta.publish.drawings.curve_parts import FIRST_PX, LATER_PX, parts_of, series_of
from frusta.publish.drawings.drawing import Drawing, glyph_of, sized
from frusta.publish.groups import Groups
from frusta.publish.prints import GroupMean, group_means
from frusta.publish.table import TableOf
from frusta.publish.verdict import mean_words
from frusta.publish.words import NBSP, quantity

COLUMNS = {
    "decay_5_percent_ms": "To 5 %",
    "decay_2_percent_ms": "To 2 %",
    "decay_bandlimit_ms": "A perfect cone, to 2 %",
}


def decay_drawings(
    findings: Findings, package: Package, curves: Mapping[str, TakeCurves], groups: Groups
) -> list[Drawing]:
    """Envelopes, a chart a profile and four groups."""
    means = {(m.profile, id(m.group)): m for m in group_means(findings.readings, groups, "decay_2_percent_ms")}
    drawings: list[Drawing] = []
    for part in parts_of(findings, package, curves, groups):
        mean_of = {id(s.group): means.get((part.profile, id(s.group))) for s in part.shown}
        lines = [c for s in part.shown if (c := decay_curve(s, mean_of[id(s.group)])) is not None]
        if not lines:
            continue
        echo = min(float(c.x[np.isfinite(c.y)][-1]) for c in lines)
        said = "; ".join(f"{s.group.name} {_mean_or_reason(mean_of[id(s.group)], s)}" for s in part.shown)
        label = f"Falling silent, {part.name} cones. To 2 %: {said}."
        drawings.append(
            Drawing(
                part.key("decay"),
                sized(partial(decay_chart, lines, description=label, echo_ms=echo)),
                label,
                LATER_PX if drawings else FIRST_PX,
                heading=part.heading,
                glyph=glyph_of(part.profile, package),
                table=TableOf(
                    ["Material", *COLUMNS.values()],
                    [[s.group.name, *(_reading_words(s, key) for key in COLUMNS)] for s in part.shown],
                ),
                series=series_of(lines, 1, step=4),
                units=("ms", "%"),
            )
        )
    return drawings


def _mean_or_reason(mean: GroupMean | None, shown: Shown) -> str:
    if mean is not None and mean.mean is not None:
        return mean_words(mean, "ms")
    return shown.reading.reasons.get("decay_2_percent_ms", "not read")


def _reading_words(shown: Shown, key: str) -> str:
    value = getattr(shown.reading, key)
    if value is None:
        return shown.reading.reasons.get(key, "not read")
    u = getattr(shown.reading, f"{key}_u")
    if u:
        half = 1.96 * u
        return f"{quantity(value, 'ms', half_width=half)} ±{NBSP}{quantity(half, 'ms', half_width=half)}"
    return quantity(value, "ms")
