"""The ranking, drawn best first, its parts in a table, its weights in words."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

from frusta.campaign.findings import Findings, RankingRow
from frusta.publish.charts import RankRow, ranking_chart
from frusta.publish.drawings.drawing import Drawing, sized
from frusta.publish.groups import Groups
from frusta.publish.table import TableOf
from frusta.publish.verdict import name_of_row
from frusta.publish.words import NBSP, plain, quantity


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
    make = sized(partial(ranking_chart, shown, description=label))
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
