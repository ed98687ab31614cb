"""The ranking in words: who is first, and whether the weights decide it."""

from __future__ import annotations

from typing import Any

from frusta.campaign.findings import Findings
from frusta.campaign.package import Package
from frusta.publish import facts
from frusta.publish.drawings.ranking import weights_words
from frusta.publish.groups import Groups
from frusta.publish.verdict import name_of_row
from frusta.publish.words import NBSP, listed, plain

RANKING_BARS = (
    "Bars: the 95 % interval of each score for itself. Places hold jointly at 95 %, so that they are wider than bars "
    "that just part."
)


def ranking_words(findings: Findings, package: Package, groups: Groups) -> dict[str, Any]:
    """Heading, sentence and caption of the ranking."""
    ties = any(r.rank_low != r.rank_high for r in findings.ranking)
    band_hz = facts.band_of(package)
    title = "Ranking for this band" if band_hz else "Ranking"
    first = [r for r in findings.ranking if r.rank_low == 1]
    lede = ""
    if len(first) > 1:
        lede = f"{listed([name_of_row(r, groups) for r in first])} share the first place: their scores overlap."
    elif first and first[0].rank_high == 1 and len(findings.ranking) > 1:
        lede = f"{name_of_row(first[0], groups)} stands first, clear of the others."
    best = max(findings.ranking, key=lambda r: r.probability_best or 0.0, default=None)
    if best is not None and best.probability_best is not None:
        chance = "more than 99" if best.probability_best > 0.99 else plain(100 * best.probability_best, 0)
        lede += f" {name_of_row(best, groups)} is the best with a probability of {chance}{NBSP}%, by these weights."
    if any(r.rank_low is None for r in findings.ranking):
        why = next((r.reasons["rank_low"] for r in findings.ranking if "rank_low" in r.reasons), "")
        lede = f"No place is given: {why}." if why else "No place is given."
    caption = " ".join(
        p
        for p in (
            weights_words(findings),
            RANKING_BARS if any(r.score_low is not None for r in findings.ranking) else "",
            even_weights_words(findings, groups),
        )
        if p
    )
    return {
        "ranking_title": title + (", ties and all" if ties else ""),
        "ranking_lede": lede,
        "ranking_caption": caption,
    }


def even_weights_words(findings: Findings, groups: Groups) -> str:
    """What becomes of the order when every part weighs the same; empty where parts are missing."""
    scores = []
    for row in findings.ranking:
        points = [p.points for p in row.parts if p.weight]
        if not points or None in points:
            return ""
        scores.append((sum(p for p in points if p is not None) / len(points), row))
    if len(scores) < 2 or len({len(row.parts) for _, row in scores}) != 1:
        return ""
    ordered = [row for _, row in sorted(scores, key=lambda s: -s[0])]
    given = sorted(findings.ranking, key=lambda r: -(r.score or 0.0))
    if ordered == given:
        return "With all parts weighing the same the order stays."
    if ordered[0] is given[0]:
        return "With all parts weighing the same the first place stays and the order behind it changes."
    return f"With all parts weighing the same {name_of_row(ordered[0], groups)} would come first: mind the weights."
