"""Does the suggested print or coupon narrow what it promised to, and more than one picked at random?

    python tools/validate_next.py [--campaigns 24] [--first 1] [--cores 2] [--json FILE]

Campaigns of other plastics, shapes and rigs come from `tools/validate_estimates.py`, with all that is wrong in them.
Of each, some prints are withheld. The materials are estimated from the rest, every withheld print and three coupons of
every filament are weighed, and then two of them are really added: the one that promises most, and one drawn at
random. The estimate is made again, and what it says of its own uncertainty is compared with what was promised.
"""

from __future__ import annotations

import argparse
import json
import math
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import numpy as np
from validate_estimates import near, simulate

from frusta.campaign.most_informative import COUPONS, Candidate, Questions, suggest
from frusta.campaign.open_questions import open_figures, place_of
from frusta.campaign.parallel import map_batches
from frusta.cone.elasticity import Elastic
from frusta.design.information import information_bits
from frusta.errors import FrustaError
from frusta.material.coupons import AIR_AND_SUPPORT, coupon_frequencies_hz
from frusta.material.estimate import FIGURE_OF
from frusta.material.infer import Inferred, infer
from frusta.material.knowledge import COORDINATES, coordinates_of
from frusta.material.observations import CampaignObserved, CouponObserved, RecordedModes
from frusta.material.prospect import TAPPED_FREQUENCY_U, TAPPED_LOSS_U, TAPPED_THICKNESS_U_M, Prospect


@dataclass(frozen=True)
class Outcome:
    """One observation that was really added; bits on all open figures together."""

    seed: int
    kind: str
    chosen: str
    what: str
    group: str
    promised_bits: float
    achieved_bits: float
    figures: list[tuple[str, float, float, float, float, float]]
    """Open figure of the group it is of: u before, promised, achieved; error before and after; relative."""


def withheld(observed: CampaignObserved) -> tuple[CampaignObserved, dict[str, str]]:
    """A campaign without the last profile's prints and without second prints, and what was taken: specimen to kind."""
    last = list(observed.profiles)[-1]
    kept, taken = [], {}
    for cone in observed.cones:
        sibling = any((c.material, c.profile) == (cone.material, cone.profile) for c in kept)
        if sibling or (cone.profile == last and len(observed.profiles) > 1):
            taken[cone.key] = "print"
        else:
            kept.append(cone)
    profiles = {k: p for k, p in observed.profiles.items() if any(c.profile == k for c in kept)}
    return replace(observed, cones=tuple(kept), profiles=profiles), taken


def tapped(rng: np.random.Generator, kind: str, flat: bool, material: str, elastic: Elastic) -> CouponObserved:
    """A coupon of a filament, print scatter and all, as it would be tapped and weighed."""
    stiffer = near(rng, 1.0, 0.015)
    own = replace(
        elastic,
        hoop_pa=stiffer * elastic.hoop_pa,
        axial_pa=stiffer * elastic.axial_pa,
        layer_shear_pa=stiffer * elastic.layer_shear_pa,
        density_kg_m3=near(rng, elastic.density_kg_m3, 0.005),
        loss_factor=near(rng, elastic.loss_factor, 0.03),
    )
    length_m, thickness_m = (0.100, 0.003) if kind == "stick" else (0.080, 0.002)
    blank = RecordedModes(*(np.zeros(0) for _ in range(5)))
    coupon = CouponObserved(
        "coupon",
        material,
        kind,
        flat,
        length_m,
        thickness_m,
        TAPPED_THICKNESS_U_M,
        blank,
        own.density_kg_m3,  # type: ignore[arg-type]
    )
    thicker = 1.0 + TAPPED_THICKNESS_U_M / thickness_m * float(rng.standard_normal())
    hertz = coupon_frequencies_hz(coupon, own, thicker)
    sd = math.hypot(AIR_AND_SUPPORT, TAPPED_FREQUENCY_U)
    hertz = np.sort(hertz * np.exp(sd * rng.standard_normal(len(hertz))))
    loss = own.loss_factor * np.exp(math.hypot(0.03, TAPPED_LOSS_U) * rng.standard_normal(len(hertz)))
    modes = RecordedModes(hertz, TAPPED_FREQUENCY_U * hertz, loss, TAPPED_LOSS_U * loss, np.zeros(len(hertz)))
    return replace(coupon, modes=modes, density_kg_m3=near(rng, own.density_kg_m3 * thicker, 0.005))


def added(
    rng: np.random.Generator,
    whole: CampaignObserved,
    part: CampaignObserved,
    filaments: dict[str, Elastic],
    candidate: Candidate,
) -> CampaignObserved:
    """The campaign with a candidate really in it."""
    if candidate.kind == "print":
        held = {c.key for c in part.cones}
        cone = next(
            c
            for c in whole.cones
            if (c.material, c.profile) == (candidate.group, candidate.profile) and c.key not in held
        )
        profiles = {k: p for k, p in whole.profiles.items() if k in part.profiles or k == cone.profile}
        return replace(part, cones=(*part.cones, cone), profiles=profiles)
    word, flat = next((w, f) for k, w, f in COUPONS if k == candidate.kind)
    coupon = tapped(rng, word, flat, candidate.group, filaments[candidate.group])
    return replace(part, coupons=(*part.coupons, coupon))


