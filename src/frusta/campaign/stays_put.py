"""What stays put across materials is air, cavity or rig; what moves with √(E/ρ) is the cone.

Peaks and dips of one profile are looked for in the mean response of every group. A feature of one group is
expected in each other group at the same frequency if it stays, at the frequency times the ratio of √(E/ρ) if it
moves, and anywhere if it is neither; Bayes' rule weighs the three. Chance is what features lie there anyhow: they crowd
above break-up, and what crowds there is the cone's. What stays is the air's, and then a rigid cone of this shape has
it, too, or the rig's, and then cones of other shapes do.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.signal import find_peaks

from frusta.campaign.counts import count_word, counted
from frusta.campaign.curves import TakeCurves
from frusta.campaign.findings import Findings
from frusta.campaign.groups import groups_of
from frusta.campaign.package import Package
from frusta.campaign.ranking import Member
from frusta.campaign.sentences import NBSP
from frusta.signal.smoothing import log_grid, smooth_power

Floats = NDArray[np.float64]
Curve = tuple[Floats, Floats]

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
AROUND = 0.5
"""|ln f| to either side within which features are counted for how likely one lies there by chance."""
HIGHEST_HZ = 18e3
RIGID_SD = 0.02
"""Relative: a cone that moves bends the air's peaks and dips a little from where a rigid one has them."""
AIRS = 0.6
"""Of what stays, the share that is air or cavity rather than rig."""
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
    profile: str,
    curves: Mapping[str, tuple[Floats, Floats]],
    speed_m_s: Mapping[str, float],
    names: Mapping[str, str] | None = None,
    rigid: Curve | None = None,
    elsewhere: Sequence[Curve] = (),
) -> tuple[StaysRow, ...]:
    """Return a verdict for each peak and dip of a profile.

    Parameters
    ----------
    profile : str
    curves : mapping of str to (frequency_hz, level_db)
        Mean response of each group, 96 points an octave.
    speed_m_s : mapping of str to float
        √(E/ρ) of each group; those without one are left out.
    names : mapping of str to str, optional
        What to call the groups in sentences.
    rigid : (frequency_hz, level_db), optional
        Response of the rigid cone of this profile: what air and cavity do.
    elsewhere : sequence of (frequency_hz, level_db)
        Mean response of cones of each other profile on the same rig.

    Returns
    -------
    tuple of StaysRow
        By rising frequency; empty with fewer than two groups.
    """
    groups = [group for group in curves if group in speed_m_s]
    if len(groups) < 2:
        return ()
    left = {group: features_of(group, *curves[group]) for group in groups}
    others = _Others(
        None if rigid is None else features_of("rigid", *rigid), [features_of("elsewhere", *one) for one in elsewhere]
    )
    count = len(groups)
    rows: list[StaysRow] = []
    while any(left.values()):
        followed = [_follow(feature, left, speed_m_s, others) for features in left.values() for feature in features]
        best = max(followed, key=lambda chain: (chain.probability >= SURE, len(chain.members), chain.probability))
        rows.append(_row(profile, best, speed_m_s, count, names or {}))
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


@dataclass(frozen=True)
class _Others:
    """Features of the rigid cone, where it is known, and of cones of other profiles, one list a profile."""

    rigid: list[Feature] | None
    elsewhere: list[list[Feature]]

    def stays(self, feature: Feature) -> float:
        """Likelihood ratio of a feature that stays from what these show: the air's, or the rig's."""
        place = math.log(feature.frequency_hz)
        air = 1.0 if self.rigid is None else _likelihood(feature, self.rigid, place, RIGID_SD)[0]
        rig = math.prod(_likelihood(feature, own, place, STAYS_SD)[0] for own in self.elsewhere)
        return AIRS * air + (1.0 - AIRS) * rig


def _follow(
    feature: Feature, found: Mapping[str, list[Feature]], speed: Mapping[str, float], others: _Others
) -> _Chain:
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
    weight["stays"] *= others.stays(feature)
    weight["moves"] *= _crowd(feature, found[feature.group])
    best = max(("stays", "moves"), key=lambda name: weight[name])
    return _Chain(best, weight[best] / sum(weight.values()), chains[best])


def _row(profile: str, chain: _Chain, speed: Mapping[str, float], groups: int, names: Mapping[str, str]) -> StaysRow:
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
        f"{profile}: {_sentence(chain, speed, groups, names)}",
    )


