"""The whole job by keyboard alone: from an empty folder over the bench to the published report.

Nothing is clicked and nothing is filled in from outside: keys only. Oracle: the package and the report on the disk.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from at_the_page import by_keyboard, retype, settled, tab_to, until
from playwright.sync_api import Page, expect

from frusta.campaign.check import check_package
from frusta.campaign.package import open_package

pytestmark = pytest.mark.timeout(1500)
LONG_MS = 600_000


def on_the_ticket(page: Page) -> None:
    """The focus has followed the step: what is next is one key away."""
    page.wait_for_function("() => document.activeElement.closest('#bench') !== null")


def add_a_material(page: Page) -> None:
    tab_to(page, "#f-material")
    page.keyboard.type("sedge")
    tab_to(page, "#f-name")
    page.keyboard.type("Sedge")
    tab_to(page, "#f-polymer")
    page.keyboard.type("PETG")
    page.keyboard.press("Enter")
    expect(page.locator("#told")).to_contain_text("Added sedge.")
    tab_to(page, ".rooms a")  # out of the form: letters and numbers are keys again


def add_a_cone(page: Page) -> None:
    tab_to(page, "main details > summary")
    page.keyboard.press("Enter")
    tab_to(page, "#new-specimen")
    page.keyboard.type("sedge-1")
    for field, choice in (("kind", "cone"), ("material", "sedge"), ("recipe", "walls"), ("profile", "st90")):
        tab_to(page, f"#new-{field}")
        page.keyboard.type(choice)  # a list goes to what is typed
        expect(page.locator(f"#new-{field}")).to_have_value(choice)
    tab_to(page, "details[open] button.go")
    page.keyboard.press("Enter")
    expect(page.locator("#told")).to_contain_text("Added sedge-1.")


def test_from_an_empty_folder_to_the_published_report_by_keyboard_alone(
    tmp_path: Path, serve: Callable, open_page: Callable
):
    folder = tmp_path / "shed"
    folder.mkdir()
    page = open_page(serve(folder).address)
    until(page, "empty")
    page.keyboard.type("Cones for the quay")  # the caret is where the one answer goes
    page.keyboard.press("Enter")
    page.wait_for_url("**/tables/materials")
    add_a_material(page)
    page.keyboard.press("2")
    page.wait_for_url("**/cones")
    add_a_cone(page)
    tab_to(page, ".rooms a")
    page.keyboard.press("1")
    page.wait_for_url("**/bench*")
    until(page, "begin")
    on_the_ticket(page)
    tab_to(page, "#seatings")
    retype(page, "1")
    page.keyboard.press("Enter")
    for _ in range(4):
        until(page, "cone")
        on_the_ticket(page)
        by_keyboard(page)
    until(page, "done")
    on_the_ticket(page)
    package = open_package(folder)
    assert sorted((t.specimen, t.seating) for t in package.takes.values()) == [
        ("check-1", 1), ("check-1", 2), ("pla-st90-1", 1), ("sedge-1", 1),
    ]  # fmt: skip
    assert {s: package.specimens[s].mass_g for s in ("check-1", "pla-st90-1", "sedge-1")} == dict.fromkeys(
        ("check-1", "pla-st90-1", "sedge-1"), 5.2
    )
    assert check_package(folder).faults == ()
    page.keyboard.press("Enter")
    page.wait_for_url("**/differences")
    page.wait_for_selector("#figure svg.chart", timeout=LONG_MS)
    page.wait_for_selector("#curves svg.chart")
    settled(page)
    tab_to(page, "#curves .plot")
    page.keyboard.press("ArrowRight")
    expect(page.locator("#curves .readout").first).to_contain_text("kHz:")
    page.keyboard.press("5")
    page.wait_for_selector("iframe.paper", timeout=LONG_MS)
    settled(page)
    page.keyboard.press("p")
    page.wait_for_selector("text=Published to cones-for-the-quay-report", timeout=LONG_MS)
    report = tmp_path / "cones-for-the-quay-report" / "report.html"
    assert "Sedge" in report.read_text("utf-8")


def test_every_key_of_the_bench_does_what_stands_on_it(campaign: Path, serve: Callable, open_page: Callable):
    """Not today, repeat, undo, keep anyway, without a mass: the focus follows each."""
    served = serve(campaign, device="virtual:fast,burst")
    page = open_page(served.address + "bench")
    until(page, "begin")
    page.keyboard.press("Enter")
    number = ""

    def moved(step: str) -> None:
        """Wait for the next state; it is this step, and the focus is in it."""
        nonlocal number
        page.wait_for_function("n => document.getElementById('bench').dataset.number !== n", arg=number)
        assert until(page, step) == step
        on_the_ticket(page)
        number = page.get_attribute("#bench", "data-number") or ""

    moved("cone")
    expect(page.locator(".stub h2")).to_have_text("heron")
    page.keyboard.press("s")
    moved("cone")
    expect(page.locator(".stub h2")).not_to_have_text("heron")
    page.keyboard.press("u")
    moved("cone")
    expect(page.locator(".stub h2")).to_have_text("heron")
    page.keyboard.press("Enter")
    moved("seat")
    page.keyboard.press("Enter")
    until(page, "verdict")
    expect(page.locator(".stamp")).to_have_text("Repeat")  # a bang was put into the first sweep
    number = page.get_attribute("#bench", "data-number") or ""
    page.keyboard.press("k")
    moved("cone")
    page.keyboard.press("u")
    moved("verdict")
    assert open_package(campaign).takes == {}
    page.keyboard.press("Enter")
    page.wait_for_selector(f"#bench[data-stage=verdict]:not([data-number='{number}'])")
    expect(page.locator(".stamp")).to_contain_text("Keep")
    number = page.get_attribute("#bench", "data-number") or ""
    page.keyboard.press("Enter")
    moved("cone")
    assert list(open_package(campaign).takes) == ["heron-1.2"]
    while page.inner_text(".stub h2") != "sedge-1":
        page.keyboard.press("s")
        moved("cone")
    page.keyboard.press("Enter")
    moved("weigh")
    expect(page.locator("#mass")).to_be_focused()
    tab_to(page, "[data-press=NotWeighed]")
    page.keyboard.press("Enter")
    moved("seat")
    page.keyboard.press("?")
    expect(page.locator("#help")).to_be_visible()
    page.keyboard.press("Escape")
    expect(page.locator("#help")).to_be_hidden()
    assert check_package(campaign).faults == ()
