"""The comparisons in a table, and how many of them are clear."""

from __future__ import annotations

from typing import Any

from frusta.campaign.counts import counted
from frusta.campaign.figures import FIGURE
from frusta.campaign.findings import Findings
from frusta.campaign.package import Package
from frusta.publish.groups import Groups, profile_name
from frusta.publish.table import TableOf
from frusta.publish.verdict import is_clear, signed_amount
from frusta.publish.words import NBSP, listed


def differences_words(findings: Findings, package: Package, groups: Groups) -> dict[str, Any]:
    """The table of comparisons and the sentence over it."""
    rows = []
    for d in findings.differences:
        size, ends = signed_amount(d)
        word = "clear" if is_clear(d) else ("tie" if d.low_95 is not None else "no interval")
        name = FIGURE[d.figure].name if d.figure in FIGURE else d.figure
        prints = f"{d.prints_a} and {d.prints_b}"
        rows.append(
            [
                profile_name(d.profile, package),
                name,
                f"{groups.name_of(d.a)} against {groups.name_of(d.b)}",
                size,
                ends,
                word,
                prints,
                d.verdict,
            ]
        )
    if not rows:
        return {"differences": None, "differences_lede": ""}
    words = [row[5] for row in rows]
    clear, ties, without = (words.count(w) for w in ("clear", "tie", "no interval"))
    parts = [f"{clear} of {counted(len(rows), 'comparison')} clear", counted(ties, "tie")]
    if without:
        parts.append(f"{without} without an interval")
    if without == len(rows):
        lede = f"{counted(len(rows), 'comparison')}, none with an interval: {_common_reason(findings)}."
    else:
        lede = (
            f"{listed(parts)}. Intervals of one figure in one shape hold jointly at 95{NBSP}%; "
            "prints are counted, never takes."
        )
    head = ["Shape", "Figure", "Compared", "Difference", "95 % interval", "Verdict", "Prints", "In words"]
    return {"differences": TableOf(head, rows), "differences_lede": lede}


def _common_reason(findings: Findings) -> str:
    reasons = [d.reasons["low_95"].split(": ")[0] for d in findings.differences if "low_95" in d.reasons]
    return max(sorted(set(reasons)), key=reasons.count) if reasons else "no reason given"
