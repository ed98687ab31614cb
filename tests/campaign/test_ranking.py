"""Ranking: points by hand, ranks by Tukey's intervals, probability by simulation, ties called ties."""

from __future__ import annotations

import numpy as np
import pytest

from frusta.campaign.findings import Reading
from frusta.campaign.ranking import PARTS, Member, points, rank
from frusta.errors import ParameterError

BAND_HZ = 4000.0
MEMBERS = {m: Member(m, "walls", m.capitalize()) for m in ("rook", "flint", "marram")}


def reading(specimen, seating=1, profile="st90", **figures):
    values = {
        "breakup_hz": 4000.0,
        "input_thd_peak_percent": 0.3,
        "decay_2_percent_ms": 4.0,
    } | figures
    return Reading(
        take=f"{specimen}-{seating}",
        specimen=specimen,
        kind="cone",
        material=specimen.split("-")[0],
        recipe="walls",
        profile=profile,
        session="s1",
        seating=seating,
        quality="ok",
        **values,
    )


def groups(rows):
    return {r.specimen: r.material for r in rows}


def ranked(rows, band_hz=BAND_HZ, weights=None):
    return rank(rows, groups(rows), MEMBERS, band_hz, dict.fromkeys((r.take for r in rows), 8.0), weights)


def campaign(hz, prints=3, scatter=0.005, seed=1, profiles=("st90",)):
    rng = np.random.default_rng(seed)
    return [
        reading(f"{m}-{p}-{k}", profile=p, breakup_hz=v * np.exp(scatter * rng.standard_normal()))
        for p in profiles
        for m, v in hz.items()
        for k in range(prints)
    ]


def test_points_are_fifty_at_the_half_value_and_never_level():
    """By hand: 100/(1 + q²) for q = 1, 1/2, 2."""
    breakup, evenness, distortion, decay = PARTS
    assert [points(breakup, hz, BAND_HZ) for hz in (2000, 4000, 8000)] == pytest.approx([20, 50, 80])
    assert [points(evenness, db, None) for db in (4.0, 8.0, 16.0)] == pytest.approx([80, 50, 20])
    assert [points(distortion, d, None) for d in (0.15, 0.3, 0.6)] == pytest.approx([80, 50, 20])
    assert [points(decay, ms, None) for ms in (2.0, 4.0, 8.0)] == pytest.approx([80, 50, 20])
    assert points(evenness, 0.0, None) == 100


def test_score_is_the_weighted_mean_of_the_parts():
    """By hand: break-up 100/(1 + (band/hz)²) points of weight 40, the other parts 50 points of weight 60."""
    rows = campaign({"rook": 5000.0, "flint": 4000.0}, scatter=0.0)
    rows[0] = rows[0].model_copy(update={"breakup_hz": 5001.0})
    first, second = ranked(rows)
    assert first.score == pytest.approx(0.4 * 100 / (1 + 0.8**2) + 0.6 * 50, abs=0.01)
    assert second.score == pytest.approx(50, abs=1e-9)
    assert [p.part for p in first.parts] == ["break-up", "evenness", "input distortion", "decay"]
    assert sum(p.weight * p.points for p in first.parts) / 100 == pytest.approx(first.score, rel=1e-9)


def test_the_better_is_first_and_the_equal_share_a_place():
    rows = campaign({"rook": 5200.0, "flint": 4000.0, "marram": 4005.0})
    found = ranked(rows)
    assert found[0].material == "rook"
    assert (found[0].rank_low, found[0].rank_high) == (1, 1)
    assert found[0].verdict == "Rook: place 1."
    assert {(r.rank_low, r.rank_high) for r in found[1:]} == {(2, 3)}
    assert "places 2 to 3, a tie with" in found[1].verdict
    assert found[0].probability_best > 0.99
    assert sum(r.probability_best for r in found) == pytest.approx(1)


def test_rank_intervals_of_equals_hold_as_often_as_they_say():
    """Oracle: simulation; three equal groups must all keep places 1 to 3 in 95 % (3 sd of 400 runs: 3.3 %)."""
    kept = []
    for seed in range(400):
        rows = campaign(dict.fromkeys(MEMBERS, 4000.0), seed=seed)
        kept.append(all((r.rank_low, r.rank_high) == (1, 3) for r in ranked(rows)))
    assert abs(np.mean(kept) - 0.95) < 0.033


def test_probability_of_two_is_students_t():
    """Closed form: with two groups the probability is that of a t at the difference over its standard error."""
    rows = campaign({"rook": 4020.0, "flint": 4000.0}, prints=3, scatter=0.01, seed=3)
    found = {r.material: r for r in ranked(rows, weights={"break-up": 1.0})}
    from scipy.stats import t as student_t

    scores = {m: [100 / (1 + (4000 / r.breakup_hz) ** 2) for r in rows if r.material == m] for m in found}
    gap = np.mean(scores["rook"]) - np.mean(scores["flint"])
    error = np.sqrt((np.var(scores["rook"], ddof=1) + np.var(scores["flint"], ddof=1)) / 2 * 2 / 3)
    own = student_t.ppf(0.975, 4) * error / np.sqrt(2)
    assert found["rook"].score_high - found["rook"].score == pytest.approx(own, rel=1e-9)
    assert found["rook"].probability_best == pytest.approx(student_t.cdf(gap / error, 4), abs=0.012)


def test_a_part_that_one_group_lacks_is_left_out_for_all():
    rows = campaign({"rook": 5000.0, "flint": 4000.0})
    rows = [r.model_copy(update={"decay_2_percent_ms": None}) if r.material == "flint" else r for r in rows]
    for row in ranked(rows):
        assert row.parts[3].weight == 0
        assert row.reasons["decay"].endswith("time to fall to 2 % could not be read in Flint")


def test_single_prints_get_scores_and_no_ranks():
    rows = campaign({"rook": 5000.0, "flint": 4000.0}, prints=1)
    for row in ranked(rows):
        assert row.score is not None
        assert row.rank_low is None
        assert "no two prints of one kind" in row.reasons["rank_low"]


def test_only_profiles_common_to_all_count():
    rows = campaign({"rook": 5000.0, "flint": 4000.0})
    extra = campaign({"rook": 7000.0}, profiles=("cc84",))
    alone, both = (ranked(r) for r in (rows, [*rows, *extra]))
    assert [r.score for r in alone] == [r.score for r in both]
    apart = [r for r in rows if r.material == "rook"] + campaign({"flint": 4000.0}, profiles=("cc84",))
    assert all(r.score is None and "no profile is common" in r.reasons["score"] for r in ranked(apart))


def test_without_a_band_breakup_does_not_count():
    rows = campaign({"rook": 5000.0, "flint": 4000.0})
    assert all("band_high_hz" in row.reasons["break-up"] for row in ranked(rows, None))


def test_the_same_twice():
    rows = campaign({"rook": 4020.0, "flint": 4000.0, "marram": 4010.0})
    assert ranked(rows) == ranked(rows)


def test_weights_that_name_no_part_are_refused():
    with pytest.raises(ParameterError, match="weights must be 0 or more"):
        rank([], {}, MEMBERS, BAND_HZ, {}, {"loudness": 1.0})
