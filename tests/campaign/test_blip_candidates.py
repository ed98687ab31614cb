"""Causes of narrow features: constructed campaigns whose cause is known."""

from __future__ import annotations

from dataclasses import replace

import pytest

from frusta.campaign.blip_candidates import BellForecast, ConeContext, weigh_blips, with_candidates, with_orders
from frusta.campaign.findings import BlipRow, ModeRow

BELLS = (
    BellForecast(1, 1500.0, 15.0),
    BellForecast(2, 640.0, 8.0),
    BellForecast(3, 540.0, 6.0),
    BellForecast(2, 2600.0, 40.0),
)
OAK = ConeContext("oak-1", "cone", "bench", 1, "oak/st", BELLS, 3900.0)


def context(specimen: str, alike: str, factor: float, seating: int = 1, kind: str = "cone") -> ConeContext:
    bells = tuple(
        replace(b, frequency_hz=factor * b.frequency_hz, frequency_hz_u=factor * b.frequency_hz_u) for b in BELLS
    )
    return ConeContext(specimen, kind, "bench", seating, alike, bells, 3900.0 * factor)


CONTEXTS = {
    "oak-1-s1": OAK,
    "oak-1-s2": replace(OAK, seating=2),
    "oak-2-s1": replace(OAK, specimen="oak-2"),
    "fir-1-s1": context("fir-1", "fir/st", 1.3),
    "elm-1-s1": context("elm-1", "elm/st", 0.8),
    "elm-2-s1": context("elm-2", "elm/cv", 1.1),
    "check-1": replace(context("check-1", "check-1", 1.0, kind="check"), bells=()),
}


def blip(take: str, hertz: float) -> BlipRow:
    return BlipRow(take=take, frequency_hz=hertz, height_db=0.5)


def likeliest(blips: list[BlipRow], place: int = 0) -> str:
    return next(iter(weigh_blips(blips, CONTEXTS)[place].probability))


@pytest.mark.parametrize(("hertz", "cause"), [(636.0, "bell 2"), (545.0, "bell 3"), (2610.0, "bell 2")])
def test_a_bell_mode_is_known_by_its_forecast(hertz: float, cause: str):
    blips = [blip("oak-1-s1", hertz), blip("oak-1-s2", hertz * 1.0005), blip("fir-1-s1", 1.3 * hertz)]
    assert likeliest(blips) == cause
    found = weigh_blips(blips, CONTEXTS)[0]
    assert found.order == int(cause[-1])
    assert f"bell mode n = {cause[-1]} of the rim (forecast" in found.candidates[0]
    assert found.candidates[0].endswith("almost certain")
    assert "tap the rim" in found.test


def test_the_rig_is_known_by_the_other_cones():
    blips = [blip(take, 870.0) for take in ("oak-1-s1", "fir-1-s1", "elm-1-s1", "elm-2-s1", "check-1")]
    for place in range(len(blips)):
        assert likeliest(blips, place) == "rig"
    assert "4 of 4 other cones show it" in weigh_blips(blips, CONTEXTS)[0].candidates[0]


def test_the_rig_at_a_bell_mode_s_place_is_still_the_rig_when_all_cones_show_it():
    blips = [blip(take, 641.0) for take in ("oak-1-s1", "fir-1-s1", "elm-1-s1", "elm-2-s1", "check-1")]
    assert likeliest(blips) == "rig"
    assert "turn the cone a quarter" in weigh_blips(blips, CONTEXTS)[0].test


def test_prints_of_one_design_do_not_witness_for_the_rig():
    """Their bell modes coincide: two oak cones with the same feature are no sign of the rig."""
    blips = [blip("oak-1-s1", 642.0), blip("oak-2-s1", 644.0)]
    assert likeliest(blips) == "bell 2"


def test_a_joint_moves_from_seating_to_seating():
    blips = [blip("oak-1-s1", 1900.0), blip("oak-1-s2", 2040.0)]
    assert likeliest(blips) == "joint"
    stays = [blip("oak-1-s1", 1900.0), blip("oak-1-s2", 1900.5)]
    assert likeliest(stays) == "other"  # no bell mode lies there, no other cone shows it, and it does not move


