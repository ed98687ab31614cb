"""Faulty takes and faults of the tables: who, what, where, what to do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from frusta.campaign.findings import Findings
from frusta.publish.words import count, listed, sentence


@dataclass(frozen=True)
class FaultWords:
    """A fault in words: who, what, where, what to do; look if the take still counts."""

    who: str
    what: str
    where: str
    do: str
    look: bool


def faults_words(findings: Findings) -> dict[str, Any]:
    """The list of faults with the sentence over it; takes that are spoiled are told from those that count."""
    quality = {r.take: r.quality for r in findings.readings}
    rows = []
    for f in findings.faults:
        place = f"row {f.row}" if f.row is not None and f.take is None else ""
        place = ", ".join(p for p in (place, f"column {f.column}" if f.column and f.take is None else "", f.where) if p)
        who = f.take or (f"{f.table}.csv" if f.table else "package")
        rows.append(
            FaultWords(who, f.fault, place.rstrip("."), sentence(f.what_to_do), quality.get(f.take or "") != "repeat")
        )
    told = {f.take for f in findings.faults}
    for r in findings.readings:
        if r.quality != "ok" and r.take not in told:
            rows += [
                FaultWords(r.take, f.fault, f.where.rstrip("."), sentence(f.what_to_do), r.quality != "repeat")
                for f in r.faults
            ]
    repeat = sum(r.quality == "repeat" for r in findings.readings)
    look = sum(r.quality == "look" for r in findings.readings)
    parts = []
    if repeat:
        parts.append(
            f"{count(repeat, 'take')} {'is' if repeat == 1 else 'are'} spoiled and left out of every comparison"
        )
    if look:
        parts.append(
            f"{count(look, 'take')} {'deserves a look but counts' if look == 1 else 'deserve a look but count'}"
        )
    lede = sentence(listed(parts)) if parts else "What is wrong in the tables, and what to do."
    return {"faults": rows, "faults_title": "Faulty takes" if repeat or look else "Faults", "faults_lede": lede}
