"""The conditions of a campaign in a line each: prints, seatings, mounting, air, the check cone's steadiness."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from frusta.campaign.counts import count_word
from frusta.campaign.findings import Findings, Reading
from frusta.campaign.package import Package
from frusta.campaign.rows import Rig, Session
from frusta.publish.prints import counted
from frusta.publish.words import NBSP, count, plain, quantity

MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


@dataclass(frozen=True)
class Fact:
    """A label, what holds, and a longer word on it."""

    label: str
    value: str


def used_sessions(findings: Findings, package: Package) -> list[Session]:
    """Sessions that readings come from, in the order of the table; all of them where there are no readings."""
    used = {r.session for r in findings.readings}
    return [s for key, s in package.sessions.items() if key in used or not findings.readings]


def used_rigs(findings: Findings, package: Package) -> list[Rig]:
    """Rigs that readings come from, through their sessions or named by the takes."""
    takes = [package.takes[r.take] for r in findings.readings if r.take in package.takes]
    names = [package.sessions[t.session].rig if t.session in package.sessions else t.rig for t in takes]
    kept = [rig for key, rig in package.rigs.items() if key in names]
    return kept or list(package.rigs.values())


def key_facts(findings: Findings, package: Package) -> list[Fact]:
    """Return what stands in the row under the verdict."""
    kept = counted(findings.readings)
    rigs = used_rigs(findings, package)
    sessions = used_sessions(findings, package)
    return [
        Fact("Prints", prints_words(kept)),
        Fact("Seatings", seatings_words(kept)),
        Fact("Mounting", "; ".join(dict.fromkeys(mounting_words(rig) for rig in rigs)) or "not noted"),
        Fact("Air", air_words(sessions)),
        Fact("Check cone", check_words(findings.readings)),
    ]


def prints_words(readings: Sequence[Reading]) -> str:
    """How many prints there are, and how many of each kind: "18, two of each kind"."""
    kinds = Counter({(r.specimen, r.material, r.recipe, r.profile) for r in readings})
    each = Counter((m, c, p) for _, m, c, p in kinds)
    total = len({r.specimen for r in readings})
    if not total:
        return "none could be read"
    least, most = min(each.values()), max(each.values())
    if len(each) == 1:
        return f"{total}, all of one kind" if total > 1 else "one"
    return (
        f"{total}, {count_word(least)} of each kind"
        if least == most
        else f"{total}, {count_word(least)} to {count_word(most)} of each kind"
    )


def seatings_words(readings: Sequence[Reading]) -> str:
    """How many seatings there are, and in how many sessions."""
    seatings = {(r.specimen, r.seating) for r in readings}
    sessions = {r.session for r in readings if r.session}
    if not seatings:
        return "none could be read"
    return f"{len(seatings)}, in {count(len(sessions), 'session')}" if sessions else f"{len(seatings)}"


def mounting_words(rig: Rig) -> str:
    """How and how far from the microphone: "free in air, 130 mm"."""
    where = "free in air" if rig.mounting == "free" else "in a baffle"
    return f"{where}, {plain(rig.microphone_distance_mm, 0)}{NBSP}mm"


def air_words(sessions: Sequence[Session]) -> str:
    """Temperature and humidity over the sessions: "19 to 22 °C, 48 to 61 %"."""
    heat = [s.temperature_c for s in sessions if s.temperature_c is not None]
    damp = [s.humidity_pct for s in sessions if s.humidity_pct is not None]
    parts = [_span(heat, "°C") if heat else "temperature not noted", _span(damp, "%") if damp else "humidity not noted"]
    if not heat and not damp:
        return "not noted"
    return ", ".join(parts)


def check_spread_db(readings: Sequence[Reading]) -> float | None:
    """Largest difference between the levels of one check cone over all of its takes, dB."""
    by_cone: dict[str, list[float]] = {}
    for r in readings:
        if r.kind == "check" and r.quality != "repeat" and r.level_db is not None:
            by_cone.setdefault(r.specimen, []).append(r.level_db)
    spans = [max(levels) - min(levels) for levels in by_cone.values() if len(levels) > 1]
    return max(spans) if spans else None


def check_words(readings: Sequence[Reading]) -> str:
    """How steady the rig was, by its check cone."""
    spread = check_spread_db(readings)
    if spread is None:
        known = any(r.kind == "check" for r in readings)
        return "heard once: drift unknown" if known else "none: drift unknown"
    return f"steady within {plain(max(spread, 0.1), 1)}{NBSP}dB"


def relative_levels(findings: Findings, package: Package) -> bool:
    """Whether any level lacks an absolute reference."""
    for reading in counted(findings.readings):
        take = package.takes.get(reading.take)
        session = package.sessions.get(reading.session or "")
        rig = package.rigs.get((session.rig if session else (take.rig if take else None)) or "")
        if not ((session and session.full_scale_pa) or (rig and rig.full_scale_pa)):
            return True
    return False


def sweep_words(findings: Findings, package: Package) -> list[str]:
    """What was played, one line a sweep: "from 20 Hz to 20 kHz in 6 s at −6 dB of full scale"."""
    used = {package.takes[r.take].sweep for r in findings.readings if r.take in package.takes}
    lines = []
    for key, sweep in package.sweeps.items():
        if key not in used and findings.readings:
            continue
        if sweep.start_hz and sweep.stop_hz:
            text = f"from {quantity(sweep.start_hz, 'Hz')} to {quantity(sweep.stop_hz, 'Hz')}"
            if sweep.duration_s:
                text += f" in {sweep.duration_s:g}{NBSP}s"
            if sweep.level_dbfs is not None:
                text += f" at {plain(sweep.level_dbfs, 0)}{NBSP}dB of full scale"
        else:
            text = f"with the signal {sweep.signal}" if sweep.signal else "with a sweep that the tables do not describe"
        lines.append(text)
    return lines


def stop_hz(findings: Findings, package: Package) -> float | None:
    """Where the sweeps of the readings end: the lowest, Hz; None if no table says."""
    used = {package.takes[r.take].sweep for r in findings.readings if r.take in package.takes}
    stops = [s.stop_hz for key, s in package.sweeps.items() if key in used and s.stop_hz]
    return min(stops) if stops else None


def start_hz(findings: Findings, package: Package) -> float | None:
    """Where the sweeps of the readings begin: the highest, Hz; None if no table says."""
    used = {package.takes[r.take].sweep for r in findings.readings if r.take in package.takes}
    starts = [s.start_hz for key, s in package.sweeps.items() if key in used and s.start_hz]
    return max(starts) if starts else None


def band_of(package: Package) -> tuple[float, float] | None:
    """The campaign's band, Hz."""
    low, high = package.campaign.band_low_hz, package.campaign.band_high_hz
    return (low, high) if low and high and low < high else None


def day(text: str | None) -> date | None:
    """The date that a cell begins with, or None."""
    try:
        return date.fromisoformat((text or "")[:10])
    except ValueError:
        return None


def day_words(when: date) -> str:
    """A date in words: "6 May 2026"."""
    return f"{when.day} {MONTHS[when.month - 1]} {when.year}"


def session_span(sessions: Sequence[Session]) -> str:
    """When the sessions were: "sessions 6 May 2026 to 14 June 2026"."""
    days = sorted(d for s in sessions if (d := day(s.date)))
    if not days:
        return count(len(sessions), "session") if sessions else ""
    if days[0] == days[-1]:
        return f"recorded on {day_words(days[0])}"
    return f"recorded from {day_words(days[0])} to {day_words(days[-1])}"


def _span(values: Sequence[float], unit: str) -> str:
    low, high = plain(min(values), 0), plain(max(values), 0)
    return f"{low}{NBSP}{unit}" if low == high else f"{low} to {high}{NBSP}{unit}"
