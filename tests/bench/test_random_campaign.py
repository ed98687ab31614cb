"""Random campaigns differ from one another, repeat from their seed, and know their truth."""

from __future__ import annotations

import numpy as np
import pytest

from frusta.bench.narrow_feature import NarrowFeature, features_response
from frusta.bench.random_campaign import random_campaign
from frusta.bench.truth import truth_of
from frusta.cone.driver import response
from frusta.errors import ParameterError


def test_same_seed_same_campaign_other_seed_another() -> None:
    one, again, other = random_campaign(3, "hard"), random_campaign(3, "hard"), random_campaign(4, "hard")
    assert one.plan == again.plan
    assert one.rig.cones == again.rig.cones
    assert one.tables == again.tables
    assert one.rig.bench != other.rig.bench
    assert len({p.mishap for p in one.plan}) == 12
    assert len({p.mishap for p in random_campaign(3, mishaps=False).plan}) == 1


def test_many_seeds_make_cones_that_can_exist() -> None:
    for seed in range(40):
        campaign = random_campaign(seed, "hard", materials=3, profiles=3)
        assert len(campaign.rig.cones) >= 13 or len({r.profile for r in campaign.tables["profiles"]}) < 3  # type: ignore[attr-defined]
        for row in campaign.tables["specimens"]:
            assert row.mass_g > 0.5  # type: ignore[attr-defined]


def test_hard_is_off_the_drawing_and_clean_is_not() -> None:
    clean, hard = random_campaign(5), random_campaign(5, "hard")
    drawn = {r.profile: r.depth_mm for r in clean.tables["profiles"]}  # type: ignore[attr-defined]
    for name, cone in clean.rig.cones.items():
        if name != "check-1":
            assert 1e3 * cone.profile.depth_m == pytest.approx(drawn[name[name.index("-") + 1 : -2]], abs=1e-9)
    drawn = {r.profile: r.depth_mm for r in hard.tables["profiles"]}  # type: ignore[attr-defined]
    off = [
        1e3 * cone.profile.depth_m - drawn[name[name.index("-") + 1 : -2]]
        for name, cone in hard.rig.cones.items()
        if name != "check-1"
    ]
    assert np.max(np.abs(off)) > 0.01


def test_truth_is_what_the_response_shows() -> None:
    # independent route: break-up seen as the largest phase-corrected bend of the solved response near the pole
    campaign = random_campaign(6)
    planned = next(p for p in campaign.plan if p.mishap is None and p.specimen != "check-1")
    truth = truth_of(campaign, planned)
    assert truth.breakup is not None
    assert truth.breakup.frequency_hz > 1000.0
    assert [m.frequency_hz for m in truth.modes] == sorted(m.frequency_hz for m in truth.modes)
    driver = campaign.rig.driver(planned.specimen, planned.seating, campaign.conditions_of(planned))
    mode = max((m for m in truth.modes if m.frequency_hz > 1000.0), key=lambda m: m.prominence_db)
    near = mode.frequency_hz * np.linspace(1 - 2 * mode.loss_factor, 1 + 2 * mode.loss_factor, 401)
    level = np.abs(response(driver, near))
    assert near[np.argmax(level)] == pytest.approx(mode.frequency_hz, rel=0.5 * mode.loss_factor)


def test_narrow_feature_reaches_its_height_and_is_causal() -> None:
    frequency = np.fft.rfftfreq(48000, 1 / 48000)
    feature = NarrowFeature(700.0, 0.05, 0.3)
    factor = features_response((feature,), frequency)
    assert abs(factor[700]) == pytest.approx(1.3, rel=1e-9)
    assert abs(factor[100]) == pytest.approx(1.0, abs=0.01)
    impulse = np.fft.irfft(factor)
    # the last samples before zero ring from the cut at half the sample rate
    assert np.sum(impulse[24000:-100] ** 2) < 1e-6 * np.sum(impulse[1:24000] ** 2)


def test_messages() -> None:
    with pytest.raises(ParameterError, match="difficulty must be clean or hard"):
        random_campaign(1, "easy")  # type: ignore[arg-type]
    with pytest.raises(ParameterError, match="materials must be 1 to 10"):
        random_campaign(1, materials=40)
