"""The whole job by mouse, as far as a mouse can: from an empty folder over the bench to the published report.

What is typed goes into a field that was clicked; no key does anything else. Oracle: the package and the report on disk.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from at_the_page import by_mouse, settled, until
from playwright.sync_api import Page, expect

from frusta.campaign.check import check_package
from frusta.campaign.package import open_package

pytestmark = pytest.mark.timeout(1500)
LONG_MS = 600_000


def write(page: Page, field: str, text: str) -> None:
    """Click a field three times, which takes hold of what stands in it, and type."""
    page.click(field, click_count=3)
    page.keyboard.type(text)


def choose(page: Page, field: str, choice: str) -> None:
    """Choose in a list, which the browser draws beside the page, where no mouse of a test reaches."""
    page.select_option(field, choice)


def test_from_an_empty_folder_to_the_published_report_by_mouse(tmp_path: Path, serve: Callable, open_page: Callable):
    folder = tmp_path / "shed"
    folder.mkdir()
    page = open_page(serve(folder).address)
    until(page, "empty")
    write(page, "#title", "Cones for the shed")
    page.click("button:has-text('Begin')")
    page.wait_for_url("**/tables/materials")
    for field, text in (("material", "sedge"), ("name", "Sedge"), ("polymer", "PETG")):
        write(page, f"#f-{field}", text)
    page.click("button:has-text('Save')")
    expect(page.locator("#told")).to_contain_text("Added sedge.")
    page.click(".rooms a:has-text('Cones')")
    page.click("summary:has-text('Add a specimen')")
    write(page, "#new-specimen", "sedge-1")
    for field, choice in (("kind", "cone"), ("material", "sedge"), ("recipe", "walls"), ("profile", "st90")):
        choose(page, f"#new-{field}", choice)
    page.click("button:has-text('Add it')")
    expect(page.locator("#told")).to_contain_text("Added sedge-1.")
    page.click(".rooms a:has-text('Bench')")
    until(page, "begin")
    write(page, "#seatings", "1")
    page.click("button:has-text('Begin')")
    by_mouse(page)
    until(page, "cone")
    page.click("button:has-text('Enough for today')")  # and on second thoughts
    until(page, "cone")
    expect(page.locator(".stub h2")).to_have_text("check-1")
    page.click("button:has-text('Undo')")
    expect(page.locator(".stub h2")).not_to_have_text("check-1")
    for _ in range(3):
        by_mouse(page)
    until(page, "done")
    package = open_package(folder)
    assert sorted((t.specimen, t.seating) for t in package.takes.values()) == [
        ("check-1", 1), ("check-1", 2), ("pla-st90-1", 1), ("sedge-1", 1),
    ]  # fmt: skip
    assert check_package(folder).faults == ()
    page.click("text=See the differences")
    page.wait_for_url("**/differences")
    page.wait_for_selector("#figure svg.chart", timeout=LONG_MS)
    page.wait_for_selector("#curves svg.chart")
    settled(page)
    page.hover("#curves .plot svg")
    expect(page.locator("#curves .readout").first).to_contain_text("Hz")
    page.click(".rooms a:has-text('Report')")
    page.wait_for_selector("iframe.paper", timeout=LONG_MS)
    settled(page)
    page.click("label:text-is('Response')")
    page.click("button:has-text('Publish')")
    page.wait_for_selector("text=Published to cones-for-the-shed-report", timeout=LONG_MS)
    report = (tmp_path / "cones-for-the-shed-report" / "report.html").read_text("utf-8")
    assert "Sedge" in report
    assert 'id="prints"' in report
    assert 'id="response"' not in report
