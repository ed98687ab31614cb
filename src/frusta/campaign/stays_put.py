"""What stays put across materials is air, cavity or rig; what moves with √(E/ρ) is the cone.

Peaks and dips of one profile are looked for in the mean response of every group. A feature of one group is
expected in each other group at the same frequency if it stays, at the frequency times the ratio of √(E/ρ) if it
moves, and anywhere if it is neither; Bayes' rule weighs the three.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import find_peaks

from frusta.campaign.analysis import Analysis
from frusta.campaign.groups import groups_of
from frusta.signal.smoothing import log_grid, smooth_power

Floats = NDArray[np.float64]

LOWEST_HZ = 200.0
PER_OCTAVE = 12.0
LEAST_DB = 1.5
"""Prominence of a peak or dip in the 1/12-octave-smoothed response: less is not what a maker points at."""
STAYS_SD = 0.010
"""Relative: how well a smoothed feature keeps its frequency from cone to cone."""
MOVES_SD = 0.035
"""Relative: coil, air and the ratios of the moduli keep a mode from following √(E/ρ) exactly."""
MOVES_SHARE = 0.12
"""Of the expected move: moduli along and across the layers are not in one ratio in all materials."""
FOUND = 0.8
"""Probability that a feature that should be there is found."""
REACH = 3.0
"""Standard deviations within which a feature may be the one expected."""
SURE = 0.9
PRIOR = {"stays": 0.3, "moves": 0.5, "neither": 0.2}


@dataclass(frozen=True)
class Feature:
    """A peak or dip of one group's response."""

    group: str
    kind: str
    frequency_hz: float
    prominence_db: float


@dataclass(frozen=True)
class StaysRow:
    """One peak or dip followed across materials.

    Attributes
    ----------
    profile : str
    kind : {"peak", "dip"}
    frequency_hz : dict of str to float
        By group, where it was found.
    prominence_db : float
        Median over the groups.
    exponent, exponent_u : float or None
        Slope of ln f over ln √(E/ρ): 0 stays, 1 moves with the cone.
    verdict : {"stays", "moves", "unclear"}
    probability : float
        Of the verdict; of the likelier one where it is unclear.
    sentence : str
    """

    profile: str
    kind: str
    frequency_hz: dict[str, float]
    prominence_db: float
    exponent: float | None
    exponent_u: float | None
    verdict: str
    probability: float
    sentence: str


def stays_or_moves(
    profile: str, curves: Mapping[str, tuple[Floats, Floats]], speed_m_s: Mapping[str, float]
) -> tuple[StaysRow, ...]:
    """Return a verdict for each peak and dip of a profile.

    Parameters
    ----------
    profile : str
    curves : mapping of str to (frequency_hz, level_db)
        Mean response of each group, 96 points an octave.
    speed_m_s : mapping of str to float
        √(E/ρ) of each group; those without one are left out.

    Returns
    -------
    tuple of StaysRow
        By rising frequency; empty with fewer than two groups.
    """
    groups = [group for group in curves if group in speed_m_s]
    if len(groups) < 2:
        return ()
    left = {group: features_of(group, *curves[group]) for group in groups}
    count = len(groups)
    rows: list[StaysRow] = []
    while any(left.values()):
        followed = [_follow(feature, left, speed_m_s) for features in left.values() for feature in features]
        best = max(followed, key=lambda chain: (chain.probability >= SURE, len(chain.members), chain.probability))
        rows.append(_row(profile, best, speed_m_s, count))
        left = {group: [f for f in features if f not in best.members] for group, features in left.items()}
    return tuple(sorted(rows, key=lambda row: min(row.frequency_hz.values())))


