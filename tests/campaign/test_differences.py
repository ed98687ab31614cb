"""Differences by nested scatter: coverage by simulation, closed forms, and the design's rules in words."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import t as student_t

from frusta.campaign.differences import ShelfScatter, find_differences
from frusta.campaign.drift import session_drift
from frusta.campaign.figures import FIGURE
from frusta.campaign.findings import Reading
from frusta.campaign.studentized import joint_factor

BREAKUP = (FIGURE["breakup_hz"],)
LEVEL = (FIGURE["level_db"],)


def reading(specimen: str, seating: int = 1, *, take: str | None = None, profile: str = "st90", **figures) -> Reading:
    values = {"kind": "cone", "quality": "ok", "session": f"s{seating}", **figures}
    material = specimen.split("-")[0]
    name = take or f"{specimen}-{seating}"
    return Reading(
        take=name, specimen=specimen, material=material, recipe=None, profile=profile, seating=seating, **values
    )


def groups(readings: list[Reading]) -> dict[str, str]:
    return {r.specimen: str(r.material) for r in readings if r.kind == "cone"}


def campaign(rng, truth, profiles=("st90",), prints=2, sd_print=0.0065, sd_seating=0.002) -> list[Reading]:
    rows = []
    for profile in profiles:
        for material, value in truth.items():
            for k in range(prints):
                own = value * math.exp(sd_print * rng.standard_normal())
                for seating in (1, 2):
                    hz = own * math.exp(sd_seating * rng.standard_normal())
                    rows.append(reading(f"{material}-{profile}-{k}", seating, profile=profile, breakup_hz=hz))
    return rows


def test_joint_intervals_hold_the_truth_as_often_as_they_say():
    """Oracle: 600 simulated campaigns of 3 materials, 2 prints, 2 seatings; joint cover 95 % within 3 sd (2.7 %)."""
    rng = np.random.default_rng(5)
    truth = {"a": 4000.0, "b": 4100.0, "c": 3000.0}
    held, widths = [], []
    for _ in range(600):
        rows = campaign(rng, truth)
        found = find_differences(rows, groups(rows), figures=BREAKUP)
        assert len(found) == 3
        held.append(all(d.low_95 <= truth[d.a] / truth[d.b] <= d.high_95 for d in found))
        widths += [math.log(d.high_95 / d.low_95) / 2 for d in found]
    assert abs(np.mean(held) - 0.95) < 0.027
    # not by being wide: the median half width is the factor times the standard error of one print's scatter
    expected = joint_factor(3, 3) * math.hypot(0.0065, 0.002 / math.sqrt(2))
    assert np.median(widths) == pytest.approx(expected, rel=0.15)


def test_two_groups_are_students_t_on_print_means():
    """Closed form: equal-variance t on the logarithms of the print means."""
    values = {"a": (4000.0, 4040.0, 3990.0), "b": (4200.0, 4150.0, 4260.0)}
    rows = [reading(f"{m}-{k}", breakup_hz=v) for m, vs in values.items() for k, v in enumerate(vs)]
    (found,) = find_differences(rows, groups(rows), figures=BREAKUP)
    a, b = (np.log(values[m]) for m in "ab")
    gap = a.mean() - b.mean()
    error = math.sqrt((a.var(ddof=1) + b.var(ddof=1)) / 2 * (2 / 3))
    assert found.ratio == pytest.approx(math.exp(gap), rel=1e-12)
    assert found.low_95 == pytest.approx(math.exp(gap - student_t.ppf(0.975, 4) * error), rel=1e-12)
    assert found.high_95 == pytest.approx(math.exp(gap + student_t.ppf(0.975, 4) * error), rel=1e-12)
    assert found.probability_a_higher == pytest.approx(student_t.cdf(gap / error, 4), rel=1e-9)
    assert (found.prints_a, found.prints_b, found.seatings) == (3, 3, 6)
    assert found.scatter_from == "these prints"


def test_more_takes_of_the_same_seating_teach_nothing_about_the_group():
    rows = campaign(np.random.default_rng(1), {"a": 4000.0, "b": 4200.0})
    more = rows + [r.model_copy(update={"take": f"{r.take}-again{k}"}) for r in rows for k in range(5)]
    once, often = (find_differences(r, groups(r), figures=BREAKUP)[0] for r in (rows, more))
    assert (often.low_95, often.high_95) == pytest.approx((once.low_95, once.high_95), rel=1e-9)
    assert often.prints_a == 2


def test_one_print_gives_no_interval_even_where_others_have_two():
    rows = [*campaign(np.random.default_rng(2), {"a": 4000.0, "b": 4200.0}), reading("c-1", breakup_hz=3000.0)]
    found = {(d.a, d.b): d for d in find_differences(rows, groups(rows), figures=BREAKUP)}
    assert found["a", "b"].scatter_from == "these prints"
    single = found["a", "c"]
    assert single.scatter_from == "none"
    assert (single.low_95, single.high_95, single.probability_a_higher) == (None, None, None)
    assert set(single.reasons) >= {"low_95", "high_95", "probability_a_higher"}
    assert "one print of c: no interval. A second print would give one." in single.verdict


def test_one_print_borrows_from_the_shelf_and_says_so():
    """Closed form: t with the shelf's degrees of freedom."""
    rows = [reading("a-1", breakup_hz=4400.0), reading("b-1", breakup_hz=4000.0)]
    shelf = {"breakup_hz": ShelfScatter(sd_print=0.01, degrees=12)}
    (found,) = find_differences(rows, groups(rows), shelf=shelf, figures=BREAKUP)
    reach = student_t.ppf(0.975, 12) * 0.01 * math.sqrt(2)
    assert found.scatter_from == "this shelf"
    assert found.low_95 == pytest.approx(1.1 * math.exp(-reach), rel=1e-12)
    assert found.verdict.endswith("The interval is borrowed from your shelf.")


