"""How often the intervals of a reading hold the truth, on campaigns drawn from seeds, at several noise levels.

    python tools/validate_readings.py 7001 7025

Each take is recorded twice on the virtual rig: as it is, and without noise, reflections and clock error. The second,
read with a gate of 30 ms, is the truth of every figure; break-up and clock come from the model itself. Prints, for each
figure, in how many takes value ± 1.96 u holds it, and every good take that is not found good.
"""

from __future__ import annotations

import sys
import tempfile
from collections import defaultdict
from dataclasses import replace
from pathlib import Path

import numpy as np

from frusta.bench.random_campaign import random_campaign
from frusta.bench.surroundings import Noise
from frusta.bench.truth import truth_of
from frusta.bench.virtual_campaign import VirtualCampaign, write_campaign
from frusta.campaign.package import open_package
from frusta.campaign.resolve import calibration_of, load_take, resolve_take
from frusta.campaign.rigid_response import rigid_response
from frusta.signal.calibration import Calibration
from frusta.signal.reading import FIGURES, Conditions, TakeReading, TakeSignals, read_take
from frusta.signal.sweep import make_sweep

PINK_DB = (-75.0, -66.0, -58.0, -52.0, -48.0, -44.0, -40.0, -37.0)
TAKES = 8
UNKNOWN = ("decay_bandlimit_ms", "delay_ms", "snr_db", "unevenness_common_db")


def campaign_of(seed: int) -> VirtualCampaign:
    """Eight takes of a campaign that nobody has seen, its noise drawn from the seed."""
    rng = np.random.default_rng(seed)
    drawn = random_campaign(seed, "hard" if seed % 2 else "clean", mishaps=False, materials=2, profiles=2)
    plan = [p for p in drawn.plan if not p.specimen.startswith("check")]
    plan = [plan[i] for i in sorted(rng.choice(len(plan), size=TAKES, replace=False))]
    noise = Noise(PINK_DB[seed % len(PINK_DB)], -85.0, float(rng.uniform(-75, -60)), float(rng.choice([50.0, 60.0])))
    rig = replace(drawn.rig, bench=replace(drawn.rig.bench, noise=noise))
    return replace(drawn, rig=rig, plan=tuple(plan))


def pairs(campaign: VirtualCampaign) -> list[tuple[str, TakeReading, dict[str, float | None]]]:
    """Take, its reading, and the truth of each figure."""
    out = []
    bench = campaign.rig.bench
    silent = Noise(-200.0, -200.0, -200.0)
    still = replace(campaign.rig, bench=replace(bench, noise=silent, reflections=()))
    with tempfile.TemporaryDirectory() as folder:
        package = open_package(write_campaign(campaign, Path(folder) / "campaign", cores=1))
        for planned in campaign.plan:
            resolved = resolve_take(package, package.takes[planned.take])
            loaded = load_take(package, resolved)
            table = calibration_of(package, resolved.rig)
            conditions = Conditions(
                full_scale_pa=resolved.full_scale_pa,
                drive_gain_db=resolved.drive_gain_db,
                temperature_c=20.0 if resolved.temperature_c is None else resolved.temperature_c,
                calibration=table and Calibration(table.frequency_hz, table.level_db, table.phase_deg),
                rigid=rigid_response(resolved).response,
            )
            rate = campaign.sweep.sample_rate_hz
            signals = TakeSignals(loaded.recording, rate, loaded.reference, sweep=campaign.sweep)
            heard = still.record(
                planned.specimen,
                planned.seating,
                make_sweep(campaign.sweep),
                rate,
                take=planned.take,
                conditions=replace(campaign.conditions_of(planned), clock_ppm=0.0, loopback=True),
            )
            heard = heard + 1e-9 * np.random.default_rng(1).standard_normal(heard.shape)
            channels = [np.ascontiguousarray(heard[:, k]) for k in (0, 1)]
            clean = TakeSignals(channels[0], rate, channels[1], sweep=campaign.sweep)
            true = dict(read_take(clean, replace(conditions, gate_s=0.03)).figures)
            known = truth_of(campaign, planned)
            true["clock_ppm"] = None if loaded.reference is not None else known.clock_ppm
            if known.breakup is not None:
                true["breakup_hz"] = known.breakup.frequency_hz
                true["breakup_loss_factor"] = known.breakup.loss_factor
                true["breakup_prominence_db"] = known.breakup.prominence_db
            out.append((planned.take, read_take(signals, conditions), true))
    return out


def main(first: int, last: int) -> None:
    """Print the coverage of every figure over the seeds from first to below last."""
    held: dict[str, list[bool]] = defaultdict(list)
    good = 0
    for seed in range(first, last):
        for take, reading, true in pairs(campaign_of(seed)):
            good += reading.quality != "repeat"
            if reading.quality != "ok":
                print(seed, take, reading.quality, [(f.fault, f.where) for f in reading.faults])
            for key in FIGURES:
                value, u, expected = reading.figures[key], reading.uncertainties.get(f"{key}_u"), true.get(key)
                if key not in UNKNOWN and value is not None and u is not None and expected is not None:
                    held[key].append(abs(value - expected) <= 1.96 * u)
    print(f"{good} of {TAKES * (last - first)} takes not to be repeated")
    for key, values in held.items():
        print(f"{key:26s} {np.mean(values):.2f} of {len(values)}")


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