def features_of(group: str, frequency_hz: Floats, level_db: Floats) -> list[Feature]:
    """Return the peaks and dips of a smoothed response from 200 Hz to nine tenths of its top."""
    good = np.isfinite(level_db)
    f, power = frequency_hz[good], 10.0 ** (level_db[good] / 10.0)
    if f.size < 3:
        return []
    smooth = 10.0 * np.log10(smooth_power(f, power, PER_OCTAVE))
    inside = (f >= LOWEST_HZ) & (f <= 0.9 * f[-1])
    x, y = np.log(f[inside]), smooth[inside]
    out = []
    for kind, sign in (("peak", 1.0), ("dip", -1.0)):
        places, told = find_peaks(sign * y, prominence=LEAST_DB)
        for place, prominence in zip(places, told["prominences"], strict=True):
            a, b, c = y[place - 1 : place + 2]
            bend = a - 2.0 * b + c
            shift = 0.5 * (a - c) / bend if bend != 0.0 else 0.0
            hertz = float(np.exp(x[place] + shift * (x[place + 1] - x[place])))
            out.append(Feature(group, kind, hertz, float(prominence)))
    return sorted(out, key=lambda feature: feature.frequency_hz)


@dataclass(frozen=True)
class _Chain:
    """One feature followed through the groups: by which hypothesis, how probable, and where it was found."""

    hypothesis: str
    probability: float
    members: tuple[Feature, ...]

    @property
    def verdict(self) -> str:
        return self.hypothesis if self.probability >= SURE and len(self.members) > 1 else "unclear"


def _follow(feature: Feature, found: Mapping[str, list[Feature]], speed: Mapping[str, float]) -> _Chain:
    """Follow one feature into the other groups under both hypotheses and take the likelier."""
    own = math.log(speed[feature.group])
    weight, chains = {"neither": PRIOR["neither"]}, {}
    for name, exponent, sd in (("stays", 0.0, STAYS_SD), ("moves", 1.0, MOVES_SD)):
        weight[name], chain = PRIOR[name], [feature]
        for group, features in found.items():
            if group == feature.group:
                continue
            change = exponent * (math.log(speed[group]) - own)
            width = math.hypot(sd, MOVES_SHARE * change)
            ratio, match = _likelihood(feature, features, math.log(feature.frequency_hz) + change, width)
            weight[name] *= ratio
            chain += [] if match is None else [match]
        chains[name] = tuple(chain)
    best = max(("stays", "moves"), key=lambda name: weight[name])
    return _Chain(best, weight[best] / sum(weight.values()), chains[best])


def _row(profile: str, chain: _Chain, speed: Mapping[str, float], groups: int) -> StaysRow:
    exponent, exponent_u = _exponent(chain.members, speed)
    return StaysRow(
        profile,
        chain.members[0].kind,
        {member.group: member.frequency_hz for member in chain.members},
        float(np.median([member.prominence_db for member in chain.members])),
        exponent,
        exponent_u,
        chain.verdict,
        chain.probability,
        _sentence(profile, chain, speed, groups),
    )


def _likelihood(
    feature: Feature, features: Sequence[Feature], expected: float, sd: float
) -> tuple[float, Feature | None]:
    """Likelihood of one group under a hypothesis over chance, and the feature that would be it."""
    alike = [other for other in features if other.kind == feature.kind]
    if not alike:
        return 1.0 - FOUND, None
    span = math.log(20e3 / LOWEST_HZ)
    density = len(alike) / span
    nearest = min(alike, key=lambda other: abs(math.log(other.frequency_hz) - expected))
    distance = math.log(nearest.frequency_hz) - expected
    if abs(distance) > REACH * sd:
        return (1.0 - FOUND) / math.exp(-2.0 * REACH * sd * density), None
    inside = math.exp(-0.5 * (distance / sd) ** 2) / (sd * math.sqrt(2.0 * math.pi))
    return (FOUND * inside + (1.0 - FOUND) * density) / density, nearest


def _exponent(chain: Sequence[Feature], speed: Mapping[str, float]) -> tuple[float | None, float | None]:
    """Slope of ln f over ln speed, and its standard uncertainty from the width of a smoothed feature."""
    x = np.array([math.log(speed[member.group]) for member in chain])
    y = np.log([member.frequency_hz for member in chain])
    spread = float(np.sum((x - x.mean()) ** 2))
    if len(chain) < 2 or spread < 1e-6:
        return None, None
    return float(np.sum((x - x.mean()) * y) / spread), STAYS_SD / math.sqrt(spread)


