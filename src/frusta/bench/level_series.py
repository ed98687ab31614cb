"""Distortion at equal level: cones swept at three or four levels, read where they play equally loud."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from frusta.bench.steps import TakeMade


@dataclass(frozen=True)
class LevelPoint:
    """One take of a series: its level at the microphone, and its distortion in per cent."""

    level_db: float
    distortion_percent: float


def points_of(takes: Sequence[TakeMade], figure: str = "input_thd_peak_percent") -> tuple[LevelPoint, ...]:
    """Return the takes of a series as points, quietest first; takes without level or distortion are left out."""
    points = [
        LevelPoint(t.verdict.figures["level_db"] + t.drive_gain_db, t.verdict.figures[figure])
        for t in takes
        if "level_db" in t.verdict.figures and t.verdict.figures.get(figure, 0.0) > 0.0
    ]
    return tuple(sorted(points, key=lambda p: p.level_db))


def distortion_at_level(points: Sequence[LevelPoint], level_db: float) -> tuple[float | None, str | None]:
    """Return the distortion at a level, or why there is none.

    Parameters
    ----------
    points : sequence of LevelPoint
        At least two.
    level_db : float
        At the microphone.

    Returns
    -------
    percent : float or None
        Interpolated as decibels over decibels (a straight line for any one order); never beyond the series.
    reason : str or None

    Examples
    --------
    >>> distortion_at_level([LevelPoint(80.0, 0.5), LevelPoint(86.0, 1.0)], 83.0)[0]
    0.7071067811865476
    """
    if len(points) < 2:
        return None, "needs at least two levels whose distortion stands over the noise"
    ordered = sorted(points, key=lambda p: p.level_db)
    if not ordered[0].level_db <= level_db <= ordered[-1].level_db:
        return None, f"the series runs from {ordered[0].level_db:.1f} to {ordered[-1].level_db:.1f} dB"
    levels = [p.level_db for p in ordered]
    logs = np.log([p.distortion_percent for p in ordered])
    return float(np.exp(np.interp(level_db, levels, logs))), None


def series_lines(takes: Sequence[TakeMade]) -> tuple[str, ...]:
    """Return distortion at equal level of all cones of a sitting, in words.

    Parameters
    ----------
    takes : sequence of TakeMade
        Kept takes; the level is the highest that every series reaches.
    """
    series: dict[tuple[str, int], list[TakeMade]] = {}
    for take in takes:
        series.setdefault((take.turn.specimen, take.turn.seating), []).append(take)
    points = {key: found for key, group in series.items() if len(found := points_of(group)) > 1}
    if not points:
        return ("distortion at equal level: none, it stood over the noise at fewer than two levels",)
    level = min(found[-1].level_db for found in points.values())
    lines = []
    for (specimen, seating), found in points.items():
        percent, why = distortion_at_level(found, level)
        said = f"{percent:.2g} %" if percent is not None else f"none ({why})"
        lines.append(f"{specimen}, seating {seating}: input-referred distortion at {level:.1f} dB: {said}")
    return tuple(lines)
