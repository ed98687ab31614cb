"""What changed is told from what the rig did.

Oracle: made-up modes whose ratios are put in by hand (closed form: a modulus that falls by 4 % lowers every mode by
2 %), with a stated scatter; and the virtual rig's own poles where a campaign is recorded.
"""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import date

import pytest
from made_up_looks import NAMES, look

from frusta.campaign.rows import HistoryEvent
from frusta.campaign.shelf.ageing import compare_looks, next_look
from frusta.campaign.shelf.ageing_words import comparison_document, comparison_json, comparison_lines
from frusta.campaign.shelf.mode_pairs import heard_modes, pair_modes
from frusta.campaign.shelf.shifts import Shift
from frusta.errors import ParameterError


def verdicts(comparison) -> dict[str, str]:
    return {c.specimen: c.verdict for c in comparison.specimens}


def by_name(comparison, name):
    return next(c for c in comparison.specimens if c.specimen == name)


def test_nothing_happened():
    result = compare_looks(look("then", 2026, 1), look("now", 2028, 2))
    assert verdicts(result) == dict.fromkeys(NAMES, "unchanged")
    assert result.level_verdict == "unchanged"


def test_one_cone_softened_and_the_rest_did_not():
    """Modulus down 4 %: √0.96 = 0.9798; loss factor up 10 %."""
    ratio = math.sqrt(0.96)
    result = compare_looks(
        look("then", 2026, 1), look("now", 2028, 2, frequency={"plum-1": ratio}, loss={"plum-1": 1.1})
    )
    assert verdicts(result) == {**dict.fromkeys(NAMES, "unchanged"), "plum-1": "changed"}
    plum = by_name(result, "plum-1")
    assert math.exp(plum.frequency_ratio.value) == pytest.approx(ratio, abs=0.002)
    assert math.exp(plum.all_modes.value) == pytest.approx(ratio, abs=0.0005)
    assert math.exp(plum.loss_factor_ratio.value) == pytest.approx(1.1, abs=0.01)
    assert abs(plum.all_modes.value - math.log(ratio)) < 2.6 * plum.all_modes.u < 0.01
    assert plum.probability_changed > 0.99


def test_damping_alone_is_a_change():
    result = compare_looks(look("then", 2026, 1), look("now", 2028, 2, loss={"pear-1": 0.85}))
    assert verdicts(result) == {**dict.fromkeys(NAMES, "unchanged"), "pear-1": "changed"}


def test_a_coat_shows_as_mass():
    result = compare_looks(look("then", 2026, 1), look("now", 2028, 2, mass={"pear-1": 1.05}))
    assert by_name(result, "pear-1").verdict == "changed"
    assert math.exp(by_name(result, "pear-1").mass.value) == pytest.approx(1.05)


def test_what_all_share_is_the_rig():
    """Every mode 1 % down, first ones 3 % more, 1.5 dB louder: no cone changed but the one that did."""
    now = look("now", 2028, 2, every=0.99, first=0.97, level_db=1.5, frequency={"fig-1": 1.03})
    result = compare_looks(look("then", 2026, 1), now)
    assert verdicts(result) == {**dict.fromkeys(NAMES, "unchanged"), "fig-1": "changed"}
    assert math.exp(by_name(result, "fig-1").frequency_ratio.value) == pytest.approx(1.03, abs=0.003)
    assert result.frequency.every.value == pytest.approx(math.log(0.99), abs=5e-4)
    assert result.frequency.first.value == pytest.approx(math.log(0.97), abs=3e-3)
    assert result.level.level_db == pytest.approx(1.5, abs=0.15)
    assert result.level_verdict == "changed"


def test_the_check_cone_decides_when_most_cones_changed():
    changed = dict.fromkeys(NAMES[:4], 0.97)
    result = compare_looks(look("then", 2026, 1), look("now", 2028, 2, frequency=changed))
    assert verdicts(result) == {n: "changed" if n in changed else "unchanged" for n in NAMES}