def covariance_of(inferred: Inferred, questions: Questions) -> np.ndarray:
    """Of the open figures, in the order of the questions."""
    groups = tuple(questions.figures)
    whole = Prospect(inferred).joint(groups)
    places = [
        i * len(COORDINATES) + place_of(figure) for i, group in enumerate(groups) for figure in questions.figures[group]
    ]
    return whole[np.ix_(places, places)]


def judge(seed: int) -> list[Outcome] | str:
    """Estimate, weigh, add two, estimate again."""
    whole, filaments, _, kind = simulate(seed)
    part, taken = withheld(whole)
    rng = np.random.default_rng([20262, seed])
    try:
        before = infer(part)
        questions = Questions(before, {key: key for key in before.observed.materials})
        cells = {(c.material, c.profile) for c in whole.cones if c.key in taken and c.material in questions.names}
        candidates = [
            Candidate("print", g, p, drawn=None if p in before.observed.profiles else whole.profiles[p])
            for g, p in sorted(cells)
        ]
        candidates += [Candidate(k, g) for g in questions.names for k, _, _ in COUPONS]
        told = suggest(questions, candidates)
        others = list(told[1:])
        chosen = {"suggested": told[0], "random": others[int(rng.integers(len(others)))]}
        prints = [s for s in told if s.candidate.kind == "print"]
        if prints and prints[0] is not told[0]:
            chosen["best print"] = prints[0]
        out = []
        for name, suggestion in chosen.items():
            after = infer(added(rng, whole, part, filaments, suggestion.candidate))
            if not set(questions.names) <= set(after.observed.materials):
                return f"{seed}: a material was refused afterwards"
            rows = []
            group = suggestion.candidate.group
            promised = {n.key: n for n in suggestion.narrows if n.of.endswith(f" of {group}")}
            true = coordinates_of(filaments[group])
            for figure in open_figures(before.estimates[group].knowledge):
                place = place_of(figure)
                a, b = (i.estimates[group].knowledge for i in (before, after))
                u = a.standard_deviation(FIGURE_OF[figure])
                hoped = promised[figure].after / 196.0 if figure in promised and promised[figure].after else u
                got = b.standard_deviation(FIGURE_OF[figure])
                rows.append(
                    (figure, u, hoped, got, float(a.mean[place] - true[place]), float(b.mean[place] - true[place]))
                )
            bits = information_bits(covariance_of(before, questions), covariance_of(after, questions))
            what = suggestion.candidate.kind
            out.append(Outcome(seed, kind, name, what, group, suggestion.bits_materials, bits, rows))
        return out
    except FrustaError as error:
        return f"{seed}: {error}"


def summary(outcomes: list[Outcome]) -> str:
    """The figures of the documentation, as a table."""
    lines = ["| added | campaigns | promised bits | achieved bits | achieved/promised u, median (16 to 84 %) |"]
    lines += ["| --- | --- | --- | --- | --- |"]
    for name in ("suggested", "best print", "random"):
        rows = [o for o in outcomes if o.chosen == name]
        if not rows:
            continue
        ratio = [math.log(got / hoped) for o in rows for _, _, hoped, got, _, _ in o.figures]
        low, middle, high = np.exp(np.quantile(ratio, [0.16, 0.5, 0.84]))
        promised, achieved = (np.median([getattr(o, f"{k}_bits") for o in rows]) for k in ("promised", "achieved"))
        lines.append(
            f"| {name} | {len(rows)} | {promised:.2f} | {achieved:.2f} | {middle:.2f} ({low:.2f} to {high:.2f}) |"
        )
    pairs: dict[int, dict[str, float]] = {}
    for o in outcomes:
        pairs.setdefault(o.seed, {})[o.chosen] = o.achieved_bits
    won = [p["suggested"] > p["random"] for p in pairs.values() if "random" in p]
    lines.append(f"\nThe suggested one told more than the random one in {sum(won)} of {len(won)} campaigns.")
    z = [e1 / got for o in outcomes for _, _, _, got, _, e1 in o.figures]
    lines.append(f"Errors within 95 % of the achieved u: {100 * np.mean(np.abs(z) < 1.96):.0f} % of {len(z)}.")
    for name in ("suggested", "random"):
        rows = [f for o in outcomes if o.chosen == name for f in o.figures]
        if rows:
            e0, e1 = (np.median(np.abs([r[i] for r in rows])) for i in (4, 5))
            lines.append(f"Median error of the open figures, {name}: {100 * e0:.2f} % before, {100 * e1:.2f} % after.")
    return "\n".join(lines)


def main() -> None:
    """Run the campaigns."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--campaigns", type=int, default=24)
    options.add_argument("--first", type=int, default=1)
    options.add_argument("--cores", type=int, default=None)
    options.add_argument("--json", type=Path)
    told = options.parse_args()
    seeds = list(range(told.first, told.first + told.campaigns))
    found = map_batches(judge, seeds, told.cores, lambda done, total: print(f"{done} of {total}", flush=True))
    outcomes = [o for row in found if not isinstance(row, str) for o in row]
    for row in found:
        if isinstance(row, str):
            print(row)
    print(summary(outcomes))
    if told.json:
        told.json.write_text(json.dumps([asdict(o) for o in outcomes]))


if __name__ == "__main__":
    main()