def _sentence(profile: str, chain: _Chain, speed: Mapping[str, float], groups: int) -> str:
    hertz = [member.frequency_hz for member in chain.members]
    speeds = [speed[member.group] for member in chain.members]
    would = 100.0 * (max(speeds) / min(speeds) - 1.0)
    did = 100.0 * (max(hertz) / min(hertz) - 1.0)
    kind = chain.members[0].kind
    count = f"in {len(chain.members)} of {groups} materials"
    span = f"from {min(hertz):.0f} to {max(hertz):.0f} Hz"
    if chain.verdict == "stays":
        return (
            f"{profile}: the {kind} near {float(np.median(hertz)):.0f} Hz stays {count} (within {did:.1f} %; a cone's "
            f"would move by {would:.0f} %): air, cavity or rig, not the cone"
        )
    if chain.verdict == "moves":
        return f"{profile}: the {kind} {span} moves with the material {count} ({did:.0f} %, √(E/ρ) {would:.0f} %): cone"
    if len(chain.members) == 1:
        return f"{profile}: the {kind} near {hertz[0]:.0f} Hz of {chain.members[0].group} is not found in the others"
    if would < 300.0 * MOVES_SD:
        return f"{profile}: the {kind} {span}: these materials are too alike in √(E/ρ) to tell air from cone"
    return f"{profile}: the {kind} {span}: unclear"


def stays_of_campaign(analysis: Analysis) -> tuple[StaysRow, ...]:
    """Return the verdicts for every profile of a campaign that two or more materials were printed in.

    √(E/ρ) is taken from the estimates; where one is missing, from the ratio of the break-ups in the profile.

    Parameters
    ----------
    analysis : Analysis
    """
    findings = analysis.findings
    group_of, _ = groups_of(analysis.package)
    takes: dict[str, dict[str, list[str]]] = {}
    breakups: dict[tuple[str, str], list[float]] = {}
    for reading in findings.readings:
        group = group_of.get(reading.specimen)
        if group is None or reading.profile is None or reading.quality == "repeat":
            continue
        if reading.take in analysis.curves:
            takes.setdefault(reading.profile, {}).setdefault(group, []).append(reading.take)
        if reading.breakup_hz is not None:
            breakups.setdefault((reading.profile, group), []).append(reading.breakup_hz)
    rows: list[StaysRow] = []
    for profile, groups in takes.items():
        curves = {group: _mean_curve(analysis, names) for group, names in groups.items()}
        speeds = _speeds(analysis, list(groups), {g: breakups.get((profile, g), []) for g in groups})
        rows += stays_or_moves(profile, curves, speeds)
    return tuple(rows)


def _speeds(analysis: Analysis, groups: Sequence[str], breakups: Mapping[str, list[float]]) -> dict[str, float]:
    """√(E/ρ) by group where all have an estimate; else the break-ups, which are in the same ratio."""
    known = analysis.learned.materials
    if all(group in known for group in groups):
        solids = {group: known[group].elastic for group in groups}
        return {group: math.sqrt(solid.hoop_pa / solid.density_kg_m3) for group, solid in solids.items()}
    return {group: float(np.exp(np.mean(np.log(breakups[group])))) for group in groups if breakups[group]}


def _mean_curve(analysis: Analysis, takes: Sequence[str]) -> tuple[Floats, Floats]:
    """Mean level over takes, each brought to its own mean first, on the grid they share."""
    tables = [analysis.curves[take].table for take in takes]
    low = max(float(table["frequency_hz"][0]) for table in tables)
    high = min(float(table["frequency_hz"][-1]) for table in tables)
    grid = log_grid(low, high)
    levels = [np.interp(np.log(grid), np.log(table["frequency_hz"]), table["level_db"]) for table in tables]
    return grid, np.mean([level - np.nanmean(level) for level in levels], axis=0)
