"""Cones whose seatings differ more than other cones' do.

Oracle: drawn campaigns: of those whose cones are all alike one in a hundred may show one for each figure (binomial
bounds), one that was seated badly is found; a drift between sessions is nobody's.
"""

from __future__ import annotations

import numpy as np
from scipy.stats import binom

from frusta.campaign.findings import Findings, Reading
from frusta.web.unlike_seatings import unlike_seatings


def campaign(
    generator: np.random.Generator, *, cones: int = 8, seatings: int = 2, sd: float = 0.004, drift_db: float = 0.0
) -> list[Reading]:
    """Readings of cones, each seated some times, one session a seating where the rig drifts."""
    found = []
    for cone in range(cones):
        for seating in range(1, seatings + 1):
            found.append(
                Reading(
                    take=f"c{cone}-{seating}", specimen=f"c{cone}", kind="cone", seating=seating, quality="ok",
                    material="rush", recipe="two", profile="st80",
                    session=f"s{seating}" if drift_db else "s1",
                    breakup_hz=float(4000.0 * np.exp(0.02 * cone + sd * generator.standard_normal())), breakup_hz_u=0.4,
                    level_db=float(80.0 + drift_db * seating + 0.1 * generator.standard_normal()), level_db_u=0.01,
                )
            )  # fmt: skip
    return found


def due(readings: list[Reading]) -> dict[str, str]:
    return unlike_seatings(Findings(campaign="quay", made_by="test", readings=tuple(readings)))


def test_alike_cones_are_seldom_named():
    generator = np.random.default_rng(5)
    named = sum(bool(due(campaign(generator))) for _ in range(400))
    assert named <= binom.ppf(0.999, 400, 0.02)
    assert named >= binom.ppf(0.001, 400, 0.02)


def test_the_one_that_was_seated_badly_is_named_with_its_gap():
    generator = np.random.default_rng(6)
    readings = campaign(generator)
    readings[5] = readings[5].model_copy(update={"breakup_hz": 1.06 * (readings[4].breakup_hz or 0.0)})
    told = due(readings)
    assert list(told) == ["c2"]
    assert "differ by 5.8\u00a0% in break-up" in told["c2"]


def test_a_level_that_differs_within_one_session_is_named():
    readings = campaign(np.random.default_rng(7))
    readings[3] = readings[3].model_copy(update={"level_db": (readings[2].level_db or 0.0) - 1.6})
    assert "differ by 1.6\u00a0dB in level" in due(readings)["c1"]


def test_what_a_rig_drifts_between_sessions_is_nobodys():
    readings = campaign(np.random.default_rng(8), drift_db=3.0)
    readings[3] = readings[3].model_copy(update={"level_db": (readings[3].level_db or 0.0) + 2.0})
    assert due(readings) == {}


def test_few_cones_and_takes_that_do_not_count_say_nothing():
    readings = campaign(np.random.default_rng(9), cones=4)
    readings[1] = readings[1].model_copy(update={"breakup_hz": 5000.0})
    assert due(readings) == {}
    readings = campaign(np.random.default_rng(9))
    readings[1] = readings[1].model_copy(update={"breakup_hz": 5000.0, "quality": "repeat"})
    assert due(readings) == {}
