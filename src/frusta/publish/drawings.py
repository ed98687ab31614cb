"""The drawings of a report: which charts there are, how wide, with their words, tables and values to read off."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from frusta.campaign.curves import TakeCurves
from frusta.campaign.findings import Estimate, Findings, RankingRow
from frusta.campaign.package import Package
from frusta.publish import facts
from frusta.publish.charts import (
    Curve,
    RankRow,
    StripRow,
    decay_chart,
    distortion_chart,
    ranking_chart,
    response_chart,
    shared_windows,
    strips_chart,
)
from frusta.publish.curves_of import (
    Shown,
    decay_curve,
    distortion_curve,
    response_curve,
    rigid_curve,
    shown_takes,
)
from frusta.publish.groups import Groups, glyph_points, profile_name, profile_order
from frusta.publish.prints import GroupMean, counted, group_means
from frusta.publish.table import TableOf
from frusta.publish.verdict import mean_words, name_of_row
from frusta.publish.words import NBSP, interval, listed, plain, quantity

NARROW_PX = 358
STRIP_PX = 336
MOST_CURVES = 4

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


def profiles_of(findings: Findings, package: Package) -> list[str]:
    """Profiles of the takes that count, in the order of the table; the empty key where none is given."""
    return profile_order({r.profile or "" for r in counted(findings.readings)}, package)


def _glyph(profile: str, package: Package) -> tuple[str, str, str] | None:
    row = package.profiles.get(profile)
    return glyph_points(row) if row is not None else None


def strip_drawings(findings: Findings, package: Package, groups: Groups, figure: StripFigure) -> list[Drawing]:
    """One panel of strips a profile, all on one scale factor."""
    means = group_means(findings.readings, groups, figure.key)
    if all(m.mean is None for m in means):
        return []
    profiles = profiles_of(findings, package)
    panels = [[strip_row(m, figure.unit) for m in means if m.profile == profile] for profile in profiles]
    logarithmic = figure.unit not in ("dB",)
    windows = shared_windows(panels, logarithmic=logarithmic)
    drawings = []
    for profile, rows, window in zip(profiles, panels, windows, strict=True):
        if not rows:
            continue
        name = profile_name(profile, package)
        said = "; ".join(f"{r.name} {r.figure}{', ' + r.detail if r.detail else ''}" for r in rows)
        label = f"{figure.title} of the {name} cones. {said}."

        def make(
            width: float, scheme: str, rows: Sequence[StripRow] = rows, window: Any = window, label: str = label
        ) -> dict[str, Any]:
            return strips_chart(
                rows, description=label, unit=figure.unit, window=window, total_width=width, scheme=scheme
            )

        key = f"{figure.key.rsplit('_', 1)[0].replace('_', '-')}-{_slug(profile)}"
        drawings.append(Drawing(key, make, label, STRIP_PX, heading=name, glyph=_glyph(profile, package), narrow=False))
    return drawings


def strip_row(mean: GroupMean, unit: str) -> StripRow:
    """A row of a strip from a group's mean."""
    figure, detail = "not read", re.split(r"[:;]", mean.reason)[0]
    if mean.mean is not None:
        detail = mean.reason
    if mean.mean is not None:
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


def ranking_drawing(findings: Findings, groups: Groups) -> Drawing | None:
    """The ranking, best first; None where nothing was ranked."""
    rows = [r for r in findings.ranking if r.score is not None]
    if not rows:
        return None
    shown = []
    for r in sorted(rows, key=lambda r: -(r.score or 0.0)):
        group = groups.of(r.material, r.recipe)
        if group is None:
            continue
        if r.score_low is not None and r.score_high is not None:
            digits = 1 if r.score_high - r.score_low < 4 else 0
            ends = f"{plain(r.score_low, digits)} to {plain(r.score_high, digits)}"
            detail = f"{plain(r.score or 0.0, digits)}{NBSP}points ({ends})"
        else:
            detail = f"{plain(r.score or 0.0, 0)}{NBSP}points ({r.reasons.get('score_low', 'no interval')})"
        shown.append(
            RankRow(group.name, detail, group.style, r.score, r.score_low, r.score_high, r.rank_low, r.rank_high)
        )
    label = "Scores. " + "; ".join(f"{row.name} {row.detail}" for row in shown) + "."

    def make(width: float, scheme: str) -> dict[str, Any]:
        return ranking_chart(shown, description=label, total_width=width, scheme=scheme)

    parts = list(dict.fromkeys(p.part for r in rows for p in r.parts))
    table = TableOf(
        ["Material", "Places", "Score", *(f"{part}: value and points" for part in parts)],
        [
            [
                name_of_row(r, groups),
                _places(r.rank_low, r.rank_high, r.reasons),
                plain(r.score or 0.0, 1),
                *(_part_words(r, part) for part in parts),
            ]
            for r in rows
        ],
    )
    return Drawing("ranking", make, label, 1000, table=table)