def test_heat_is_not_age():
    """A day 3 K warmer lowers all alike by 0.6 %; 10 K warmer, plastics may differ by too much to be sure of any."""
    now = look("now", 2028, 2, every=0.994, temperature_c=23.0, frequency={"plum-2": 0.97})
    result = compare_looks(look("then", 2026, 1), now)
    assert verdicts(result) == {**dict.fromkeys(NAMES, "unchanged"), "plum-2": "changed"}
    assert result.warmer_k == 3.0
    hot = look("now", 2028, 2, every=0.98, temperature_c=30.0)
    assert set(verdicts(compare_looks(look("then", 2026, 1), hot)).values()) == {"unclear"}


def test_one_stray_mode_is_told_and_changes_no_verdict():
    then, now = look("then", 2026, 1), look("now", 2028, 2)
    moved = [
        m.model_copy(update={"frequency_hz": m.frequency_hz * 1.02})
        if m.take.startswith("fig-1") and m.mode_number == 4
        else m
        for m in now.modes
    ]
    result = compare_looks(then, replace(now, modes=moved))
    assert verdicts(result) == dict.fromkeys(NAMES, "unchanged")
    ((frequency, ratio),) = by_name(result, "fig-1").strays
    assert frequency == pytest.approx(5430 * 1.12, rel=0.01)
    assert ratio == pytest.approx(0.02, abs=0.002)


def with_breakup(seen, specimen: str, mode_number: int, takes: int = 2):
    """The look, a specimen's break-up read at another of its modes in so many takes."""
    place = {m.take: m.frequency_hz for m in seen.modes if m.mode_number == mode_number}
    moved = [r.take for r in seen.readings if r.specimen == specimen][:takes]
    readings = [r.model_copy(update={"breakup_hz": place[r.take]}) if r.take in moved else r for r in seen.readings]
    return replace(seen, readings=readings)


def test_a_break_up_that_is_now_another_mode_is_told():
    """The modes stay; the first has become so weak that the second is the break-up: plum-1 at 3240 Hz times 1.06."""
    then, now = look("then", 2026, 1), with_breakup(look("now", 2028, 2), "plum-1", 2)
    result = compare_looks(then, now)
    assert by_name(result, "plum-1").breakup_now_hz == pytest.approx(3240.0 * 1.06, rel=0.005)
    assert verdicts(result)["plum-1"] == "unchanged"  # the same mode is compared with itself
    told = "\n".join(comparison_lines(result))
    assert told.count("its break-up is now another mode, at 34") == 1
    row = next(r for r in comparison_document(result)["specimens"] if r["specimen"] == "plum-1")
    assert row["breakup_is_now_hz"] == pytest.approx(3434.0, rel=0.005)
    back = by_name(compare_looks(now, then), "plum-1")
    assert back.breakup_now_hz == pytest.approx(2310.0 * 1.06, rel=0.005)


def test_a_break_up_that_moved_with_its_mode_is_no_other_mode():
    result = compare_looks(look("then", 2026, 1), look("now", 2028, 2, frequency={"plum-1": 0.9}))
    assert all(c.breakup_now_hz is None for c in result.specimens)


def test_takes_that_disagree_about_the_break_up_say_nothing_of_it():
    now = with_breakup(look("now", 2028, 2), "plum-1", 2, takes=1)
    assert by_name(compare_looks(look("then", 2026, 1), now), "plum-1").breakup_now_hz is None


def test_too_little_is_unclear():
    """One seating each under a scatter of 4 % (first modes) can tell nothing of a per cent."""
    names = ("pear-1", "plum-1")
    then = look("then", 2026, 1, names=names, seatings=2, joint_sd=0.04)
    now = look("now", 2028, 5, names=names, seatings=2, joint_sd=0.04)
    assert set(verdicts(compare_looks(then, now)).values()) == {"unclear"}