def _likelihood(
    feature: Feature, features: Sequence[Feature], expected: float, sd: float
) -> tuple[float, Feature | None]:
    """Likelihood of one group under a hypothesis over chance, and the feature that would be it."""
    alike = [other for other in features if other.kind == feature.kind]
    if not alike:
        return 1.0 - FOUND, None
    density = chance_density(alike, expected)
    nearest = min(alike, key=lambda other: abs(math.log(other.frequency_hz) - expected))
    distance = math.log(nearest.frequency_hz) - expected
    if abs(distance) > REACH * sd:
        return (1.0 - FOUND) / math.exp(-2.0 * REACH * sd * density), None
    inside = math.exp(-0.5 * (distance / sd) ** 2) / (sd * math.sqrt(2.0 * math.pi))
    return (FOUND * inside + (1.0 - FOUND) * density) / density, nearest


def chance_density(alike: Sequence[Feature], place: float) -> float:
    """Return how many features lie somewhere by chance, in a unit of ln f; no less than one round about.

    Parameters
    ----------
    alike : sequence of Feature
        Of one kind and group.
    place : float
        ln f.
    """
    low, high = max(place - AROUND, math.log(LOWEST_HZ)), min(place + AROUND, math.log(HIGHEST_HZ))
    around = sum(low <= math.log(other.frequency_hz) <= high for other in alike)
    return max(around, 1) / max(high - low, AROUND)


def _crowd(feature: Feature, own: Sequence[Feature]) -> float:
    """How much more often than on the whole features lie round about one, 1 or more: the air has its own anywhere."""
    alike = [other for other in own if other.kind == feature.kind]
    on_the_whole = len(alike) / math.log(HIGHEST_HZ / LOWEST_HZ)
    return max(chance_density(alike, math.log(feature.frequency_hz)) / on_the_whole, 1.0)


def _exponent(chain: Sequence[Feature], speed: Mapping[str, float]) -> tuple[float | None, float | None]:
    """Slope of ln f over ln speed, and its standard uncertainty from the width of a smoothed feature."""
    x = np.array([math.log(speed[member.group]) for member in chain])
    y = np.log([member.frequency_hz for member in chain])
    spread = float(np.sum((x - x.mean()) ** 2))
    if len(chain) < 2 or spread < 1e-6:
        return None, None
    return float(np.sum((x - x.mean()) * y) / spread), STAYS_SD / math.sqrt(spread)


def _sentence(chain: _Chain, speed: Mapping[str, float], groups: int, names: Mapping[str, str]) -> str:
    hertz = [member.frequency_hz for member in chain.members]
    speeds = [speed[member.group] for member in chain.members]
    would = 100.0 * (max(speeds) / min(speeds) - 1.0)
    did = 100.0 * (max(hertz) / min(hertz) - 1.0)
    kind = chain.members[0].kind
    found = len(chain.members)
    where = (
        "both"
        if found == groups == 2
        else f"all {count_word(groups)}"
        if found == groups
        else (f"{count_word(found)} of {count_word(groups)}")
    )
    one = f"the {kind} at {_hertz(float(np.median(hertz)))}"
    span = f"the {kind} at {_span(min(hertz), max(hertz))}"
    if chain.verdict == "stays":
        return (
            f"{one} stays at the same frequency in {where} materials (within {max(did, 0.1):.1f}{NBSP}%; a cone's "
            f"would move by {would:.0f}{NBSP}%): air, cavity or rig, not the cone"
        )
    if chain.verdict == "moves":
        return (
            f"{span} moves with the material in {where} (by {did:.0f}{NBSP}%, where stiffness for weight asks for "
            f"{would:.0f}{NBSP}%): the cone"
        )
    if found == 1:
        group = chain.members[0].group
        return f"{one} of {names.get(group, group)} is not found in the others"
    if would < 300.0 * MOVES_SD:
        return f"{span}: these materials are too alike in stiffness for weight to tell air from cone"
    return f"{span}: unclear"


def _hertz(hertz: float) -> str:
    number, unit = (hertz / 1e3, "kHz") if hertz >= 999.5 else (hertz, "Hz")
    return f"{f'{number:#.3g}'.rstrip('.')}{NBSP}{unit}"


def _span(low_hz: float, high_hz: float) -> str:
    """Two frequencies with one unit where they share it: "2.97 to 3.82 kHz"."""
    low, high = _hertz(low_hz), _hertz(high_hz)
    if low == high:
        return high
    return f"{low.split(NBSP)[0] if low.split(NBSP)[1] == high.split(NBSP)[1] else low} to {high}"


class Known(Protocol):
    """What is needed of an analysis."""

    @property
    def findings(self) -> Findings:
        """Findings of the campaign."""
        ...

    @property
    def curves(self) -> Mapping[str, TakeCurves]:
        """Curves by take."""
        ...

    @property
    def package(self) -> Package:
        """Its tables."""
        ...


