"""The rig's constants from the page: two sweeps, what was found with its uncertainty, kept only when told so, undone.

Oracle: the virtual rig's own constants, which its tables name; its suspension scatters by 1 % a seating.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from at_the_page import faults_of, tab_to, until
from playwright.sync_api import expect

from frusta.bench.rig_constants import RigConstants
from frusta.campaign.check import check_package
from frusta.campaign.package import open_package
from frusta.web.access import Access
from frusta.web.app import make_app
from frusta.web.constants_words import missing_words, summary_of
from frusta.web.desk import Desk
from frusta.web.sitting import Sitting

pytestmark = pytest.mark.timeout(1500)
TOKEN = "k" * 24
BY_CURRENT = {"current_channel": "3", "current_full_scale_a": "2"}
WANTED = {"device": "virtual:fast", "specimen": "heron", "added_mass_g": "3", **BY_CURRENT}


@pytest.fixture
def ask(campaign: Path, web_for: Callable[..., Any]) -> Callable[..., Any]:
    """Ask the bench of a campaign; the answer must be of the status that is expected."""
    web = web_for(
        make_app(Desk(campaign, "virtual:fast", 1), Access(TOKEN, frozenset({"127.0.0.1:1"}))), "http://127.0.0.1:1"
    )

    def post(path: str, status: int = 200, **body: Any) -> Any:
        answer = web.post(f"/{TOKEN}/api/{path}", json=body)
        assert answer.status_code == status, answer.text
        return answer.json()

    def look() -> Any:
        return web.get(f"/{TOKEN}/api/bench").json()

    post.look = look  # type: ignore[attr-defined]
    return post


def quiet(ask: Any, step: str) -> Any:
    """Wait until no sweep plays and none is read, and say where the measuring stands."""
    end = time.monotonic() + 240
    while time.monotonic() < end:
        told = ask.look()["constants"]
        if not told["sounding"]:
            assert told["step"] == step, told
            return told
        time.sleep(0.01)
    raise AssertionError("the sweep did not end")


def through_both_sweeps(ask: Any) -> Any:
    ask("bench/constants/press", event="sweep")
    quiet(ask, "loaded")
    ask("bench/constants/press", event="sweep")
    return quiet(ask, "found")


def test_constants_are_found_kept_and_taken_back(campaign: Path, ask: Any):
    rigs = campaign / "rigs.csv"
    truth, before = open_package(campaign).rigs["jetty"], rigs.read_bytes()
    ask("bench/constants", **WANTED)
    told = through_both_sweeps(ask)
    assert rigs.read_bytes() == before
    for key, within in (("force_factor_tm", 0.01), ("coil_resistance_ohm", 0.005), ("suspension_stiffness_n_mm", 0.04)):
        assert told["values"][key] == pytest.approx(getattr(truth, key), rel=within)
        assert 0.0 < told["uncertainties"][f"{key}_u"] < 0.05 * told["values"][key]
    kept = ask("bench/constants/press", event="keep")
    assert kept == {"said": "Wrote the constants of jetty into rigs.csv.", "undo": True}
    row = open_package(campaign).rigs["jetty"]
    assert row.force_factor_tm == pytest.approx(told["values"]["force_factor_tm"], rel=1e-4)
    assert float((row.model_extra or {})["force_factor_tm_u"]) > 0.0
    assert check_package(campaign).faults == ()
    assert "constants" not in ask.look()
    ask("undo")
    assert rigs.read_bytes() == before


def test_one_goes_back_and_leaves_and_nothing_is_written(campaign: Path, ask: Any):
    before = (campaign / "rigs.csv").read_bytes()
    ask("bench/constants", **WANTED)
    ask("bench/constants/press", 422, event="keep")
    through_both_sweeps(ask)
    ask("bench/constants/press", 422, event="sweep")
    ask("bench/constants/press", event="back")
    assert (ask.look()["constants"]["step"], ask.look()["constants"]["values"]) == ("loaded", {})
    ask("bench/constants/press", event="back")
    assert ask.look()["constants"]["step"] == "bare"
    refused = ask("bench/constants/press", 422, event="sweep", number=-1)
    assert "moved on" in refused["error"]["what"]
    ask("bench/begin", 422, device="virtual:fast")
    ask("bench/calibrator", 422, device="virtual:fast")
    ask("bench/constants/press", event="leave")
    assert (campaign / "rigs.csv").read_bytes() == before
    ask("bench/begin", device="virtual:fast")
    ask("bench/constants", 422, **WANTED)


def test_from_sound_alone_what_cannot_be_had_is_named(campaign: Path, ask: Any):
    sweeps = campaign / "sweeps.csv"
    sweeps.write_text(sweeps.read_text().replace("short,50,", "short,20,").replace(",0.7,", ",3,"))
    truth = open_package(campaign).rigs["jetty"]
    ask("bench/constants", device="virtual:fast", specimen="heron", added_mass_g="3", current_channel="")
    told = through_both_sweeps(ask)
    assert told["values"]["suspension_stiffness_n_mm"] == pytest.approx(truth.suspension_stiffness_n_mm, rel=0.05)
    assert set(told["reasons"]) == {
        "force_factor_tm", "suspension_resistance_ns_m", "coil_resistance_ohm", "coil_inductance_mh",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"specimen": "nobody"}, "must be one of specimens.csv"),
        ({"added_mass_g": "0"}, "greater than 0"),
        ({"current_full_scale_a": ""}, "the coil current at full scale, A"),
        ({"limit_w": "0.1"}, "coil_resistance_ohm"),
    ],
)
def test_what_would_give_nothing_is_refused_before_it_sounds(campaign: Path, ask: Any, change: Any, said: str):
    rigs = campaign / "rigs.csv"
    rigs.write_text(rigs.read_text().replace(",5.6,", ",,"))
    refused = ask("bench/constants", 422, **(WANTED | change))
    assert said in str(refused["error"])
    assert ask.look()["step"] == ""


def test_a_mass_too_small_to_tell_says_so_and_one_can_sweep_again(campaign: Path, ask: Any):
    ask("bench/constants", **(WANTED | {"added_mass_g": "0,0001"}))
    ask("bench/constants/press", event="sweep")
    quiet(ask, "loaded")
    ask("bench/constants/press", event="sweep")
    told = quiet(ask, "loaded")
    assert "put on a larger mass" in told["error"]["what_to_do"].lower()
    ask("bench/constants/press", event="leave")


def test_a_device_that_fails_says_what_to_do_and_one_sweeps_again(campaign: Path, ask: Any):
    """Oracle: the virtual rig's plug, pulled in the first sweep."""
    ask("bench/constants", **(WANTED | {"device": "virtual:fast,unplugged"}))
    ask("bench/constants/press", event="sweep")
    told = quiet(ask, "bare")
    assert "stopped answering" in told["error"]["what"]
    assert "plug it in again" in told["error"]["what_to_do"].lower()
    through_both_sweeps(ask)
    ask("bench/constants/press", event="leave")


