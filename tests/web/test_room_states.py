"""Every room but the Bench in its states: empty, without takes, faulty, loading, read, gone; axe-core, light and dark.

Oracle: axe-core; the words that each state must say; nothing wider than the screen.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from at_the_page import faults_of
from playwright.sync_api import Page, expect
from workshop import Workshop

from frusta.web.desk import Desk

ROOMS = ("cones", "differences", "next", "report", "import")
SMALL = Workshop(materials=2, profiles=1, prints=2, seatings=1)
EMPTY = {
    "cones": "No cone is listed yet",
    "differences": "Nothing to compare yet",
    "next": "Nothing to design from yet",
    "report": "Nothing to publish yet",
    "import": "Take in recordings made elsewhere",
}
WITHOUT_TAKES = {
    "cones": "cones",
    "differences": "No take yet, so nothing to compare",
    "next": "should break up at",
    "report": "No take yet, so nothing to publish",
    "import": "Take in recordings made elsewhere",
}


def looked_at(page: Page, said: str) -> None:
    """The room says it, axe finds nothing, and nothing is wider than the screen."""
    expect(page.get_by_role("heading", level=1)).to_contain_text(said)
    assert faults_of(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= page.evaluate("innerWidth")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_there(tmp_path: Path, serve: Callable[..., Any], open_page: Callable[..., Page], scheme: str):
    (tmp_path / "new").mkdir()
    page = open_page(serve(tmp_path / "new").address + "cones", scheme=scheme, width=390)
    for room in ROOMS:
        page.goto(page.url.rpartition("/")[0] + f"/{room}")
        looked_at(page, EMPTY[room])


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_tables_without_takes(campaign: Path, serve: Callable[..., Any], open_page: Callable[..., Page], scheme: str):
    page = open_page(serve(campaign).address + "cones", scheme=scheme, width=390)
    for room in ROOMS:
        page.goto(page.url.rpartition("/")[0] + f"/{room}")
        looked_at(page, WITHOUT_TAKES[room])


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_fault_in_a_table(campaign: Path, serve: Callable[..., Any], open_page: Callable[..., Page], scheme: str):
    table = campaign / "specimens.csv"
    table.write_text(table.read_text().replace("4.9", "heavy"))
    page = open_page(serve(campaign).address + "cones", scheme=scheme)
    for room in ("cones", "differences", "next", "report"):
        page.goto(page.url.rpartition("/")[0] + f"/{room}")
        fault = page.locator(".fault").first
        expect(fault).to_contain_text("specimens.csv")
        expect(fault).to_contain_text("What to do")
        assert faults_of(page) == []


@pytest.mark.parametrize(("scheme", "width"), [("light", 1280), ("dark", 390)])
def test_takes_that_were_read(read_page: Callable[..., str], open_page: Callable[..., Page], scheme: str, width: int):
    address = read_page(SMALL)
    page = open_page(address + "cones", scheme=scheme, width=width)
    tag = page.locator("a.cone").first.get_attribute("href") or ""
    for path in ("cones", f"cones?{tag.rpartition('?')[2]}", "differences", "next", "report", "tables/specimens"):
        page.goto(address + path)
        if path == "report":
            expect(page.locator("#preview iframe")).to_be_visible()
        assert faults_of(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path


def test_while_takes_are_read_it_says_how_far_and_can_be_stopped(
    campaign: Path, serve: Callable[..., Any], open_page: Callable[..., Page], monkeypatch: pytest.MonkeyPatch
):
    (campaign / "takes.csv").write_text("take,specimen,rig,sweep,seating,recording\nt1,rush-1,jetty,short,1,t1.wav\n")
    go_on = threading.Event()

    def read_slowly(self: Desk) -> None:
        def work(progress: Callable[[int, int], None]) -> None:
            while not go_on.wait(0.05):
                progress(3, 7)

        self.works.start("reading", "Reading takes", work)

    monkeypatch.setattr(Desk, "read_takes", read_slowly)
    served = serve(campaign)
    page = open_page(served.address + "differences")
    strip = page.locator("#reading")
    expect(strip).to_contain_text("Reading takes, 3 of 7")
    looked_at_while(page, "The takes are being read.")
    page.goto(served.address + "cones")
    expect(strip).to_contain_text("Reading takes, 3 of 7")
    strip.get_by_role("button", name="Stop").click()
    expect(strip).to_contain_text("Reading was stopped.")
    assert faults_of(page) == []
    go_on.set()


def looked_at_while(page: Page, said: str) -> None:
    expect(page.get_by_role("heading", level=1)).to_contain_text(said)
    expect(page.get_by_role("progressbar")).to_be_visible()


@pytest.mark.parametrize(
    ("room", "do"),
    [
        ("cones", lambda page: page.locator("body").press("u")),
        ("differences", lambda page: page.locator("#chooser input[type=radio]").first.dispatch_event("change")),
        ("next", lambda page: page.locator("#n-wall_mm").fill("0.9")),
        ("report", lambda page: page.get_by_role("button", name="Save the words").click()),
    ],
)
def test_when_frusta_is_gone_the_room_says_so_and_keeps_what_it_shows(
    read_page: Callable[..., str], open_page: Callable[..., Page], room: str, do: Callable[[Page], None]
):
    page = open_page(read_page(SMALL) + room, expect="ERR_|console error: htmx:")
    if room == "report":
        expect(page.locator("#preview iframe")).to_be_visible()
    assert faults_of(page) == []
    before = page.locator("h1").inner_text()
    page.context.set_offline(True)
    do(page)
    expect(page.get_by_role("alert")).to_contain_text("frusta does not answer.")
    expect(page.get_by_role("alert")).to_contain_text("What was saved is safe.")
    assert page.locator("h1").inner_text() == before
    assert faults_of(page) == []
