"""A workshop recorded twice on the virtual rig: the cones age in one second look, the rig in another.

Oracle: the virtual rig's own poles (`frusta.bench.truth`), computed from what was put in, without the recordings.
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from frusta.bench.random_campaign import random_campaign
from frusta.bench.truth import truth_of
from frusta.bench.virtual_campaign import VirtualCampaign, write_campaign
from frusta.campaign.analysis import read_takes
from frusta.campaign.package import open_package
from frusta.campaign.shelf.ageing import compare_looks
from frusta.campaign.shelf.look import Look, look_at

LOUDER_DB = 1.2


def workshop() -> VirtualCampaign:
    drawn = random_campaign(7, "clean", mishaps=False, materials=1, profiles=1)
    return replace(drawn, sweep=replace(drawn.sweep, duration_s=2.0, sample_rate_hz=44100, lead_in_s=0.3, tail_s=0.7))


def again(then: VirtualCampaign, **rig: object) -> VirtualCampaign:
    """The same workshop with other seatings, and whatever of its rig changed."""
    plan = [replace(p, take=f"later-{p.take}", seating=p.seating + 10) for p in then.plan]
    return replace(then, plan=plan, rig=replace(then.rig, _responses={}, **rig))


def recorded(campaign: VirtualCampaign, place: Path) -> Look:
    package = open_package(write_campaign(campaign, place, cores=1))
    return look_at(place.name, package, *read_takes(package, cores=1))


@pytest.fixture(scope="module")
def then(tmp_path_factory: pytest.TempPathFactory) -> tuple[VirtualCampaign, Look]:
    campaign = workshop()
    return campaign, recorded(campaign, tmp_path_factory.mktemp("looks") / "then")


def true_ratio(then: VirtualCampaign, now: VirtualCampaign, specimen: str) -> float:
    """Break-up of the later over the earlier specimen, seating scatter left in both."""
    hz = []
    for campaign in (then, now):
        planned = [p for p in campaign.plan if p.specimen == specimen]
        hz.append([truth_of(campaign, p).breakup.frequency_hz for p in planned])
    return math.exp(sum(map(math.log, hz[1])) / len(hz[1]) - sum(map(math.log, hz[0])) / len(hz[0]))


def test_a_cone_that_softened(then: tuple[VirtualCampaign, Look], tmp_path: Path):
    campaign, earlier = then
    name = next(s for s in campaign.rig.cones if s.endswith("-1") and not s.startswith("check"))
    cone = campaign.rig.cones[name]
    elastic = cone.elastic
    softer = replace(
        elastic,
        hoop_pa=0.95 * elastic.hoop_pa,
        axial_pa=0.95 * elastic.axial_pa,
        layer_shear_pa=0.95 * elastic.layer_shear_pa,
        loss_factor=1.12 * elastic.loss_factor,
    )
    now = again(campaign, cones={**campaign.rig.cones, name: replace(cone, elastic=softer)})
    result = compare_looks(earlier, recorded(now, tmp_path / "now"))
    assert {c.specimen for c in result.specimens if c.verdict == "changed"} == {name}
    assert {c.verdict for c in result.specimens if c.specimen != name} == {"unchanged"}
    for change in result.specimens:
        true = true_ratio(campaign, now, change.specimen)
        assert math.exp(change.frequency_ratio.value) == pytest.approx(true, rel=0.001)
    changed = next(c for c in result.specimens if c.specimen == name)
    assert math.exp(changed.all_modes.value) == pytest.approx(math.sqrt(0.95), abs=0.003)
    assert math.exp(changed.all_losses.value) == pytest.approx(1.12, abs=0.02)


def test_a_rig_that_aged(then: tuple[VirtualCampaign, Look], tmp_path: Path):
    campaign, earlier = then
    bench = campaign.rig.bench
    now = again(campaign, bench=replace(bench, joint=replace(bench.joint, compliance_m_n=2e-8)))
    louder = {k: replace(c, level_drift_db=c.level_drift_db + LOUDER_DB) for k, c in now.conditions.items()}
    now = replace(now, conditions=louder)
    result = compare_looks(earlier, recorded(now, tmp_path / "now"))
    assert "changed" not in {c.verdict for c in result.specimens}
    assert result.level_verdict == "changed"
    assert result.level.level_db == pytest.approx(LOUDER_DB, abs=2.6 * result.level.level_db_u)
    assert result.level.level_db_u < 0.25
    rig = math.exp(result.frequency.every.value + result.frequency.first.value)
    truth = [true_ratio(campaign, now, c.specimen) for c in result.specimens]
    assert min(truth) - 0.005 <= rig <= max(truth) + 0.005
    assert math.exp(result.frequency.every.value) < 0.997
