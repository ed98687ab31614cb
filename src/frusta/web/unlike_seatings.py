"""Cones whose seatings differ more than other cones' do: they want to be pushed on once more."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from scipy.stats import f as f_law

from frusta.campaign.findings import Findings, Reading
from frusta.publish.words import NBSP, plain

FALSE_ALARMS = 0.01
"""How often a campaign of cones that are all alike shows one, for each figure."""
LEAST_OTHERS = 4
"""Degrees of freedom of the other cones that make a comparison."""


@dataclass(frozen=True)
class _Scatter:
    """How far the seatings of one cone lie apart."""

    specimen: str
    squares: float
    freedom: int
    span: float
    reads_to: float


def unlike_seatings(findings: Findings) -> dict[str, str]:
    """Return the cones whose seatings differ more than those of the other cones, and by how much.

    Seatings are compared in break-up (as ratios), and in level within one session, so that what a rig drifts from day
    to day is not laid to a cone. A cone stands out if its variance over the others' exceeds what F's law lets happen in
    one campaign of a hundred (Bonferroni over the cones), and by more than the readings are uncertain.

    Parameters
    ----------
    findings : Findings

    Returns
    -------
    dict of str to str
        Specimen to sentence.
    """
    counted = [r for r in findings.readings if r.kind == "cone" and r.quality != "repeat"]
    found: dict[str, str] = {}
    for specimen, span, usual in _standing_out(_by_breakup(counted)):
        there, others = (f"{plain(100 * s, 1)}{NBSP}%" for s in (span, usual))
        found[specimen] = f"Its seatings differ by {there} in break-up, other cones’ by {others}. Push it on once more."
    for specimen, span, usual in _standing_out(_by_level(counted)):
        there, others = (f"{plain(s, 1)}{NBSP}dB" for s in (span, usual))
        words = f"Its seatings differ by {there} in level, other cones’ by {others}. Push it on once more."
        found.setdefault(specimen, words)
    return found


def _standing_out(scatters: list[_Scatter]) -> Iterator[tuple[str, float, float]]:
    """Cones that stand out, each with its span and the others' usual one."""
    for one in scatters:
        rest = [s for s in scatters if s is not one]
        freedom = sum(s.freedom for s in rest)
        squares = sum(s.squares for s in rest)
        if freedom < LEAST_OTHERS or squares <= 0.0 or one.span <= one.reads_to:
            continue
        ratio = (one.squares / one.freedom) / (squares / freedom)
        if float(f_law.sf(ratio, one.freedom, freedom)) < FALSE_ALARMS / len(scatters):
            yield one.specimen, one.span, float(np.median([s.span for s in rest]))


def _by_breakup(readings: list[Reading]) -> list[_Scatter]:
    values: dict[str, dict[int, list[tuple[float, float]]]] = {}
    for r in readings:
        if r.breakup_hz:
            u = (r.breakup_hz_u or 0.0) / r.breakup_hz
            values.setdefault(r.specimen, {}).setdefault(r.seating, []).append((math.log(r.breakup_hz), u))
    return [s for s in (_scatter(key, [seatings]) for key, seatings in values.items()) if s is not None]


def _by_level(readings: list[Reading]) -> list[_Scatter]:
    values: dict[str, dict[str, dict[int, list[tuple[float, float]]]]] = {}
    for r in readings:
        if r.level_db is not None:
            of_session = values.setdefault(r.specimen, {}).setdefault(r.session or "", {})
            of_session.setdefault(r.seating, []).append((r.level_db, r.level_db_u or 0.0))
    return [s for s in (_scatter(key, [*sessions.values()]) for key, sessions in values.items()) if s is not None]


def _scatter(specimen: str, sessions: list[Mapping[int, list[tuple[float, float]]]]) -> _Scatter | None:
    """Scatter of seatings within sessions; None where there is but one in each."""
    squares, freedom, span, reads_to = 0.0, 0, 0.0, 0.0
    for seatings in sessions:
        means = np.array([np.mean([value for value, _ in takes]) for takes in seatings.values()])
        if means.size < 2:
            continue
        squares += float(np.sum((means - means.mean()) ** 2))
        freedom += means.size - 1
        span = max(span, float(np.ptp(means)))
        reads_to = max(reads_to, 1.96 * math.sqrt(2.0) * max(u for takes in seatings.values() for _, u in takes))
    return _Scatter(specimen, squares, freedom, span, reads_to) if freedom else None
