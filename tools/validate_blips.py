"""Causes of narrow features: what was put into simulated takes against what the analysis names first.

Each campaign has two materials in two profiles on a virtual rig of its own, two seatings, a check cone, and one
cause: an uneven wall of two or three waves, a resonance of the rig, a joint that moves from seating to seating, or
rocking of one specimen. It is recorded and analysed as any other. Prints a confusion table for the documentation,
and how many features were found at all, by the periods that fit into the reflection-free time. What a bell mode
adds to the response is taken from the poles of the virtual cone; those under 0.2 dB are not looked for.

    python tools/validate_blips.py --campaigns 25 --first 1
    python tools/validate_blips.py --campaigns 8 --first 1 --distortion     a cone that buckles in every campaign
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from frusta.bench.narrow_feature import NarrowFeature, features_response
from frusta.bench.random_campaign import random_campaign
from frusta.bench.virtual import Conditions, VirtualRig, seeded
from frusta.bench.virtual_campaign import VirtualCampaign, write_campaign
from frusta.campaign.analysis import analyse
from frusta.campaign.findings import BlipRow
from frusta.campaign.parallel import map_batches
from frusta.cone.bells import bell_modes
from frusta.cone.medium import air_at
from frusta.cone.poles import break_up, find_poles, prominences_db
from frusta.errors import FrustaError
from frusta.signal.blips import LEAST_HEIGHT_DB

CAUSES = ("bell 2", "bell 3", "rig", "joint", "rocking")
NAMED = {"bell mode n = 2": "bell 2", "bell mode n = 3": "bell 3", "bell mode n = 4": "bell 4", "bell mode of": "bell"}
NAMED |= {"rocking": "rocking", "joint": "joint", "rig": "rig", "harmonic": "harmonic", "none": "other"}
COLUMNS = ("bell 2", "bell 3", "bell 4", "rig", "joint", "rocking", "harmonic", "other")
WITHIN = 0.02
BUCKLE_OCTAVES = 0.25
"""A buckling cone's distortion is smoothed over a sixth of an octave, and leans on modes beside it."""
PERIODS = (2.0, 4.0, 8.0, 1e9)


@dataclass(frozen=True)
class LooseRig(VirtualRig):
    """A rig on which some seatings have a resonance of their own."""

    loose: dict[tuple[str, int], NarrowFeature] = field(default_factory=dict)

    def transfer(self, specimen: str, seating: int, size: int, sample_rate_hz: int, conditions: Conditions):
        """As the rig's, with the seating's feature."""
        out = super().transfer(specimen, seating, size, sample_rate_hz, conditions)
        feature = self.loose.get((specimen, seating))
        if feature is None:
            return out
        return out * features_response((feature,), np.fft.rfftfreq(size, 1.0 / sample_rate_hz))


