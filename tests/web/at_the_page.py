"""What the tests in a real browser share: waiting for a step, for a page that stands still, one seating, axe-core."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Page

AXE = (Path(__file__).parent / "axe" / "axe.min.js").read_text("utf-8")


def until(page: Page, *wanted: str) -> str:
    """Wait until the bench shows one of the steps, and say which."""
    shown = page.wait_for_selector(", ".join(f'#bench[data-stage="{step}"]' for step in wanted))
    assert shown is not None
    return shown.get_attribute("data-stage") or ""


def settled(page: Page) -> None:
    """Wait until nothing of the page is on its way: no part loads, is swapped or faded, no work is shown as running."""
    page.wait_for_function(
        "() => document.readyState === 'complete' && !document.querySelector('.htmx-request, .htmx-swapping, "
        '.htmx-settling, .htmx-added, [data-loads=""], [data-working], #reading progress, #preview progress, '
        "#published progress') && [...document.querySelectorAll('figure[data-curves]')].every(f => f.dataset.read)"
    )


def faults_of(page: Page) -> list[str]:
    """What axe-core finds in the page once it stands still."""
    settled(page)
    page.evaluate(AXE)
    found = page.evaluate("async () => (await axe.run(document, {resultTypes: ['violations']})).violations")
    return [f"{v['id']}: {n['target']} {n['failureSummary']}" for v in found for n in v["nodes"]]


def by_keyboard(page: Page) -> None:
    """One seating, all with Enter."""
    until(page, "cone")
    page.keyboard.press("Enter")
    if until(page, "weigh", "seat") == "weigh":
        page.keyboard.type("5.2")
        page.keyboard.press("Enter")
    until(page, "seat")
    page.keyboard.press("Enter")
    until(page, "verdict")
    page.keyboard.press("Enter")


def by_mouse(page: Page) -> None:
    """One seating, all with the mouse but for the mass."""
    until(page, "cone")
    page.click("button:has-text('I have it')")
    if until(page, "weigh", "seat") == "weigh":
        page.fill("#mass", "5,2")
        page.click("button:has-text('Write it down')")
    until(page, "seat")
    page.click("button:has-text('It is on')")
    until(page, "verdict")
    page.click(".keys .go")
