"""The page in a real browser: the whole bench, two tabs, a restart, every room light and dark, no complaint anywhere.

Oracles: the tables on disk; axe-core (vendored beside this file) for what people with other eyes and hands meet.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from at_the_page import by_keyboard, by_mouse, faults_of, settled, until
from playwright.sync_api import Page, expect

from frusta.campaign.check import check_package
from frusta.campaign.package import open_package

pytestmark = pytest.mark.timeout(1500)  # on a machine that is busy with ten other things, too
ROOMS = ("bench", "cones", "differences", "next", "report", "import", "tables/rigs")
CHARTS = {"differences": "#curves svg.chart", "next": "#forecast svg.chart"}
KEEP_SOURCES = (
    "window.sources = []; const Real = window.EventSource;"
    "window.EventSource = class extends Real { constructor(url) { super(url); window.sources.push(this); } }"
)
LONG_MARK = "the-cone-with-the-longest-mark-that-a-rim-of-a-cone-could-hold-1"
NARROW = (390, 844)


def unweighed(campaign: Path) -> None:
    """The check cone, which comes first, wants to be weighed."""
    file = campaign / "specimens.csv"
    file.write_text(file.read_text().replace("st80,5.0", "st80,"))


def test_from_a_campaign_without_takes_to_its_report(campaign: Path, serve: Callable, open_page: Callable):
    served = serve(campaign)
    page = open_page(served.address)
    until(page, "begin")
    page.fill("#seatings", "1")
    page.locator("#seatings").press("Enter")
    by_keyboard(page)
    by_mouse(page)
    by_keyboard(page)
    by_mouse(page)
    until(page, "done")
    package = open_package(campaign)
    assert sorted((t.specimen, t.seating) for t in package.takes.values()) == [
        ("heron", 1), ("heron", 2), ("rush-1", 1), ("sedge-1", 1),
    ]  # fmt: skip
    assert package.specimens["sedge-1"].mass_g == 5.2
    assert check_package(campaign).faults == ()
    page.keyboard.press("Enter")
    page.wait_for_url("**/differences")
    page.wait_for_selector("#figure svg.chart", timeout=600_000)
    page.wait_for_selector("#curves svg.chart")
    settled(page)
    assert "Rush" in page.inner_text("#figure")
    plot = page.locator("#curves .plot").first
    plot.focus()
    page.keyboard.press("ArrowRight")
    expect(page.locator("#curves .readout").first).to_contain_text("kHz:")
    page.keyboard.press("5")
    page.wait_for_selector("iframe.paper", timeout=600_000)
    settled(page)
    frame = page.frame_locator("iframe.paper")
    expect(frame.locator("h1")).to_be_visible()
    page.click("button:has-text('Publish')")
    page.wait_for_selector("text=Published to quay-report", timeout=600_000)
    assert (campaign.parent / "quay-report" / "report.html").exists()
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        for room in ROOMS:
            page.goto(served.address + room)
            if room in CHARTS:
                page.wait_for_selector(CHARTS[room])
            if room == "report":
                expect(page.frame_locator("iframe.paper").locator("h1")).to_be_visible()
            assert faults_of(page) == [], f"{room}, {scheme}"


def test_two_tabs_show_the_same_and_a_late_press_does_nothing(campaign: Path, serve: Callable, open_page: Callable):
    served = serve(campaign)
    first = open_page(served.address + "bench", expect="422")
    first.click("button:has-text('Begin')")
    until(first, "cone")
    second = open_page(served.address + "bench", width=NARROW[0], height=NARROW[1])
    until(second, "cone")
    number = first.get_attribute("#bench", "data-number")
    second.click("button:has-text('I have it')")
    until(first, "seat")  # the check cone comes first, and was weighed before
    until(second, "seat")
    late = first.evaluate(
        "async (n) => (await fetch(page.base + '/api/bench/press', {method: 'POST', headers: {'content-type': "
        "'application/json'}, body: JSON.stringify({event: 'Fetched', number: Number(n)})})).status",
        number,
    )
    assert late == 422
    first.keyboard.press("u")
    until(first, "cone")
    until(second, "cone")


def test_sound_is_stopped_by_escape_and_survives_a_reload(campaign: Path, serve: Callable, open_page: Callable):
    served = serve(campaign, device="virtual")
    page = open_page(served.address + "bench")
    page.fill("#target", "140")  # more than the rig can give: the noise goes on until it is stopped
    page.click("button:has-text('Begin')")
    until(page, "cone")
    page.keyboard.press("Enter")
    until(page, "seat")
    page.keyboard.press("Enter")
    until(page, "level")
    expect(page.locator("[data-stop]")).to_be_visible()
    assert page.url.endswith("#level")
    page.reload()
    until(page, "level")
    expect(page.locator("#lv-unit")).to_have_text("dB too quiet")
    page.goto(served.address + "cones")
    expect(page.locator("#sounding-stop")).to_be_visible()
    page.goto(served.address + "bench")
    until(page, "level")
    page.keyboard.press("Escape")
    until(page, "seat")
    assert open_package(campaign).takes == {}


def test_a_restart_in_the_middle_goes_on_where_it_was(campaign: Path, serve: Callable, open_page: Callable):
    served = serve(campaign)
    page = open_page(served.address + "bench", expect="ERR_")
    page.click("button:has-text('Begin')")
    by_keyboard(page)
    until(page, "cone")
    mark = page.inner_text(".stub h2")
    port = int(served.address.split(":")[2].split("/")[0])
    served.end()
    assert len(open_package(campaign).takes) == 1
    serve(campaign, port=port)
    page.goto(served.address + "bench")
    expect(page.locator("h1")).to_have_text("Go on where you were.")
    page.click("button:has-text('Go on')")
    until(page, "cone")
    assert page.inner_text(".stub h2") == mark


def test_a_cone_is_added_changed_and_taken_back_by_keyboard(campaign: Path, serve: Callable, open_page: Callable):
    served = serve(campaign)
    page = open_page(served.address + "cones?cone=rush-1")
    page.keyboard.press("e")
    field = page.locator("#ed-mass_g")
    field.fill("4.75")
    field.press("Enter")
    expect(page.locator("#told")).to_contain_text("Changed rush-1.")
    expect(page.locator("#card")).to_contain_text("4.75")
    page.locator("h1").click()
    page.keyboard.press("u")
    expect(page.locator("#told")).to_contain_text("Taken back")
    assert open_package(campaign).specimens["rush-1"].mass_g == 4.9


@pytest.mark.parametrize("size", [(1280, 800), NARROW])
def test_long_names_fit(campaign: Path, serve: Callable, open_page: Callable, size: tuple[int, int]):
    for name in ("specimens", "campaign"):
        file = campaign / f"{name}.csv"
        file.write_text(file.read_text().replace("rush-1", LONG_MARK).replace("Cones for the quay", "Cones " * 40))
    served = serve(campaign)
    page = open_page(served.address + "bench", width=size[0], height=size[1])
    for room in ("bench", f"cones?cone={LONG_MARK}", "next", "tables/specimens", "differences"):
        page.goto(served.address + room)
        settled(page)
        wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert wide <= 0, room
        small = page.evaluate(
            "[...document.querySelectorAll('body *')].filter(e => e.childNodes.length && [...e.childNodes].some("
            "n => n.nodeType === 3 && n.textContent.trim()) && e.offsetParent && "
            "parseFloat(getComputedStyle(e).fontSize) < 15).map(e => e.outerHTML.slice(0, 80))"
        )
        assert small == [], room


def test_an_empty_folder_becomes_a_campaign(tmp_path: Path, serve: Callable, open_page: Callable):
    served = serve(tmp_path)
    page = open_page(served.address)
    until(page, "empty")
    for room in ("cones", "differences", "next", "report", "import"):
        page.goto(served.address + room)
        assert faults_of(page) == [], room
    page.goto(served.address + "bench")
    page.fill("#title", "Cones for the quay")
    page.locator("#title").press("Enter")
    page.wait_for_url("**/tables/materials")
    assert open_package(tmp_path).campaign.title == "Cones for the quay"


def test_offline_is_said(campaign: Path, serve: Callable, open_page: Callable):
    served = serve(campaign)
    page = open_page(served.address + "tables/materials", expect="ERR_")
    served.end()
    page.fill("#f-material", "otter")
    page.fill("#f-name", "Otter")
    page.locator("#f-name").press("Enter")
    expect(page.locator("#trouble")).to_contain_text("frusta does not answer")


def test_hundreds_of_specimens_and_thousands_of_takes_are_one_page(
    tmp_path: Path, serve: Callable, open_page: Callable
):
    """How fast it opens is in benchmarks; here: everything is there, in a page of modest size, and it scrolls."""
    marks = [f"c{i:03d}" for i in range(500)]
    root = tmp_path / "large"
    root.mkdir()
    tables = {
        "campaign": "campaign,title\nlarge,Large\n",
        "materials": "material,name\n" + "".join(f"m{i},Material {i}\n" for i in range(8)),
        "profiles": "profile,shape,neck_radius_mm,rim_radius_mm,depth_mm,bow_mm,wall_mm\n"
        + "".join(f"p{i},straight,13,{40 + i},24,0,0.8\n" for i in range(5)),
        "rigs": "rig,mounting,microphone_distance_mm\njetty,free,150\n",
        "sessions": "session,rig,date\nmay,jetty,2026-05-01\n",
        "sweeps": "sweep,start_hz,stop_hz,duration_s\nx,50,16000,1\n",
        "specimens": "specimen,kind,material,profile,mass_g\n"
        + "".join(f"{mark},cone,m{i % 8},p{i % 5},5.{i % 7}\n" for i, mark in enumerate(marks)),
        "takes": "take,specimen,session,sweep,seating,recording\n"
        + "".join(f"{mark}-{k},{mark},may,x,{k},recordings/{mark}-{k}.wav\n" for mark in marks for k in (1, 2, 3, 4)),
    }
    for name, text in tables.items():
        (root / f"{name}.csv").write_text(text)
    page = open_page(serve(root).address + "cones")
    settled(page)  # the room draws itself anew once the takes were looked at
    expect(page.locator("a.cone")).to_have_count(500)
    assert len(page.content()) < 400_000
    page.locator("a.cone").last.scroll_into_view_if_needed()
    expect(page.locator("a.cone").last).to_be_in_viewport()
    page.fill("#find", "c499")
    page.locator("#find").press("Enter")
    expect(page.locator("a.cone")).to_have_count(1)


def test_what_is_typed_outlives_figures_that_arrive(campaign: Path, serve: Callable, open_page: Callable):
    """A dirty form, its caret, an open list and the place on the page stay; the new figures wait for a key."""
    served = serve(campaign)
    page = open_page(served.address + "cones?cone=rush-1")
    settled(page)
    page.keyboard.press("e")
    field = page.locator("#ed-notes")
    field.fill("half a sen")
    other = page.evaluate(
        "async () => (await fetch(page.base + '/api/tables/specimens', {method: 'PUT', headers: {'content-type': "
        "'application/json'}, body: JSON.stringify({specimen: 'rush-1', mass_g: '4.625'})})).status"
    )
    assert other == 200
    page.evaluate("htmx.trigger(document.body, 'frusta-read')")
    expect(page.locator("#reading")).to_contain_text("New figures are ready.")
    expect(page.locator("#card")).not_to_contain_text("4.63")
    page.keyboard.type("tence")
    expect(field).to_have_value("half a sentence")
    place = page.evaluate("scrollY")
    page.click("#show-new")
    expect(page.locator("#card .fields").first).to_contain_text("4.6")
    expect(page.locator("#ed-notes")).to_have_value("half a sentence")
    expect(page.locator("#ed-notes")).to_be_visible()
    page.locator("#ed-notes").focus()
    page.locator("#ed-notes").press("End")
    page.evaluate("page.refresh()")
    expect(page.locator("#ed-notes")).to_be_focused()
    page.keyboard.type(" more")
    expect(page.locator("#ed-notes")).to_have_value("half a sentence more")
    assert place >= 0
    page.keyboard.press("Enter")
    expect(page.locator("#told")).to_contain_text("Changed rush-1.")
    row = open_package(campaign).specimens["rush-1"]
    assert (row.notes, row.mass_g) == ("half a sentence more", 4.625)


def test_choices_outlive_a_reload(campaign: Path, serve: Callable, open_page: Callable):
    served = serve(campaign)
    page = open_page(served.address + "next")
    page.wait_for_selector(CHARTS["next"])
    page.fill("#n-depth_mm", "27,5")
    page.locator("#n-depth_mm").press("Tab")
    page.wait_for_url("**depth_mm=27*")
    page.reload()
    expect(page.locator("#n-depth_mm")).to_have_value("27.5")
    page.wait_for_selector(CHARTS["next"])
    settled(page)


def test_a_typed_mass_outlives_late_news_of_the_same_step(campaign: Path, serve: Callable, open_page: Callable):
    unweighed(campaign)
    served = serve(campaign)
    page = open_page(served.address + "bench")
    page.add_init_script(KEEP_SOURCES)
    page.reload()
    page.click("button:has-text('Begin')")
    until(page, "cone")
    page.keyboard.press("Enter")
    until(page, "weigh")
    page.keyboard.type("5.")
    page.evaluate(  # the page asks for the step anew once it has dealt with the answer before
        """async () => {
          let asked = 0;
          const real = window.fetch;
          window.fetch = (...told) => { asked += 1; return real(...told); };
          while (asked < 3) {
            window.sources[0].onmessage({ data: '{"number": -1}' });
            await new Promise((go) => setTimeout(go, 10));
          }
          window.fetch = real;
        }"""
    )
    page.keyboard.type("25")
    expect(page.locator("#mass")).to_have_value("5.25")
    page.keyboard.press("Enter")
    until(page, "seat")
    assert open_package(campaign).specimens["heron"].mass_g == 5.25


def test_a_server_killed_in_mid_sweep_loses_nothing_and_the_same_tab_shows_the_truth(
    campaign: Path, serve: Callable, open_page: Callable, serve_apart: Callable
):
    sweeps = campaign / "sweeps.csv"
    first = serve(campaign)
    page = open_page(first.address + "bench", expect="ERR_")
    page.click("button:has-text('Begin')")
    by_keyboard(page)
    until(page, "cone")
    page.goto("about:blank")
    first.end()
    kept = (campaign / "takes.csv").read_bytes()
    short = sweeps.read_text()
    sweeps.write_text(short.replace(",0.7,", ",40,"))
    apart = serve_apart(campaign, device="virtual")
    page.goto(apart.address + "bench")
    page.click("button:has-text('Go on')")
    until(page, "cone")
    mark = page.inner_text(".stub h2")
    page.keyboard.press("Enter")
    if until(page, "weigh", "seat") == "weigh":
        page.keyboard.press("w")
        page.click("button:has-text('Without it')")
    until(page, "seat")
    page.keyboard.press("Enter")
    until(page, "sweep")
    expect(page.locator("#sw-says")).to_contain_text("Now at")
    apart.kill()
    expect(page.locator("#silent")).to_be_visible()
    assert (campaign / "takes.csv").read_bytes() == kept
    sweeps.write_text(short)
    again = serve_apart(campaign, device="virtual:fast", port=apart.port)
    assert again.address == apart.address
    until(page, "begin")
    expect(page.locator("#silent")).to_be_hidden()
    expect(page.locator("h1")).to_have_text("Go on where you were.")
    page.click("button:has-text('Go on')")
    until(page, "seat")
    assert page.inner_text(".stub h2") == mark
    page.keyboard.press("Enter")
    until(page, "verdict")
    page.keyboard.press("Enter")
    until(page, "cone")
    assert [t.specimen for t in open_package(campaign).takes.values()] == ["heron", mark]
    assert check_package(campaign).faults == ()


def test_axe_finds_nothing_in_any_state_of_the_bench(
    campaign: Path, tmp_path: Path, serve: Callable, open_page: Callable
):
    unweighed(campaign)

    def look(page: Page, *wanted: str) -> None:
        shown = until(page, *wanted)
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            assert faults_of(page) == [], f"{shown}, {scheme}"

    def to_the_seat(page: Page) -> None:
        page.keyboard.press("Enter")
        if until(page, "weigh", "seat") == "weigh":
            page.click("button:has-text('Without it')")
            until(page, "seat")

    empty = tmp_path / "empty"
    empty.mkdir()
    page = open_page(serve(empty).address)
    look(page, "empty")
    served = serve(campaign, device="virtual")
    page.goto(served.address + "bench")
    look(page, "begin")
    page.fill("#target", "140")  # out of reach: the level is sought until it is stopped
    page.click("button:has-text('Begin')")
    look(page, "cone")
    page.keyboard.press("Enter")
    look(page, "weigh")
    page.click("button:has-text('Without it')")
    look(page, "seat")
    page.keyboard.press("Enter")
    until(page, "level")
    expect(page.locator("#lv-unit")).to_have_text("dB too quiet")
    look(page, "level")
    page.keyboard.press("Escape")
    until(page, "seat")
    page.goto("about:blank")
    served.end()
    (tmp_path / "config" / "rigs.json").unlink()  # the rig remembers its target
    for device, wanted in (
        ("virtual:fast", "verdict"), ("virtual:fast,burst", "verdict"), ("virtual:fast,unplugged", "fault"),
    ):  # fmt: skip
        served = serve(campaign, device=device)
        page.goto(served.address + "bench")
        page.click(".keys .go")
        if until(page, "cone", "seat", "verdict") == "verdict":  # left by the server before
            page.click("button:has-text('Keep')")
        if until(page, "cone", "seat") == "cone":
            to_the_seat(page)
        page.keyboard.press("Enter")
        look(page, wanted)
        page.goto("about:blank")
        served.end()
    sweeps = campaign / "sweeps.csv"
    sweeps.write_text(sweeps.read_text().replace(",0.7,", ",4,"))
    served = serve(campaign, device="virtual")
    page.add_init_script(KEEP_SOURCES)
    page.goto(served.address + "bench")
    page.click("button:has-text('Go on')")
    until(page, "fault")
    page.click("button:has-text('Go on')")
    until(page, "seat")
    page.keyboard.press("Enter")
    page.wait_for_function(  # the picture of the sweep stands still, so that it can be looked at in peace
        "() => document.getElementById('bench').dataset.stage === 'sweep' && (sources.forEach(s => s.close()), true)"
    )
    look(page, "sweep")
