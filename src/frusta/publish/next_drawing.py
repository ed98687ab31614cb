"""What to print next, drawn: the trade-off between figures, and a forecast of every answer."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np

from frusta.campaign.atomic import write_folder_atomically
from frusta.campaign.next_file import next_json, profiles_csv
from frusta.campaign.next_print import NextPrint
from frusta.campaign.package import Package
from frusta.design.goal import MORE_IS_BETTER
from frusta.publish import render
from frusta.publish.charts.trade_off import Axis, Spot, trade_off_chart
from frusta.publish.forecast_drawing import forecast_chart
from frusta.publish.groups import Groups
from frusta.publish.theme import SCHEMES, Style

TITLES = {
    "piston limit": "moves as one piece up to, Hz",
    "upper limit": "plays up to, Hz",
    "evenness": "unevenness in the band, ± dB",
    "decay": "falls to 2 % in, ms",
    "mass": "mass without coil, g",
    "level": "level, dB",
    "distortion": "input distortion, %",
}
MOST_EXISTING = 3
"""Cones there are that are named in a trade-off: the best."""


def trade_off_parts(told: NextPrint) -> list[tuple[str, str]]:
    """Return the pairs of parts whose trade-off matters most, by weight and by how far the answers lie apart in them.

    At most two, of different parts.
    """
    goal = told.goal
    if goal is None or not told.answers or told.found is None:
        return []
    used = [part for part in goal.used if part != "distortion"]
    spread = {part: goal.weights[part] * float(np.ptp([a.trial.points[part] for a in told.answers])) for part in used}
    pairs = sorted(combinations(used, 2), key=lambda pair: -spread[pair[0]] * spread[pair[1]])
    apart = [pair for pair in pairs[1:] if not set(pair) & set(pairs[0])]
    return [*pairs[:1], *apart[:1]]


def trade_off_of(
    told: NextPrint,
    package: Package,
    parts: tuple[str, str],
    *,
    total_width: float = 700,
    scheme: str = "light",
    background: bool = False,
) -> dict[str, Any]:
    """Return the trade-off of two parts of the goal as a chart.

    Parameters
    ----------
    told : NextPrint
        With answers.
    package : Package
    parts : (str, str)
        Of the goal: across, and upwards.
    total_width, scheme, background
        As of `trade_off_chart`.
    """
    first, second = parts
    groups = Groups((), package)

    def style(key: str) -> Style:
        held = groups.of_key(key)
        return held.style if held else Style("m1", (), "circle")

    def spot(key: str, figures: Mapping[str, float], name: str = "", ends: Mapping[str, Any] | None = None) -> Spot:
        pairs = ends or {}
        return Spot(figures[first], figures[second], style(key), name, pairs.get(first), pairs.get(second))

    tried = [spot(t.key, t.figures) for t in (told.found.trials if told.found else ())]
    answers = [
        spot(a.trial.key, a.trial.figures, f"{number} {told.names.get(a.trial.key, a.trial.key)}", a.figures_95)
        for number, a in enumerate(told.answers, 1)
    ]
    existing = [
        spot(e.group, e.trial.figures, f"{told.names.get(e.group, e.group)}, {e.profile_key}")
        for e in told.existing[:MOST_EXISTING]
    ]
    words = "; ".join(f"{s.name}: {TITLES[first]} {s.x:.3g}, {TITLES[second]} {s.y:.3g}" for s in (*answers, *existing))
    return trade_off_chart(
        tried,
        answers,
        existing,
        _axis(first),
        _axis(second),
        description=f"What {first} costs of {second}. {words}.",
        total_width=total_width,
        scheme=scheme,
        background=background,
    )


def _axis(part: str) -> Axis:
    return Axis(TITLES[part], part in MORE_IS_BETTER, part not in ("level", "evenness"))


def write_next(told: NextPrint, document: Mapping[str, Any], package: Package, folder: Path | str) -> Path:
    """Write next.json, two trade-offs and every answer's forecast as SVG and PNG, and the answers as profiles.csv.

    Parameters
    ----------
    told : NextPrint
    document : mapping
        Of `frusta.campaign.next_file.next_document`.
    package : Package
    folder : Path or str
        Files of the same names are replaced once all have been written.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    charts: dict[str, dict[str, Any]] = {}
    for number, parts in enumerate(trade_off_parts(told), 1):
        charts[f"trade-off-{number}"] = trade_off_of(told, package, parts)
    for answer in document["answers"]:
        if answer["forecast"] is not None:
            charts[f"forecast-{answer['answer']}"] = forecast_chart(answer["forecast"])

    def fill(part: Path) -> None:
        (part / "next.json").write_bytes(next_json(document))
        rows = profiles_csv(told)
        if rows:
            (part / "profiles.csv").write_text(rows, "utf-8")
        for name, spec in charts.items():
            svg = render.with_ground(render.raw_svg(spec), SCHEMES["light"]["card"])
            (part / f"{name}.svg").write_text(render.standalone_svg(svg), "utf-8")
            (part / f"{name}.png").write_bytes(render.png(svg))

    return write_folder_atomically(folder, fill)