def test_false_alarms_and_intervals():
    """Two hundred unchanged and fifty changed cones: 95 % intervals hold at least 90 %, under 1 in 40 is called
    changed that is not."""
    inside = alarms = total = 0
    for seed in range(40):
        truth = {"plum-1": 0.985}
        result = compare_looks(look("then", 2026, 10 + seed), look("now", 2028, 510 + seed, frequency=truth))
        for change in result.specimens:
            true = math.log(truth.get(change.specimen, 1.0))
            inside += abs(change.all_modes.value - true) <= change.level_95 * change.all_modes.u
            alarms += change.verdict == "changed" and change.specimen not in truth
            total += 1
        assert by_name(result, "plum-1").verdict == "changed"
    assert inside >= 0.9 * total
    assert alarms <= total / 40


def test_events_between_the_looks_are_told():
    history = (
        HistoryEvent(specimen="plum-1", date="2026-01-01", event="printed"),
        HistoryEvent(specimen="plum-1", date="2027-06-01", event="annealed"),
    )
    now = look("now", 2028, 2, frequency={"plum-1": 1.021}, history=history)
    result = compare_looks(look("then", 2026, 1), now)
    plum = by_name(result, "plum-1")
    assert plum.events == ("annealed (2027-06-01)",)
    line = next(line for line in comparison_lines(result) if "plum-1:" in line)
    assert "changed since annealed (2027-06-01): modes up 2.1" in line
    assert "the rig explains 0." in line
    due, because = next_look(plum, now, result.earlier)
    assert due == date(2028, 5, 1).fromordinal(
        date(2028, 5, 1).toordinal() + (date(2028, 5, 1) - date(2027, 6, 1)).days
    )
    assert "doubled" in because


def test_the_file_holds_what_was_agreed():
    result = compare_looks(look("then", 2026, 1), look("now", 2028, 2, frequency={"plum-1": 0.97}))
    document = json.loads(comparison_json(result))
    assert document == json.loads(json.dumps(comparison_document(result)))
    assert set(document["rig"]) >= {"level_db", "level_db_u", "verdict"}
    row = next(r for r in document["specimens"] if r["specimen"] == "plum-1")
    for key in (
        "frequency_ratio",
        "frequency_ratio_u",
        "loss_factor_ratio",
        "loss_factor_ratio_u",
        "mass_ratio",
        "verdict",
    ):
        assert row[key] is not None
    assert row["frequency_ratio"] == pytest.approx(0.97, abs=0.002)


def test_levels_without_a_scale_are_not_compared():
    result = compare_looks(look("then", 2026, 1), replace(look("now", 2028, 2), absolute=False))
    assert result.level is None
    assert "in pascals in one look only" in comparison_document(result)["rig"]["reasons"]["level_db"]


def test_looks_without_a_common_specimen_are_refused():
    with pytest.raises(ParameterError, match="then and now must share a specimen"):
        compare_looks(look("then", 2026, 1, names=("pear-1",)), look("now", 2028, 2, names=("plum-1",)))


def test_modes_pair_though_all_moved_and_one_is_missing():
    then, now = (
        heard_modes([(1, [m for m in view.modes if m.take == "pear-1-1"])])
        for view in (look("then", 2026, 1), look("now", 2028, 2, frequency={"pear-1": 0.88}))
    )
    del now[2]
    assert pair_modes(then, now) == [(0, 0), (1, 1), (3, 2), (4, 3), (5, 4), (6, 5)]


def test_spread_is_part_of_a_shift():
    assert Shift(0.0, 0.1).spread == 0.0


def test_nobody_is_his_own_witness():
    """One cone alone, all modes 2 % down: the rig is not known to do that; 0.4 % down could be the day."""
    then = look("then", 2026, 1, names=("pear-1",))
    result = compare_looks(then, look("now", 2028, 2, names=("pear-1",), frequency={"pear-1": 0.98}))
    assert verdicts(result) == {"pear-1": "changed"}
    result = compare_looks(then, look("now", 2028, 2, names=("pear-1",), frequency={"pear-1": 0.996}))
    assert verdicts(result) == {"pear-1": "unclear"}