def stays_of_campaign(analysis: Known) -> tuple[StaysRow, ...]:
    """Return the verdicts for every profile of a campaign that two or more materials were printed in.

    Parameters
    ----------
    analysis : Analysis
        Or anything with findings, curves and package.
    """
    return stays_of(analysis.findings, analysis.curves, analysis.package)


def stays_of(findings: Findings, curves: Mapping[str, TakeCurves], package: Package) -> tuple[StaysRow, ...]:
    """Return the verdicts for every profile of a campaign that two or more materials were printed in.

    √(E/ρ) is taken from the estimates; where one is missing, from the ratio of the break-ups in the profile.

    Parameters
    ----------
    findings : Findings
    curves : mapping of str to TakeCurves
        By take; takes without curves are left out.
    package : Package

    Returns
    -------
    tuple of StaysRow
        Profile by profile in the order of the readings, by rising frequency.
    """
    group_of, members = groups_of(package)
    takes: dict[str, dict[str, list[str]]] = {}
    breakups: dict[tuple[str, str], list[float]] = {}
    for reading in findings.readings:
        group = group_of.get(reading.specimen)
        if group is None or reading.profile is None or reading.quality == "repeat":
            continue
        if reading.take in curves:
            takes.setdefault(reading.profile, {}).setdefault(group, []).append(reading.take)
        if reading.breakup_hz is not None:
            breakups.setdefault((reading.profile, group), []).append(reading.breakup_hz)
    estimated = _estimated_speeds(findings, members)
    names = {group: member.name for group, member in members.items()}
    rows: list[StaysRow] = []
    for profile, groups in takes.items():
        if len(groups) < 2:
            continue
        means = {group: _mean_curve(curves, own) for group, own in groups.items()}
        speeds = (
            estimated
            if all(group in estimated for group in groups)
            else {
                group: float(np.exp(np.mean(np.log(breakups[profile, group]))))
                for group in groups
                if (profile, group) in breakups
            }
        )
        every = {one: [take for takes_of in own.values() for take in takes_of] for one, own in takes.items()}
        elsewhere = [_mean_curve(curves, own) for one, own in every.items() if one != profile]
        rigid = _mean_curve(curves, every[profile], "rigid_db")
        known = rigid if np.isfinite(rigid[1]).any() else None
        rows += stays_or_moves(profile, means, speeds, names, known, elsewhere)
    return tuple(rows)


def lines_of_stays(rows: Sequence[StaysRow]) -> list[str]:
    """Return what stays put in words, for a terminal: a line for each feature that stays, a count of those that move.

    Parameters
    ----------
    rows : sequence of StaysRow
    """
    if not rows:
        return []
    stays = [row for row in rows if row.verdict == "stays"]
    moves = sum(row.verdict == "moves" for row in rows)
    lines = ["What stays put across materials:", *(f"  {row.sentence}." for row in stays)]
    if not stays:
        lines.append("  no peak or dip: none is blamed on air, cavity or rig.")
    looked_at = counted(len(rows), "peak or dip", "peaks and dips")
    lines.append(f"  {moves} of {looked_at} {'moves' if moves == 1 else 'move'} with the material: the cone.")
    return lines


def _estimated_speeds(findings: Findings, members: Mapping[str, Member]) -> dict[str, float]:
    """√(E/ρ) by group where the material was estimated, m/s."""
    known = {
        (row.material, row.recipe): math.sqrt(1e9 * row.hoop_modulus_gpa / row.density_kg_m3)
        for row in findings.estimates
        if row.hoop_modulus_gpa is not None and row.density_kg_m3 is not None
    }
    return {g: known[m.material, m.recipe] for g, m in members.items() if (m.material, m.recipe) in known}


def _mean_curve(curves: Mapping[str, TakeCurves], takes: Sequence[str], column: str = "level_db") -> Curve:
    """Mean of one column over the takes that have it, each brought to its own mean first, on the grid they share."""
    tables = [curves[take].table for take in takes]
    tables = [table for table in tables if np.isfinite(table[column]).any()] or tables
    low = max(float(table["frequency_hz"][0]) for table in tables)
    high = min(float(table["frequency_hz"][-1]) for table in tables)
    grid = log_grid(low, high)
    levels = [np.interp(np.log(grid), np.log(table["frequency_hz"]), table[column]) for table in tables]
    means = [np.mean(level[np.isfinite(level)]) if np.isfinite(level).any() else math.nan for level in levels]
    return grid, np.mean([level - mean for level, mean in zip(levels, means, strict=True)], axis=0)