def test_scatter_is_pooled_over_the_campaign_where_a_profile_has_little():
    rng = np.random.default_rng(3)
    rows = campaign(rng, {"a": 4000.0, "b": 4200.0}, profiles=("st90", "cc84", "cv78"))
    alone = [r for r in rows if r.profile == "st90"]
    pooled = next(d for d in find_differences(rows, groups(rows), figures=BREAKUP) if d.profile == "st90")
    (own,) = find_differences(alone, groups(alone), figures=BREAKUP)
    assert pooled.sd_print != own.sd_print
    assert pooled.ratio == own.ratio


def test_clear_and_tie_are_said_in_words():
    rows = [reading(f"rook-{k}", breakup_hz=4440.0 * f) for k, f in enumerate((0.995, 1.0, 1.005))]
    rows += [reading(f"flint-{k}", breakup_hz=4000.0 * f) for k, f in enumerate((0.995, 1.0, 1.005))]
    rows += [reading(f"marram-{k}", breakup_hz=4010.0 * f) for k, f in enumerate((0.995, 1.0, 1.005))]
    names = {"rook": "Rook", "flint": "Flint", "marram": "Marram"}
    found = {(d.a, d.b): d for d in find_differences(rows, groups(rows), names=names, figures=BREAKUP)}
    clear, tie = found["rook", "flint"].verdict, found["flint", "marram"].verdict
    assert clear == "Rook breaks up 11.0\u00a0% higher than Flint (9.6 to 12.4\u00a0%)."
    assert tie.startswith("Flint and Marram cannot be told apart by their break-up (\u22121.5 to +1.0\u00a0%).")
    assert tie.endswith("A gap of 1.6\u00a0% would have shown.")


def test_takes_to_repeat_are_left_out():
    rows = campaign(np.random.default_rng(4), {"a": 4000.0, "b": 4200.0})
    bad = rows[0].model_copy(update={"take": "bad", "quality": "repeat", "breakup_hz": 1.0})
    good, with_bad = (find_differences(r, groups(rows), figures=BREAKUP) for r in (rows, [*rows, bad]))
    assert good == with_bad


def test_a_figure_that_one_group_lacks_is_null_with_the_reason():
    rows = [reading(f"a-{k}", breakup_hz=4000.0 + k) for k in range(2)] + [reading(f"b-{k}") for k in range(2)]
    (found,) = find_differences(rows, groups(rows), figures=BREAKUP)
    assert found.ratio is None
    assert set(found.reasons) >= {"ratio", "low_95", "high_95", "probability_a_higher"}


def test_readings_that_agree_to_the_last_digit_give_no_interval():
    rows = [reading(f"{m}-{k}", breakup_hz=4000.0) for m in "ab" for k in range(2)]
    (found,) = find_differences(rows, groups(rows), figures=BREAKUP)
    assert found.low_95 is None
    assert "alike to the last digit" in found.reasons["low_95"]


def test_scatter_is_never_taken_below_the_readings_own_uncertainty():
    rows = [reading(f"{m}-{k}", breakup_hz=4000.0, breakup_hz_u=40.0) for m in "ab" for k in range(2)]
    (found,) = find_differences(rows, groups(rows), figures=BREAKUP)
    assert math.log(found.high_95) == pytest.approx(student_t.ppf(0.975, 2) * 0.01, rel=1e-9)


def test_levels_are_compared_without_the_rigs_drift():
    """Two materials heard in two sessions, the second 1 dB louder: the check cone takes it out."""
    rng = np.random.default_rng(8)
    rows = []
    for material, level, session in (("a", 80.0, 1), ("b", 81.0, 2)):
        for k in range(3):
            rows.append(reading(f"{material}-{k}", session, level_db=level + rng.normal(0, 0.02)))
    for session in (1, 2):
        for k in range(2):
            row = {"kind": "check", "level_db": 75.0 + session - 1}
            rows.append(reading("check-1", 2 * session + k, take=f"c{session}{k}", **row | {"session": f"s{session}"}))
    kept = groups(rows)
    drift = session_drift(rows, {})
    (raw,) = find_differences(rows, kept, figures=LEVEL)
    (clean,) = find_differences(rows, kept, drift=drift, figures=LEVEL)
    assert 20 * math.log10(raw.ratio) == pytest.approx(-1.0, abs=0.05)
    assert 20 * math.log10(clean.ratio) == pytest.approx(0.0, abs=0.05)
    assert clean.high_95 / clean.low_95 > raw.high_95 / raw.low_95  # the check cone's own scatter counts


def test_drift_does_not_widen_a_comparison_within_the_same_sessions():
    rng = np.random.default_rng(9)
    rows = [
        reading(f"{m}-{k}", s, level_db=80 + s + rng.normal(0, 0.1)) for m in "ab" for k in range(3) for s in (1, 2)
    ]
    checks = [reading("check-1", s, take=f"c{s}", kind="check", level_db=75.0 + s) for s in (1, 2)]
    with_drift = find_differences(
        [*rows, *checks], groups(rows), drift=session_drift([*rows, *checks], {}), figures=LEVEL
    )
    without = find_differences(rows, groups(rows), figures=LEVEL)
    assert with_drift[0].ratio == pytest.approx(without[0].ratio, rel=1e-12)


def test_the_order_of_the_readings_does_not_matter_to_the_rows():
    rows = campaign(np.random.default_rng(6), {"a": 4000.0, "b": 4200.0}, profiles=("st90", "cc84"))
    forward = find_differences(rows, groups(rows), figures=BREAKUP)
    assert [(d.profile, d.a, d.b) for d in forward] == [("cc84", "a", "b"), ("st90", "a", "b")]
