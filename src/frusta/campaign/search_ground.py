"""Where a search for the best cone starts from: the goal, what may be tried, and the cones there are."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from frusta.campaign.allowed_cones import Wish, filaments_of, limits_of, printed_kinds
from frusta.campaign.findings import Findings
from frusta.campaign.forecasting import drawn_profile, forecast_rig, rig_of
from frusta.campaign.groups import groups_of
from frusta.campaign.package import Package
from frusta.cone.profile import ConeProfile
from frusta.design.goal import HALVES, WEIGHTS, Goal
from frusta.design.possible import CloudOfCones
from frusta.design.rig import ForecastRig
from frusta.design.rivals import Contender
from frusta.design.search import Filament, Task, Trial, expected_figures, try_cone
from frusta.errors import PackageError, ParameterError
from frusta.material.learned import JointKnowledge, Learned, ShapeKnowledge

"""Points below the best that an answer may lie, if it is better than every cone there is."""
JOINT_GIVEN = 0.2
"""Relative uncertainty of a joint that a table names, as of a forecast."""
EQUAL_LEVEL_DB = 1.0
"""Within which cones count as played equally loud, so that their distortion may be compared."""


@dataclass(frozen=True)
class Existing:
    """A kind of cone that was printed: a filament in a profile."""

    group: str
    profile_key: str
    contender: Contender
    trial: Trial


@dataclass(frozen=True)
class Ground:
    """Where a search starts from.

    Parameters
    ----------
    task : Task
    existing : tuple of Existing
        Best first, all by forecast, so that they are compared with the new ones alike.
    said : tuple of str
        What was assumed or left out, as sentences.
    """

    task: Task
    existing: tuple[Existing, ...]
    said: tuple[str, ...]


def ground_of(package: Package, learned: Learned, findings: Findings | None = None, wish: Wish | None = None) -> Ground:
    """Return what a search for a campaign is about.

    Parameters
    ----------
    package : Package
    learned : Learned
    findings : Findings, optional
        For the distortion that was recorded.
    wish : Wish, optional

    Raises
    ------
    PackageError
        If the campaign has no band, rig, coil, material or profile to start from.
    ParameterError
        If the wish contradicts itself.
    """
    wish = wish or Wish()
    band_hz = wish.band_hz or _band(package)
    row = rig_of(package)
    rig = forecast_rig(package, row)
    joint = learned.joint
    if joint.assumed and row.neck_stiffness_n_um is not None:
        compliance = 1e-6 / row.neck_stiffness_n_um
        joint = JointKnowledge(compliance, JOINT_GIVEN * compliance, 0.0, assumed=False)
    drawn = {key: drawn_profile(row) for key, row in package.profiles.items()}
    printed = printed_kinds(package)
    if not drawn or not package.materials:
        raise PackageError(
            "a search for the best cone needs a material and a profile to start from (materials.csv or profiles.csv is "
            "empty); add a row"
        )
    limits, limits_said = limits_of(wish, [drawn[p] for p in dict.fromkeys(p for _, p in printed)] or [*drawn.values()])
    filaments, said = filaments_of(package, learned, wish, drawn, printed)
    fixed, dropped = _distortion(package, findings, [f.key for f in filaments])
    said = [*rig.assumed, *limits_said, *said]
    weights = dict(WEIGHTS if wish.weights is None else wish.weights)
    if weights.get("distortion", 0.0) > 0.0 and fixed is None:
        weights.pop("distortion")
        said.append(f"distortion is left out of the goal: {dropped}")
    if fixed is not None and dropped:
        said.append(dropped)
    filaments = [replace(f, fixed={"distortion": fixed[f.key]} if fixed else None) for f in filaments]
    by_key = {f.key: f for f in filaments}
    pairs = [(g, p) for g, p in printed if g in by_key]
    usual = pairs or [(g, p) for g in by_key for p in drawn]
    goal = _goal(band_hz, weights, rig, joint, [(by_key[g], drawn[p], learned.shapes.get(p)) for g, p in usual])
    task = Task(goal, rig, joint, tuple(filaments), limits)
    existing = []
    for number, (group, key) in enumerate(pairs):
        contender = Contender(by_key[group], drawn[key], learned.shapes.get(key), 1000 + number)
        trial = try_cone(task, by_key[group], drawn[key], contender.shape)
        existing.append(Existing(group, key, contender, trial))
    existing.sort(key=lambda e: (-e.trial.score, e.group, e.profile_key))
    return Ground(task, tuple(existing), tuple(said))


def _band(package: Package) -> tuple[float, float]:
    low, high = package.campaign.band_low_hz, package.campaign.band_high_hz
    if low is None or high is None:
        raise PackageError(
            "campaign.csv must name band_low_hz and band_high_hz to look for the best cone (they are empty); fill them "
            "in, or say it with --goal 'band 300-6000'"
        )
    return low, high


def _distortion(
    package: Package, findings: Findings | None, groups: Sequence[str]
) -> tuple[dict[str, float] | None, str]:
    """Input distortion of each group as recorded; None with the reason where it cannot tell cones apart honestly."""
    if findings is None:
        return None, "no recording was read"
    group_of, _ = groups_of(package)
    takes = package.takes
    heard = [
        (group_of.get(r.specimen), (takes[r.take].sweep, takes[r.take].drive_gain_db or 0.0), r)
        for r in findings.readings
        if r.kind == "cone" and r.quality != "repeat" and r.input_thd_peak_percent is not None
    ]
    usual = Counter(drive for _, drive, _ in heard).most_common(1)
    by_group: dict[str, list[tuple[float, float]]] = {}
    for group, drive, r in heard:
        if group in groups and drive == usual[0][0] and r.level_db is not None:
            by_group.setdefault(str(group), []).append((float(r.input_thd_peak_percent or 0.0), r.level_db))
    lacking = [g for g in groups if not by_group.get(g)]
    if lacking:
        return None, f"no take of {', '.join(lacking)} at the usual drive gives it above its own noise"
    rows = [d for d in findings.differences if d.figure == "input_thd_peak_percent"]
    clear = [d for d in rows if d.low_95 is not None and d.high_95 is not None and not d.low_95 <= 1.0 <= d.high_95]
    if not clear:
        return None, "the filaments cannot be told apart by it, so it does not decide between cones"
    levels = [float(np.median([level for _, level in pairs])) for pairs in by_group.values()]
    if max(levels) - min(levels) > EQUAL_LEVEL_DB:
        return None, f"the filaments were not played equally loud ({max(levels) - min(levels):.1f} dB apart)"
    found = {g: float(np.median([percent for percent, _ in by_group[g]])) for g in groups}
    return found, "distortion is each filament's as recorded; that a shape changes it is not foretold"


def _goal(
    band_hz: tuple[float, float],
    weights: Mapping[str, float],
    rig: ForecastRig,
    joint: JointKnowledge,
    cones: Sequence[tuple[Filament, ConeProfile, ShapeKnowledge | None]],
) -> Goal:
    """The goal, with half values: the band's end for both limits, the mean printed cone for mass and level."""
    top = min(band_hz[1], rig.stop_hz)
    if top <= band_hz[0]:
        raise ParameterError(f"the band must begin below the sweep's end, {rig.stop_hz:.0f} Hz (got {band_hz[0]:g} Hz)")
    figures = []
    for filament, profile, shape in cones:
        cloud = CloudOfCones(profile, filament.known, joint, shape or ShapeKnowledge(), rig)
        figures.append(expected_figures(cloud.expected, profile, rig, band_hz))
    halves = {
        **HALVES,
        "piston limit": top,
        "upper limit": top,
        "mass": math.exp(float(np.mean([math.log(f["mass"]) for f in figures]))),
        "level": float(np.mean([f["level"] for f in figures])),
    }
    return Goal(band_hz, weights, halves)
