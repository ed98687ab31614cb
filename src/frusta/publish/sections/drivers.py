"""Finished drivers beside the printed cones."""

from __future__ import annotations

from collections.abc import Sequence

from frusta.campaign.findings import Findings, Reading
from frusta.campaign.package import Package
from frusta.publish.prints import counted
from frusta.publish.table import TableOf
from frusta.publish.words import quantity


def drivers_table(findings: Findings, package: Package) -> TableOf | None:
    """Finished drivers beside the cones' best and worst, where any was measured."""
    drivers = [r for r in findings.readings if r.kind == "driver" and r.quality != "repeat"]
    if not drivers:
        return None
    keys = (
        ("upper_limit_hz", "Upper limit", "Hz"),
        ("unevenness_db", "Unevenness, ±", "dB"),
        ("input_thd_peak_percent", "Input distortion", "%"),
        ("decay_2_percent_ms", "To 2 %", "ms"),
    )
    rows = []
    for specimen in dict.fromkeys(r.specimen for r in drivers):
        own = [r for r in drivers if r.specimen == specimen]
        note = package.specimens[specimen].notes if specimen in package.specimens else None
        rows.append([f"{specimen}: {note}" if note else specimen, *(_span_words(own, k, u) for k, _, u in keys)])
    rows.append(["All printed cones", *(_span_words(counted(findings.readings), k, u) for k, _, u in keys)])
    return TableOf(["Measured", *(name for _, name, _ in keys)], rows)


def _span_words(readings: Sequence[Reading], key: str, unit: str) -> str:
    values = sorted(v for r in readings if (v := getattr(r, key)) is not None)
    if not values:
        return next((r.reasons[key] for r in readings if key in r.reasons), "not read")
    low, high = quantity(values[0], unit), quantity(values[-1], unit)
    return low if low == high else f"{low} to {high}"
