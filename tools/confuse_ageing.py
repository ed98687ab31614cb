"""How often `frusta shelf compare` is right: simulated years of cones and rigs, each ageing by itself.

    python tools/confuse_ageing.py [CAMPAIGNS] [clean|hard]

Every campaign is drawn from a seed, recorded on the virtual rig, aged (some cones stiffen or soften, gain or lose
damping; the rig's level, joint, microphone's place and temperature change), recorded again with other seatings, and
compared. Prints one line a specimen class: what it was, what was said, and the error of the ratio. Not a test; its
result stands in the documentation.
"""

from __future__ import annotations

import math
import sys
import tempfile
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np

from frusta.bench.random_campaign import random_campaign
from frusta.bench.truth import truth_of
from frusta.bench.virtual import seeded
from frusta.bench.virtual_campaign import VirtualCampaign, write_campaign
from frusta.campaign.analysis import read_takes
from frusta.campaign.package import open_package
from frusta.campaign.shelf.ageing import compare_looks
from frusta.campaign.shelf.look import Look, look_at

SEATINGS_LATER = 10


def aged(campaign: VirtualCampaign, seed: int) -> tuple[VirtualCampaign, set[str], float]:
    """The same workshop two years later: the campaign, the cones that changed, the rig's level in dB."""
    rng = seeded(seed, "years")
    changed = set()
    cones = {}
    for name, cone in campaign.rig.cones.items():
        if name != "check-1" and rng.uniform() < 1 / 3:
            stiffer = math.exp(float(rng.choice([-1, 1]) * rng.uniform(0.015, 0.10)))
            damped = math.exp(float(rng.uniform(-0.25, 0.25)))
            e = cone.elastic
            e = replace(
                e,
                hoop_pa=e.hoop_pa * stiffer,
                axial_pa=e.axial_pa * stiffer * math.exp(0.03 * float(rng.standard_normal())),
                layer_shear_pa=e.layer_shear_pa * stiffer * math.exp(0.03 * float(rng.standard_normal())),
                loss_factor=e.loss_factor * damped,
            )
            cone = replace(cone, elastic=e)
            changed.add(name)
        cones[name] = cone
    level = float(rng.normal(0.0, 0.8))
    bench = campaign.rig.bench
    if rng.uniform() < 0.5:
        softer = math.exp(float(rng.normal(0.0, 0.2)))
        bench = replace(bench, joint=replace(bench.joint, compliance_m_n=bench.joint.compliance_m_n * softer))
    conditions = {
        key: replace(
            c, level_drift_db=c.level_drift_db + level, temperature_c=c.temperature_c + float(rng.normal(0, 2))
        )
        for key, c in campaign.conditions.items()
    }
    plan = [
        replace(p, take=f"later-{p.take}", seating=p.seating + SEATINGS_LATER) for p in campaign.plan if not p.mishap
    ]
    sessions = [
        s.model_copy(
            update={"date": s.date.replace("2026", "2028"), "temperature_c": conditions[s.session].temperature_c}
        )
        for s in campaign.tables["sessions"]
    ]
    later = replace(
        campaign,
        rig=replace(campaign.rig, bench=bench, cones=cones, _responses={}),
        conditions=conditions,
        plan=plan,
        tables={**campaign.tables, "sessions": sessions},
    )
    return later, changed, level


def look(campaign: VirtualCampaign, name: str, place: Path) -> Look:
    package = open_package(write_campaign(campaign, place / name, cores=1))
    return look_at(name, package, *read_takes(package, cores=1))


def own_ratio(then: VirtualCampaign, now: VirtualCampaign, specimen: str) -> float | None:
    """Log ratio of the break-up that the cone alone explains: the aged cone on the rig as it was, same seatings.

    None where another mode became the break-up.
    """
    alone = replace(then, rig=replace(then.rig, cones=now.rig.cones, _responses={}))
    ratios = []
    for planned in (p for p in then.plan if p.specimen == specimen):
        old, new = (truth_of(campaign, planned).breakup for campaign in (then, alone))
        if old is None or new is None or abs(math.log(new.frequency_hz / old.frequency_hz)) > 0.1:
            return None
        ratios.append(math.log(new.frequency_hz / old.frequency_hz))
    return float(np.mean(ratios))


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 4
    levels = sys.argv[2:] or ["clean", "hard"]
    for level in levels:
        said: Counter[tuple[str, str]] = Counter()
        errors, over_u, levels_off, other_mode = [], [], [], 0
        for seed in range(101, 101 + count):
            then = random_campaign(seed, level, mishaps=False, materials=2, profiles=2)
            now, changed, drift = aged(then, seed)
            with tempfile.TemporaryDirectory() as folder:
                result = compare_looks(look(then, "then", Path(folder)), look(now, "now", Path(folder)))
            for c in result.specimens:
                said["changed" if c.specimen in changed else "unchanged", c.verdict] += 1
                true = own_ratio(then, now, c.specimen)
                if c.frequency_ratio and true is not None:
                    errors.append(abs(c.frequency_ratio.value - true))
                    over_u.append(abs(c.frequency_ratio.value - true) / c.frequency_ratio.u)
                other_mode += true is None
                if c.verdict != ("changed" if c.specimen in changed else "unchanged"):
                    print(
                        seed, c.specimen, c.specimen in changed, c.verdict, c.all_modes, c.all_losses, c.frequency_ratio
                    )
            if result.level:
                levels_off.append(abs(result.level.level_db - drift))
            print(
                level,
                seed,
                dict(said),
                f"rig {result.level and round(result.level.level_db, 2)} (true {drift:.2f})",
                f"shared {result.frequency.every}, first {result.frequency.first}",
                flush=True,
            )
        print(f"{level}: {count} campaigns")
        for was in ("unchanged", "changed"):
            print(
                f"  {was}: "
                + ", ".join(f"{said[was, word]} called {word}" for word in ("unchanged", "unclear", "changed"))
            )
        print(
            f"  break-up ratio: median error {100 * np.median(errors):.3f} %, worst {100 * max(errors):.2f} %; "
            f"{np.mean(np.array(over_u) < 1.96):.2f} within 1.96 u, "
            f"{other_mode} left out (another mode became the break-up); "
            f"rig level worst {max(levels_off):.2f} dB"
        )


if __name__ == "__main__":
    main()