def prepared(seed: int) -> tuple[str, VirtualCampaign, dict[str, list[float]]]:
    """The cause, the campaign, and where its features truly lie, by take."""
    cause = CAUSES[seed % len(CAUSES)]
    rng = seeded(seed, "blips")
    campaign = random_campaign(seed, "clean", mishaps=False, materials=2, profiles=2)
    cones = {
        name: replace(cone, unevenness=(), buckle=None)
        for name, cone in campaign.rig.cones.items()
        if not name.endswith("-2")
    }
    hertz, loss = float(np.exp(rng.uniform(np.log(900.0), np.log(2200.0)))), float(rng.uniform(0.04, 0.08))
    feature = NarrowFeature(hertz, loss, float(rng.choice([-1, 1]) * rng.uniform(0.06, 0.15)))
    bench, loose = campaign.rig.bench, {}
    where: dict[str, list[float]] = {name: [] for name in cones}
    plan = tuple(p for p in campaign.plan if p.specimen in cones)
    printed = [name for name in cones if name != "check-1"]
    if cause.startswith("bell"):
        order, amount = int(cause[-1]), float(rng.uniform(0.08, 0.16))
        cones = {n: replace(c, unevenness=((order, amount),)) if n in printed else c for n, c in cones.items()}
        rig = VirtualRig(bench, cones, campaign.rig.seed)
        where |= {name: audible_bells(rig, name, order) for name in printed}
    elif cause == "rig":
        bench = replace(bench, features=(feature,))
        where = {name: [hertz] for name in cones}
    elif cause == "rocking":
        own = cones[printed[0]]
        held = bell_modes(own.profile, own.elastic, 1, air_at(20.0, 50.0), bench.bench.mounting).frequency_hz[0]
        hertz = float(held * rng.uniform(0.6, 0.95))
        feature = replace(feature, frequency_hz=hertz)
        cones = {n: replace(c, features=(feature,)) if n == printed[0] else c for n, c in cones.items()}
        where[printed[0]] = [hertz]
    by_take = {p.take: list(where[p.specimen]) for p in plan}
    if cause == "joint":
        for p in plan:
            if p.specimen in printed[:2]:
                own = replace(feature, frequency_hz=hertz * float(np.exp(0.04 * rng.standard_normal())))
                loose[p.specimen, p.seating] = own
                by_take[p.take] = [own.frequency_hz]
    rig = LooseRig(bench, cones, campaign.rig.seed, loose=loose)
    tables = {**campaign.tables, "specimens": [s for s in campaign.tables["specimens"] if s.specimen in cones]}
    return cause, replace(campaign, rig=rig, plan=plan, tables=tables), by_take


def audible_bells(rig: VirtualRig, name: str, order: int) -> list[float]:
    """Bell modes of an uneven cone that add 0.2 dB or more to its response below break-up, Hz."""
    cone = rig.cones[name]
    forecast = bell_modes(cone.profile, cone.elastic, order, air_at(20.0, 50.0), rig.bench.bench.mounting)
    driver = rig.driver(name, 1, Conditions())
    poles = find_poles(driver, 100.0)
    height_db = 20.0 * np.log10(1.0 + 10.0 ** (prominences_db(driver, poles) / 20.0))
    end = break_up(driver, poles)
    end_hz = poles.frequency_hz[end] if end is not None else np.inf
    found = []
    for hertz in forecast.frequency_hz[:2]:
        nearest = int(np.argmin(np.abs(poles.frequency_hz - hertz)))
        own_hz = float(poles.frequency_hz[nearest])
        if abs(np.log(own_hz / hertz)) < WITHIN and own_hz < end_hz and height_db[nearest] >= LEAST_HEIGHT_DB:
            found.append(own_hz)
    return found


Found = tuple[str, str, str, float]


def one_campaign(seed: int) -> list[Found]:
    """Cause put in, cause named first, its word, and the periods heard, of every feature found; and those not found."""
    cause, campaign, where = prepared(seed)
    with tempfile.TemporaryDirectory() as place:
        folder = write_campaign(campaign, Path(place) / "campaign", cores=1)
        analysis = analyse(folder, cores=1)
        found = analysis.findings
        free_s = {take: analysis.curves[take].reflection_free_s for take in analysis.curves}
    rows: list[Found] = [("takes", "", "", float(len(where)))]
    for take, expected in where.items():
        blips = [b for b in found.blips if b.take == take]
        for hertz in expected:
            near = [b for b in blips if abs(np.log(b.frequency_hz / hertz)) < WITHIN]
            periods = hertz * free_s.get(take, 0.0)
            if not near:
                rows.append((cause, "not found", "", periods))
            for blip in near[:1]:
                rows.append((cause, *named_first(blip), periods))
        stray = [b for b in blips if all(abs(np.log(b.frequency_hz / h)) >= WITHIN for h in expected)]
        for blip in stray:
            rows.append(("none", *named_first(blip), 0.0))
    return rows