def _places(low: int | None, high: int | None, reasons: Mapping[str, str]) -> str:
    if low is None or high is None:
        return reasons.get("rank_low", "no interval")
    return str(low) if low == high else f"{low} to {high}"


def _part_words(row: RankingRow, part: str) -> str:
    for p in row.parts:
        if p.part == part:
            if p.value is None or p.points is None:
                return _left_out(row, p.part, p.figure)
            return f"{_with_unit(p.value, p.figure)}; {plain(p.points, 0)} of 100"
    return "not counted"


def _with_unit(value: float, figure: str) -> str:
    """A figure with the unit that its key names."""
    units = {"hz": "Hz", "db": "dB", "percent": "%", "ms": "ms"}
    return quantity(value, units.get(figure.rsplit("_", 1)[-1], ""), trim=False)


def _left_out(row: RankingRow, part: str, figure: str) -> str:
    reason = row.reasons.get(part, row.reasons.get(figure, "not read"))
    return reason.replace(figure, "its figure")


def weights_words(findings: Findings) -> str:
    """The weights of the ranking in a sentence: "Points: break-up 40, evenness 25."; what was left out, and why."""
    for row in findings.ranking:
        total = sum(p.weight for p in row.parts)
        if not total:
            continue
        counted_parts = ", ".join(f"{p.part} {100 * p.weight / total:.0f}" for p in row.parts if p.weight)
        left_out = [f"{p.part.capitalize()} {_left_out(row, p.part, p.figure)}." for p in row.parts if not p.weight]
        return " ".join([f"Points: {counted_parts}.", *left_out])
    return ""


def _chunks(shown: list[Shown]) -> list[list[Shown]]:
    return [shown[k : k + MOST_CURVES] for k in range(0, len(shown), MOST_CURVES)]


def _part_key(kind: str, profile: str, part: int, parts: int) -> str:
    return f"{kind}-{_slug(profile)}" + (f"-{part + 1}" if parts > 1 else "")


def _part_heading(profile: str, package: Package, part: int, parts: int) -> str:
    name = profile_name(profile, package)
    return f"{name}, {part + 1} of {parts}" if parts > 1 else name


