"""A take that is set aside in Cones stays so, while its sitting goes on and after frusta was started again.

Oracle: takes.csv on the disk.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from at_the_page import by_keyboard, settled, until
from playwright.sync_api import expect

from frusta.campaign.package import open_package

pytestmark = pytest.mark.timeout(1500)


def test_a_take_set_aside_amid_a_sitting_does_not_come_back(campaign: Path, serve: Callable, open_page: Callable):
    served = serve(campaign)
    page = open_page(served.address + "bench", expect="ERR_")
    until(page, "begin")
    page.keyboard.press("Enter")
    by_keyboard(page)
    until(page, "cone")
    page.goto(served.address + "cones?cone=heron")
    settled(page)
    aside = page.evaluate(
        "async () => (await fetch(page.base + '/api/tables/takes/heron-1', {method: 'DELETE'})).status"
    )
    assert aside == 200
    assert open_package(campaign).takes == {}
    page.goto(served.address + "bench")
    by_keyboard(page)
    until(page, "cone")
    (kept,) = open_package(campaign).takes
    assert kept != "heron-1"
    page.goto("about:blank")
    port = int(served.address.split(":")[2].split("/")[0])
    served.end()
    again = serve(campaign, port=port)
    page.goto(again.address + "bench")
    expect(page.locator("h1")).to_have_text("Go on where you were.")
    page.keyboard.press("Enter")
    by_keyboard(page)
    until(page, "cone")
    names = set(open_package(campaign).takes)
    assert kept in names
    assert len(names) == 2
    assert "heron-1" not in names
    assert (campaign / "recordings" / next(iter(open_package(campaign).sessions)) / "heron-1.wav").exists()
