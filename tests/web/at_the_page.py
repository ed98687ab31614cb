"""What the tests in a real browser share: waiting for a step, for a page that stands still, one seating, axe-core."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Page

RINGED = (
    "() => [document.activeElement, document.activeElement.nextElementSibling].some(e => e && "
    "getComputedStyle(e).outlineStyle !== 'none' && parseFloat(getComputedStyle(e).outlineWidth) >= 2)"
)
IN_VIEW = (
    "() => { const r = document.activeElement.getBoundingClientRect();"
    " return r.bottom > 0 && r.top < innerHeight && r.right > 0 && r.left < innerWidth; }"
)
MOST_TABS = 250
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
    """One seating, all with the mouse; the mass is typed into the field that was clicked."""
    until(page, "cone")
    page.click("button:has-text('I have it')")
    if until(page, "weigh", "seat") == "weigh":
        page.click("#mass", click_count=3)
        page.keyboard.type("5,2")
        page.click("button:has-text('Write it down')")
    until(page, "seat")
    page.click("button:has-text('It is on')")
    until(page, "verdict")
    page.click(".keys .go")


def tab_to(page: Page, wanted: str, key: str = "Tab") -> None:
    """Go with Tab until what is wanted has the focus; every place on the way must show that it has it.

    Parameters
    ----------
    page : Page
    wanted : str
        A CSS selector.
    key : str
        Tab, or Shift+Tab to go back.
    """
    settled(page)
    for _ in range(MOST_TABS):
        page.keyboard.press(key)
        held = page.evaluate("document.activeElement.outerHTML.slice(0, 120)")
        if page.evaluate("document.activeElement !== document.body"):  # from the last place to the first
            if not page.evaluate(RINGED):  # the page drew itself anew under the key: come here again, at rest
                settled(page)
                page.keyboard.press("Tab" if key == "Shift+Tab" else "Shift+Tab")
                page.keyboard.press(key)
                page.wait_for_function(
                    f"() => document.activeElement === document.body || ({RINGED})()", timeout=30_000
                )
            assert page.evaluate(IN_VIEW), f"out of sight: {held}"
        if page.evaluate("(wanted) => document.activeElement.matches(wanted)", wanted):
            return
    raise AssertionError(f"Tab does not reach {wanted}; it ends at {held}")


def retype(page: Page, text: str) -> None:
    """Write over what stands in the field that has the caret."""
    page.keyboard.press("Control+A")
    page.keyboard.type(text)