def response_drawings(
    findings: Findings, package: Package, curves: Mapping[str, TakeCurves], groups: Groups
) -> list[Drawing]:
    """Responses, a chart a profile and four groups."""
    band = facts.band_of(package)
    stop, start = facts.stop_hz(findings, package), facts.start_hz(findings, package)
    relative = facts.relative_levels(findings, package)
    profiles = profiles_of(findings, package)
    drawings: list[Drawing] = []
    for profile in profiles:
        parts = _chunks(shown_takes(findings.readings, curves, groups, profile))
        for nth, shown in enumerate(parts):
            lines = [response_curve(s) for s in shown]
            rigid = rigid_curve(shown)
            read = _read_span(lines, start, stop)
            peaks = "; ".join(
                f"{s.group.name} breaks up at {quantity(s.reading.breakup_hz, 'Hz')}"
                if s.reading.breakup_hz
                else f"{s.group.name}: {s.reading.reasons.get('breakup_hz', 'no break-up read')}"
                for s in shown
            )
            label = f"Response of the {profile_name(profile, package)} cones, one median print of each. {peaks}."

            def make(
                width: float,
                scheme: str,
                lines: Sequence[Curve] = lines,
                rigid: Curve | None = rigid,
                label: str = label,
                read: tuple[float, float] | None = read,
            ) -> dict[str, Any]:
                return response_chart(
                    lines,
                    description=label,
                    rigid=rigid,
                    band_hz=band,
                    read_hz=read,
                    relative=relative,
                    total_width=width,
                    scheme=scheme,
                )

            drawings.append(
                Drawing(
                    _part_key("response", profile, nth, len(parts)),
                    make,
                    label,
                    700 if not drawings else 500,
                    heading=_part_heading(profile, package, nth, len(parts)) if len(profiles) + len(parts) > 2 else "",
                    glyph=_glyph(profile, package),
                    table=third_octaves(lines, "dB", 1),
                    series=[*_series(lines, 1), *([_one_series(rigid, "rigid", 1)] if rigid else [])],
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


def distortion_drawings(
    findings: Findings, package: Package, curves: Mapping[str, TakeCurves], groups: Groups
) -> list[Drawing]:
    """Input-referred distortion, a chart a profile and four groups; none where no harmonic could be read."""
    band, stop = facts.band_of(package), facts.stop_hz(findings, package)
    means = {(m.profile, id(m.group)): m for m in group_means(findings.readings, groups, "input_thd_peak_percent")}
    drawings: list[Drawing] = []
    for profile in profiles_of(findings, package):
        parts = _chunks(shown_takes(findings.readings, curves, groups, profile))
        for nth, shown in enumerate(parts):
            pairs = [distortion_curve(s, means.get((profile, id(s.group)))) for s in shown]
            lines = [curve for curve, _ in pairs if np.isfinite(curve.y).any()]
            if not lines:
                continue
            floors = np.array([noise for _, noise in pairs])
            floor = np.full(floors.shape[1], np.nan)
            some = np.isfinite(floors).any(axis=0)
            floor[some] = np.nanmax(floors[:, some], axis=0)
            noise = Curve("noise", lines[0].style, lines[0].x, floor)
            said = "; ".join(" ".join(p for p in (c.name, c.figure, c.detail) if p) for c in lines)
            hidden = [curve.name for curve, _ in pairs if not np.isfinite(curve.y).any()]
            label = f"Input distortion of the {profile_name(profile, package)} cones. Largest: {said}."
            if hidden:
                label += f" Hidden by noise: {listed(hidden)}."

            def make(
                width: float,
                scheme: str,
                lines: Sequence[Curve] = lines,
                noise: Curve = noise,
                label: str = label,
            ) -> dict[str, Any]:
                return distortion_chart(
                    lines, description=label, noise=noise, stop_hz=stop, band_hz=band, total_width=width, scheme=scheme
                )

            drawings.append(
                Drawing(
                    _part_key("distortion", profile, nth, len(parts)),
                    make,
                    label,
                    700 if not drawings else 500,
                    heading=_part_heading(profile, package, nth, len(parts)),
                    glyph=_glyph(profile, package),
                    table=third_octaves(lines, "%", 3),
                    series=_series(lines, 3),
                    units=("Hz", "%"),
                )
            )
    return drawings


def decay_drawings(
    findings: Findings, package: Package, curves: Mapping[str, TakeCurves], groups: Groups
) -> list[Drawing]:
    """Envelopes, a chart a profile and four groups."""
    means = {(m.profile, id(m.group)): m for m in group_means(findings.readings, groups, "decay_2_percent_ms")}
    drawings: list[Drawing] = []
    for profile in profiles_of(findings, package):
        parts = _chunks(shown_takes(findings.readings, curves, groups, profile))
        for nth, shown in enumerate(parts):
            maybe = [decay_curve(s, means.get((profile, id(s.group)))) for s in shown]
            lines = [c for c in maybe if c is not None]
            if not lines:
                continue
            echo = min(float(c.x[np.isfinite(c.y)][-1]) for c in lines)
            said = "; ".join(f"{s.group.name} {_mean_or_reason(means.get((profile, id(s.group))), s)}" for s in shown)
            label = f"Falling silent, {profile_name(profile, package)} cones. To 2 %: {said}."

            def make(
                width: float, scheme: str, lines: Sequence[Curve] = lines, label: str = label, echo: float = echo
            ) -> dict[str, Any]:
                return decay_chart(lines, description=label, echo_ms=echo, total_width=width, scheme=scheme)

            drawings.append(
                Drawing(
                    _part_key("decay", profile, nth, len(parts)),
                    make,
                    label,
                    700 if not drawings else 500,
                    heading=_part_heading(profile, package, nth, len(parts)),
                    glyph=_glyph(profile, package),
                    table=TableOf(
                        ["Material", "To 5 %", "To 2 %", "A perfect cone, to 2 %"],
                        [
                            [
                                s.group.name,
                                *(
                                    _reading_words(s, k)
                                    for k in ("decay_5_percent_ms", "decay_2_percent_ms", "decay_bandlimit_ms")
                                ),
                            ]
                            for s in shown
                        ],
                    ),
                    series=_series(lines, 1, step=4),
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


@dataclass(frozen=True)
class EstimateFigure:
    """A property of a filament."""

    key: str
    name: str
    unit: str
    listed_as: str


ESTIMATES = (
    EstimateFigure("hoop_modulus_gpa", "Hoop modulus", "GPa", "hoop_modulus"),
    EstimateFigure("layer_shear_modulus_gpa", "Layer shear modulus", "GPa", "layer_shear_modulus"),
    EstimateFigure("axial_modulus_gpa", "Modulus across layers", "GPa", "axial_modulus"),
    EstimateFigure("loss_factor", "Loss factor", "", "loss_factor"),
    EstimateFigure("density_kg_m3", "Density", "kg/m³", "density"),
)


def estimate_drawings(findings: Findings, groups: Groups) -> list[Drawing]:
    """What the filaments are, a panel a property; none where nothing was estimated."""
    drawings = []
    for figure in ESTIMATES:
        rows = [r for e in findings.estimates if (r := _estimate_row(e, figure, groups)) is not None]
        if not rows:
            continue
        window = shared_windows([rows], logarithmic=False)[0]
        label = f"{figure.name}. " + "; ".join(f"{r.name} {r.figure}, {r.detail}" for r in rows) + "."

        def make(
            width: float,
            scheme: str,
            rows: Sequence[StripRow] = rows,
            window: Any = window,
            label: str = label,
            unit: str = figure.unit,
        ) -> dict[str, Any]:
            return strips_chart(rows, description=label, unit=unit, window=window, total_width=width, scheme=scheme)

        heading = f"{figure.name}, {figure.unit}" if figure.unit else figure.name
        drawings.append(
            Drawing(f"estimate-{_slug(figure.listed_as)}", make, label, STRIP_PX, heading=heading, narrow=False)
        )
    return drawings


def _estimate_row(estimate: Estimate, figure: EstimateFigure, groups: Groups) -> StripRow | None:
    group = groups.of(estimate.material, estimate.recipe)
    if group is None:
        return None
    value, u = getattr(estimate, figure.key), getattr(estimate, f"{figure.key}_u")
    if value is None:
        return StripRow(group.name, "not had", estimate.reasons.get(figure.key, ""), group.style, ())
    half = None if u is None else 1.96 * u
    assumed = figure.listed_as in estimate.assumed
    word = "assumed" if assumed else ("identified" if figure.listed_as in estimate.identified else "loosely known")
    text = quantity(value, "", half_width=half)
    if half is not None:
        text += f" ±{NBSP}{quantity(half, '', half_width=half)}"
    low, high = (None, None) if half is None else (value - half, value + half)
    return StripRow(group.name, text, word, group.style, (), value, low, high, assumed)


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


def _series(lines: Sequence[Curve], digits: int, step: int = 2) -> list[dict[str, Any]]:
    return [_one_series(line, line.style.colour, digits, step) for line in lines]


def _one_series(line: Curve, colour: str, digits: int, step: int = 2) -> dict[str, Any]:
    """Every ``step``-th point of a curve, rounded, for reading off."""
    x, y = line.x[::step], line.y[::step]
    good = (x >= 20) | (x[0] < 1)
    return {
        "name": line.name,
        "colour": colour,
        "x": [float(f"{v:.4g}") for v in x[good]],
        "y": [round(float(v), digits) if np.isfinite(v) else None for v in y[good]],
    }


def _slug(text: str) -> str:
    return text.replace("_", "-") or "cones"
