"""Narrow features and narrow distortion below break-up, with the test that tells their causes apart."""

from __future__ import annotations

import math

from frusta.campaign.findings import BlipRow, Findings
from frusta.campaign.package import Package
from frusta.publish.table import TableOf
from frusta.publish.words import NBSP, listed, plain, quantity

MOST_BLIPS = 40


def blips_table(findings: Findings) -> TableOf | None:
    """Narrow features below break-up, the largest first, with the test that tells their causes apart."""
    quality = {r.take: r.quality for r in findings.readings}
    linear = [b for b in findings.blips if b.harmonic is None and quality.get(b.take) != "repeat"]
    rows = sorted(linear, key=lambda b: -abs(b.height_db))
    if not rows:
        return None
    return TableOf(
        ["Take", "Frequency", "Height", "May be", "Test"],
        [
            [
                b.take,
                quantity(b.frequency_hz, "Hz", trim=False),
                f"{plain(b.height_db, 1)}{NBSP}dB",
                listed(list(b.candidates), last="or") or b.reasons.get("candidates", "unknown"),
                b.test or b.reasons.get("test", "none known"),
            ]
            for b in rows[:MOST_BLIPS]
        ],
    )


def narrow_distortion_table(findings: Findings, package: Package) -> TableOf | None:
    """Narrow distortion below break-up, one row for what every take of a print shows alike; the cone's own first."""
    reading = {r.take: r for r in findings.readings if r.quality != "repeat"}
    alike: dict[tuple[str, int | None, str], list[BlipRow]] = {}
    for b in findings.blips:
        if b.harmonic is not None and b.take in reading and b.candidates:
            words = b.candidates[0].rpartition(": ")[0]
            cause = "landing" if "landing on" in words else words
            at = 12 * math.log2(b.frequency_hz / 1000)
            alike.setdefault((reading[b.take].specimen, b.harmonic, f"{cause} {round(at)}"), []).append(b)
    if not alike:
        return None
    order = sorted(alike.items(), key=lambda kept: ("landing" in kept[0][2], -max(b.height_db for b in kept[1])))
    rows = []
    for (specimen, harmonic, _), held in order[:MOST_BLIPS]:
        tallest = max(held, key=lambda b: b.height_db)
        rows.append(
            [
                specimen,
                quantity(tallest.frequency_hz, "Hz", trim=False),
                str(harmonic),
                f"{plain(tallest.height_db, 1)}{NBSP}dB",
                str(len(held)),
                listed(list(tallest.candidates), last="or"),
                tallest.test or "none known",
            ]
        )
    return TableOf(["Print", "Driven at", "Order", "Stands out by", "Takes", "May be", "Test"], rows)
