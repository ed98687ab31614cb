"""Report in a real browser: what goes in is chosen, previewed and published; the choice stays on the page.

Oracle: the files that were published, and the page within them.
"""

from __future__ import annotations

import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from at_the_page import faults_of
from jpegs import PLAIN
from playwright.sync_api import Page, expect
from workshop import Workshop

SMALL = Workshop(materials=2, profiles=1, prints=2, seatings=1, driver=False)


@pytest.fixture
def page(read_page: Callable[..., str], open_page: Callable[..., Page], tmp_path: Path) -> Page:
    address = read_page(SMALL)
    root = tmp_path / "hedgerow"
    first = (root / "specimens.csv").read_text("utf-8").splitlines()[1].split(",")[0]
    (root / "photos").mkdir()
    (root / "photos" / f"{first}-1.jpg").write_bytes(PLAIN)
    opened = open_page(address + "report")
    expect(opened.locator("#preview iframe")).to_be_visible()
    return opened


def previewed(page: Page, *, holds: str = "", lacks: str = "") -> None:
    """Wait until the preview shows a heading, or shows the report without one."""
    inside = page.frame_locator("#preview iframe")
    if holds:
        expect(inside.get_by_role("heading", name=holds)).to_have_count(1)
    if lacks:
        expect(inside.get_by_role("heading", name="Response")).to_have_count(1)
        expect(inside.get_by_role("heading", name=lacks)).to_have_count(0)


def published(page: Page, tmp_path: Path) -> Path:
    """Publish by keyboard and return the folder."""
    page.locator("h1").click()
    page.keyboard.press("p")
    expect(page.locator("#published")).to_contain_text("Published to")
    (folder,) = tmp_path.glob("*-report")
    return folder


def test_what_is_unticked_is_gone_from_preview_and_report_and_stays_unticked(page: Page, tmp_path: Path):
    previewed(page, holds="Falling silent")
    assert faults_of(page) == []
    page.locator("#out input[value=decays]").uncheck()
    page.get_by_role("button", name="Preview this").click()
    previewed(page, lacks="Falling silent")
    expect(page.locator("#out input[value=decays]")).not_to_be_checked()
    page.locator("#out input[name=slides]").check()
    folder = published(page, tmp_path)
    assert "Falling silent" not in (folder / "report.html").read_text("utf-8")
    assert list((folder / "slides").glob("response-*.png"))
    expect(page.locator("#out input[value=decays]")).not_to_be_checked()
    expect(page.locator("#out input[name=slides]")).to_be_checked()
    page.reload()
    expect(page.locator("#out input[value=decays]")).not_to_be_checked()
    expect(page.locator("#out input[name=slides]")).to_be_checked()


def test_photos_go_along_only_with_the_full_package(page: Page, tmp_path: Path):
    expect(page.locator(".checks")).to_contain_text("One photo; they stay out unless you choose the full package.")
    folder = published(page, tmp_path)
    with zipfile.ZipFile(next(folder.glob("*.zip"))) as archive:
        assert [n for n in archive.namelist() if n.startswith("photos/")] == []
    page.locator("#out input[name=private]").check()
    with page.expect_response("**/api/report"):
        page.get_by_role("button", name="Publish").click()
    ended = page.evaluate(
        """async () => { for (;;) {
        const all = await (await fetch(`${document.body.dataset.base}/api/works`)).json();
        const work = all.find(w => w.name === 'publish');
        if (work.standing !== 'running') return work.standing;
        await new Promise(go => setTimeout(go, 100)); } }"""
    )
    assert ended == "done"
    with zipfile.ZipFile(next(folder.glob("*.zip"))) as archive:
        (name,) = (n for n in archive.namelist() if n.startswith("photos/"))
        assert archive.read(name) == PLAIN
