"""The demo's campaign is an ordinary package with what the demo needs to show."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import soundfile

from frusta.bench.demo_campaign import DRAWINGS, FILAMENTS, demo_campaign
from frusta.bench.virtual_campaign import write_campaign
from frusta.campaign.check import check_package
from frusta.campaign.package import open_package
from frusta.signal.sweep import Sweep


def test_demo_has_every_cone_twice_and_a_check_cone_first_and_last() -> None:
    campaign = demo_campaign()
    good = [p for p in campaign.plan if p.mishap is None]
    seatings = Counter(p.specimen for p in good)
    cones = [f"{f}-{p}-{n}" for f in FILAMENTS for p in DRAWINGS for n in (1, 2)]
    assert len(cones) == 18
    assert all(seatings[name] == 2 for name in cones)
    for session in campaign.conditions:
        takes = [p.specimen for p in campaign.plan if p.session == session]
        assert takes[0] == takes[-1] == "buoy"
    assert len({p.take for p in campaign.plan}) == len(campaign.plan)
    assert len({p.mishap for p in campaign.plan} - {None}) == 5
    kinds = Counter(row.kind for row in campaign.tables["specimens"])  # type: ignore[attr-defined]
    assert kinds == {"cone": 18, "check": 1, "driver": 1}


def test_demo_differences_are_what_it_says() -> None:
    # break-up goes as √(E/ρ): sorrel over tansy plain, over yarrow small but beyond the scatter of prints
    speed = {name: np.sqrt(e.hoop_pa / e.density_kg_m3) for name, e in FILAMENTS.items()}
    assert 0.75 <= speed["tansy"] / speed["sorrel"] <= 0.80
    assert 0.90 <= speed["yarrow"] / speed["sorrel"] <= 0.97


def few_takes() -> tuple[object, ...]:
    campaign = demo_campaign()
    names = ("buoy-1-first", "buoy-2-last", "harbour-4-1")
    plan = tuple(p for p in campaign.plan if p.take in names)
    sweep = Sweep(start_hz=40.0, stop_hz=20000.0, duration_s=1.0, lead_in_s=0.1, tail_s=0.2)
    return replace(campaign, plan=plan, sweep=sweep), plan


def test_package_is_ordinary_and_the_same_for_any_number_of_cores(tmp_path: Path) -> None:
    campaign, plan = few_takes()
    one = write_campaign(campaign, tmp_path / "one", cores=1)  # type: ignore[arg-type]
    seen: list[tuple[int, int]] = []
    two = write_campaign(campaign, tmp_path / "two", cores=2, progress=lambda a, b: seen.append((a, b)))  # type: ignore[arg-type]
    files = sorted(p.relative_to(one) for p in one.rglob("*") if p.is_file())
    assert files == sorted(p.relative_to(two) for p in two.rglob("*") if p.is_file())
    for name in files:
        assert (one / name).read_bytes() == (two / name).read_bytes(), name
    assert seen[-1] == (3, 3)
    assert check_package(one).faults == ()
    package = open_package(one)
    assert len(package.takes) == len(plan)
    info = soundfile.info(str(one / plan[0].recording))  # type: ignore[attr-defined]
    assert (info.samplerate, info.channels, info.subtype) == (48000, 2, "PCM_24")
    assert "virtual" not in (one / "takes.csv").read_text().lower()