def test_a_sweep_that_is_stopped_keeps_nothing_and_blames_nobody(campaign: Path):
    from frusta.web.sitting import Beginning

    bench = Sitting(Desk(campaign, "virtual", 1))
    bench.measure_constants(Beginning("virtual"), "heron", 3.0)
    measuring = bench.measuring
    assert measuring is not None
    bench.press_constants("sweep", None)
    bench.stop()
    measuring.wait(240)
    assert (measuring.state.step, measuring.state.sounding, measuring.state.problem) == ("bare", False, None)
    bench.press_constants("leave", None)
    assert bench.measuring is None


def test_gain_keeps_within_the_limit_that_is_remembered(campaign: Path):
    """Oracle: the sweep's peak is -6 dBFS; a limit of -20 dBFS leaves a drive gain of -14 dB."""
    from frusta.web.sitting import Beginning

    bench = Sitting(Desk(campaign, "virtual:fast", 1))
    bench.measure_constants(Beginning("virtual:fast", told={"limit_dbfs": -20.0}), "heron", 3.0, 0.0)
    assert bench.measuring is not None
    loudest = []
    plain = bench.measuring.device.play
    bench.measuring.device.play = lambda signal, **rest: (loudest.append(abs(signal).max()), plain(signal, **rest))[1]
    bench.press_constants("sweep", None)
    bench.measuring.wait(240)
    assert max(loudest) == pytest.approx(0.1, rel=1e-3)
    bench.close()


def test_words_of_what_a_rig_has(campaign: Path):
    rig = open_package(campaign).rigs["jetty"]
    assert summary_of(rig) == "all known"
    assert summary_of(rig.model_copy(update={"coil_inductance_mh": None})) == "coil inductance not known"
    assert summary_of(None) == "of the rig that you choose"
    empty = {"values": {}, "uncertainties": {}, "method": "sound", "measured": (), "fitted": (), "misfit": 0.0}
    assert missing_words(RigConstants(reasons={}, **empty)) == ""
    assert missing_words(RigConstants(reasons={"force_factor_tm": "no current"}, **empty)) == (
        "Force factor: none. No current."
    )


def test_constants_are_measured_by_keyboard_and_every_step_is_for_all_eyes(
    campaign: Path, serve: Callable, open_page: Callable
):
    rigs = campaign / "rigs.csv"
    before = rigs.read_bytes()
    served = serve(campaign)
    page = open_page(served.address + "bench", expect="422", width=390, height=330)  # a phone with its keyboard out
    until(page, "begin")
    tab_to(page, "#constants summary")
    page.keyboard.press("Enter")
    tab_to(page, "#rc-mass")
    page.keyboard.type("3")
    tab_to(page, "#rc-current")
    page.keyboard.type("3")
    tab_to(page, "#rc-scale")
    page.keyboard.type("2")
    assert faults_of(page) == []

    def look(step: str) -> None:
        until(page, step)
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            assert faults_of(page) == [], f"{step}, {scheme}"
        page.wait_for_function("() => document.activeElement.closest('#bench') !== null")
        expect(page.locator("#bench h1")).to_be_in_viewport(ratio=1)

    page.evaluate("scrollTo(0, document.body.scrollHeight)")
    page.keyboard.press("Enter")
    look("constants-bare")
    page.keyboard.press("Enter")
    look("constants-loaded")
    page.keyboard.press("Enter")
    look("constants-found")
    expect(page.locator("#bench")).to_contain_text("Force factor")
    assert rigs.read_bytes() == before
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0
    second = open_page(served.address + "bench")
    until(second, "constants-found")  # another tab shows the same
    page.keyboard.press("Enter")
    until(page, "begin")
    until(second, "begin")
    expect(page.locator("#told")).to_contain_text("Wrote the constants of jetty into rigs.csv.")
    assert rigs.read_bytes() != before
    page.keyboard.press("u")
    expect(page.locator("#told")).to_contain_text("Taken back")
    assert rigs.read_bytes() == before
    second.keyboard.press("u")  # nothing is left to take back, and no button stands there to say so
    expect(second.locator("#trouble")).to_contain_text("There is no change left to take back")