def one_distorted_campaign(seed: int) -> list[Found]:
    """Whether what buckles is told from what the motor's harmonics do on the modes."""
    campaign = random_campaign(seed, "clean", mishaps=False, materials=2, profiles=2)
    with tempfile.TemporaryDirectory() as place:
        folder = write_campaign(campaign, Path(place) / "campaign", cores=1)
        found = analyse(folder, cores=1).findings
    specimen_of = {p.take: p.specimen for p in campaign.plan}
    breakup_of = {r.take: r.breakup_hz for r in found.readings}
    rows: list[Found] = [("takes", "", "", float(len(specimen_of)))]
    for take, specimen in specimen_of.items():
        buckle = campaign.rig.cones[specimen].buckle
        distorted = [b for b in found.blips if b.take == take and b.harmonic is not None]
        made = [b for b in distorted if "landing" not in b.candidates[0]]
        near = [b for b in made if buckle and abs(np.log2(b.frequency_hz / buckle.frequency_hz)) < BUCKLE_OCTAVES]
        if buckle is not None and buckle.frequency_hz < (breakup_of[take] or 0.0):
            rows.append(("buckling", "the cone itself" if near else "not found", "", 0.0))
        rows += [("landing", "landing", "", 0.0)] * (len(distorted) - len(made))
        rows += [("landing", b.candidates[0].partition(":")[0], "", 0.0) for b in made if b not in near]
    return rows


def named_first(blip: BlipRow) -> tuple[str, str]:
    """The likeliest cause and its word."""
    words, _, word = blip.candidates[0].rpartition(": ")
    return next(v for k, v in NAMED.items() if words.startswith(k)), word


def safely_distorted(seed: int) -> list[Found]:
    """As `safely`, for distortion."""
    return safely(seed, one_distorted_campaign)


def safely(seed: int, work: Callable[[int], list[Found]] = one_campaign) -> list[Found]:
    """One campaign; what fails is told and left out."""
    try:
        rows = work(seed)
        sys.stderr.write(f"campaign {seed}: {rows}\n")
        return rows
    except FrustaError as error:
        sys.stderr.write(f"campaign {seed}: {error}\n")
        return []


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--campaigns", type=int, default=25)
    parser.add_argument("--first", type=int, default=1, help="first seed")
    parser.add_argument("--cores", type=int, default=None)
    parser.add_argument("--distortion", action="store_true", help="narrow distortion instead")
    given = parser.parse_args()
    seeds = list(range(given.first, given.first + given.campaigns))
    if given.distortion:
        rows = [row for found in map_batches(safely_distorted, seeds, given.cores) for row in found]
        takes = sum(int(count) for cause, *_, count in rows if cause == "takes")
        sys.stdout.write(f"{takes} takes of {len(seeds)} campaigns, seeds from {given.first}\n")
        for (cause, named), number in sorted(Counter((c, n) for c, n, *_ in rows if c != "takes").items()):
            sys.stdout.write(f"{cause}: {named}: {number}\n")
        return
    rows = [row for found in map_batches(safely, seeds, given.cores) for row in found]
    counts = Counter((cause, named) for cause, named, *_ in rows)
    sure = Counter((cause == named, word) for cause, named, word, _ in rows if word and cause != "none")
    takes = sum(int(count) for cause, *_, count in rows if cause == "takes")
    lines = [f"{takes} takes of {sum(row[0] == 'takes' for row in rows)} campaigns, seeds from {given.first}"]
    lines += ["| put in | " + " | ".join((*COLUMNS, "not found")) + " |", "| --- " * (len(COLUMNS) + 2) + "|"]
    for cause in (*CAUSES, "none"):
        lines.append(
            f"| {cause} | " + " | ".join(str(counts[cause, named]) for named in (*COLUMNS, "not found")) + " |"
        )
    for word in ("almost certain", "likely", "possible", "less likely"):
        right, wrong = sure[True, word], sure[False, word]
        if right + wrong:
            lines.append(f"{word}: {right} of {right + wrong} right")
    for low, high in zip((0.0, *PERIODS), PERIODS, strict=False):
        within = [named for cause, named, _, p in rows if cause in CAUSES and low <= p < high]
        heard = sum(named != "not found" for named in within)
        lines.append(f"{low:g} to {high:g} periods in the reflection-free time: {heard} of {len(within)} found")
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    from validate_blips import main as run  # other processes must find what they do by name

    run()