def test_a_harmonic_is_suspected_where_nothing_keeps_it_apart():
    contexts = {"oak-1-s1": replace(OAK, harmonics_apart=False)}
    found = weigh_blips([blip("oak-1-s1", 320.0)], contexts)[0]
    assert next(iter(found.probability)) == "harmonic"
    assert found.test.startswith("change the level")
    apart = weigh_blips([blip("oak-1-s1", 320.0)], {"oak-1-s1": OAK})[0]
    assert apart.probability["harmonic"] < 0.2


def test_probabilities_sum_to_one_and_rows_are_filled():
    rows = [blip("oak-1-s1", 700.0), blip("check-1", 500.0)]
    for found in weigh_blips(rows, CONTEXTS):
        assert sum(found.probability.values()) == pytest.approx(1.0)
    for row in with_candidates(rows, weigh_blips(rows, CONTEXTS)):
        assert row.candidates
        assert row.test
    assert not any("bell" in words for words in with_candidates(rows, weigh_blips(rows, CONTEXTS))[1].candidates)


def test_a_bell_mode_among_the_modes_gets_its_order():
    rows = [blip("oak-1-s1", 541.0)]
    modes = [
        ModeRow(
            take="oak-1-s1",
            mode_number=number,
            circumferential_order=0,
            frequency_hz=hertz,
            frequency_hz_u=1.0,
            loss_factor=0.02,
            loss_factor_u=0.001,
            prominence_db=-15.0,
        )
        for number, hertz in ((1, 541.0), (2, 3900.0))
    ]
    found = with_orders(modes, rows, weigh_blips(rows, CONTEXTS))
    assert [mode.circumferential_order for mode in found] == [3, 0]


def damped(take: str, hertz: float, loss: float, loss_u: float = 0.002) -> BlipRow:
    return blip(take, hertz).model_copy(update={"loss_factor": loss, "loss_factor_u": loss_u, "frequency_hz_u": 0.5})


def probability(blips: list[BlipRow], cause: str, loss_factor: float | None = 0.02) -> float:
    """Of the first blip's cause, in cones whose bell modes are damped by so much."""
    bells = tuple(replace(b, loss_factor=loss_factor, loss_factor_u=0.0005) for b in BELLS)
    contexts = {**CONTEXTS, "oak-1-s1": replace(OAK, bells=bells)}
    return weigh_blips(blips, contexts)[0].probability.get(cause, 0.0)


def test_a_bell_mode_is_damped_like_its_plastic():
    """Where a bell mode is forecast: damped as the plastic it is one; three times as much, rather something else."""
    unheard = probability([damped("oak-1-s1", 636.0, 0.02)], "bell 2", None)
    assert probability([damped("oak-1-s1", 636.0, 0.02)], "bell 2") > unheard
    assert probability([damped("oak-1-s1", 636.0, 0.06)], "bell 2") < unheard - 0.1


def test_a_loss_factor_that_is_badly_known_says_little():
    known = probability([damped("oak-1-s1", 636.0, 0.06)], "bell 2")
    assert probability([damped("oak-1-s1", 636.0, 0.06, 0.06)], "bell 2") > known + 0.1


def test_other_cones_uneven_alike_speak_for_a_bell_mode():
    """fir's lies 1.3 times as high, as its forecast does; at oak's own frequency it would speak for the rig."""
    alone = probability([blip("oak-1-s1", 636.0)], "bell 2")
    both = probability([blip("oak-1-s1", 636.0), blip("fir-1-s1", 1.3 * 636.0)], "bell 2")
    assert both > alone + 0.02
    assert probability([blip("oak-1-s1", 636.0), blip("fir-1-s1", 636.0)], "bell 2") < alone


def test_a_badly_placed_feature_that_lies_there_again_has_not_moved():
    """0.8 % apart, each known to 0.5 %: no sign of a joint; known to 0.05 % it is one."""
    blips = [blip("oak-1-s1", 1900.0), blip("oak-1-s2", 1915.0)]
    vague = [b.model_copy(update={"frequency_hz_u": 9.5}) for b in blips]
    sharp = [b.model_copy(update={"frequency_hz_u": 0.9}) for b in blips]
    assert probability(sharp, "joint") > 0.6
    assert probability(vague, "joint") < 0.2
