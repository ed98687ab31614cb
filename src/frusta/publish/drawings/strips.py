"""Figures drawn print by print, a panel a shape, and all of them in one table."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import partial

from frusta.campaign.findings import Findings
from frusta.campaign.package import Package
from frusta.publish.charts import StripRow, shared_windows, strips_chart
from frusta.publish.drawings.drawing import STRIP_PX, Drawing, glyph_of, sized, slug
from frusta.publish.groups import Groups, profile_name
from frusta.publish.prints import GroupMean, group_means, profiles_of
from frusta.publish.table import TableOf
from frusta.publish.verdict import mean_words
from frusta.publish.words import interval, quantity


@dataclass(frozen=True)
class StripFigure:
    """A figure that is drawn print by print."""

    key: str
    title: str
    unit: str
    says: str


STRIPS = (
    StripFigure("breakup_hz", "Break-up", "Hz", "Where each cone stops moving as one piece."),
    StripFigure("decay_2_percent_ms", "Time to fall to 2 %", "ms", "How long each cone rings on."),
    StripFigure("unevenness_common_db", "Unevenness over the common band", "dB", "Half of highest minus lowest."),
    StripFigure("input_thd_peak_percent", "Largest input distortion", "%", "With the cone's own peaks taken out."),
    StripFigure("upper_limit_hz", "Upper limit", "Hz", "Where the smoothed response falls 10 dB for good."),
    StripFigure("level_db", "Level, 300 Hz to 1 kHz", "dB", "As recorded; drift of the session included."),
)


def strip_drawings(findings: Findings, package: Package, groups: Groups, figure: StripFigure) -> list[Drawing]:
    """One panel of strips a profile, all on one scale factor."""
    means = group_means(findings.readings, groups, figure.key)
    if all(m.mean is None for m in means):
        return []
    profiles = profiles_of(findings, package)
    panels = [[strip_row(m, figure.unit) for m in means if m.profile == profile] for profile in profiles]
    windows = shared_windows(panels, logarithmic=figure.unit != "dB")
    drawings = []
    for profile, rows, window in zip(profiles, panels, windows, strict=True):
        if not rows:
            continue
        name = profile_name(profile, package)
        said = "; ".join(f"{r.name} {r.figure}{', ' + r.detail if r.detail else ''}" for r in rows)
        label = f"{figure.title} of the {name} cones. {said}."
        make = sized(partial(strips_chart, rows, description=label, unit=figure.unit, window=window))
        key = f"{figure.key.rsplit('_', 1)[0].replace('_', '-')}-{slug(profile)}"
        drawings.append(
            Drawing(key, make, label, STRIP_PX, heading=name, glyph=glyph_of(profile, package), narrow=False)
        )
    return drawings


def strip_row(mean: GroupMean, unit: str) -> StripRow:
    """A row of a strip from a group's mean."""
    figure, detail = "not read", re.split(r"[:;]", mean.reason)[0]
    if mean.mean is not None:
        detail = mean.reason
        half = (mean.high - mean.low) / 2 if mean.low is not None and mean.high is not None else None
        figure = quantity(mean.mean, unit, half_width=half, trim=False)
        if mean.low is not None and mean.high is not None:
            detail = interval(mean.low, mean.high, unit, value=mean.mean)
    detail = "; ".join(part for part in (detail, mean.gaps) if part)
    return StripRow(
        mean.group.name, figure, detail, mean.group.style, tuple(mean.prints.values()), mean.mean, mean.low, mean.high
    )


def means_table(findings: Findings, package: Package, groups: Groups) -> TableOf:
    """Every figure of the strips, by profile and group, with its interval or the reason for having none."""
    head = ["Shape", "Material", "Prints", *(f.title for f in STRIPS)]
    by_cell = {
        (f.key, m.profile, m.group.name): (m, f.unit)
        for f in STRIPS
        for m in group_means(findings.readings, groups, f.key)
    }
    rows = []
    for profile in profiles_of(findings, package):
        for group in groups.all:
            cells = [by_cell.get((f.key, profile, group.name)) for f in STRIPS]
            if not any(cells):
                continue
            prints = max(len(c[0].prints) for c in cells if c)
            words = [_short_mean(*c) if c else "not recorded" for c in cells]
            rows.append([profile_name(profile, package), group.name, str(prints), *words])
    return TableOf(head, rows)


def _short_mean(mean: GroupMean, unit: str) -> str:
    """A mean with its interval, or the first clause of the reason for having none."""
    return mean_words(mean, unit) if mean.mean is not None else f"not read: {re.split('[:;]', mean.reason)[0]}"
