"""Differences in a real browser: values read off; a closer look by mouse, keyboard and fields, all charts together.

Oracle: the frame that a chart was drawn in, from which the place of every frequency follows.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable

import pytest
from at_the_page import faults_of, settled
from playwright.sync_api import Locator, Page, expect
from workshop import Workshop

RESPONSE, DISTORTION = 'figure[data-curves="response-values"]', 'figure[data-curves="distortion-values"]'


def frame_of(page: Page, key: str, which: int = 0) -> dict:
    """Where the axes of a chart lie."""
    held = json.loads(
        page.locator(f"#{key}-values").inner_text() or page.locator(f"#{key}-values").text_content() or ""
    )
    return dict(held["frames"][which])


def x_of(page: Page, plot: Locator, frame: dict, hertz: float) -> float:
    """Place of a frequency on the screen, px."""
    box = plot.locator("svg").bounding_box()
    assert box is not None
    share = math.log(hertz / frame["x"][0]) / math.log(frame["x"][1] / frame["x"][0])
    total = plot.locator("svg").evaluate("e => e.viewBox.baseVal.width")
    return float(box["x"] + (frame["left"] + share * frame["width"]) * box["width"] / total)


def drag(page: Page, key: str, low: float, high: float) -> None:
    """Drag along a chart from one frequency to another."""
    plot = page.locator(f'figure[data-curves="{key}-values"] .plot:visible')
    plot.scroll_into_view_if_needed()
    frame = frame_of(page, key)
    box = plot.locator("svg").bounding_box()
    assert box is not None
    y = box["y"] + min(80.0, box["height"] / 2)
    page.mouse.move(x_of(page, plot, frame, low), y)
    page.mouse.down()
    page.mouse.move(x_of(page, plot, frame, math.sqrt(low * high)), y)
    expect(plot.locator(".brush")).to_be_visible()
    page.mouse.move(x_of(page, plot, frame, high), y)
    page.mouse.up()


def spans(page: Page, low: float, high: float) -> None:
    """Wait until response and distortion both show a stretch of the band, and the fields say so."""
    for key in ("response", "distortion"):
        page.wait_for_function(
            "([id, low, high]) => { const e = document.getElementById(id); if (!e) return false; "
            "const x = JSON.parse(e.textContent).frames[0].x; return x[0] === low && x[1] === high; }",
            arg=[f"{key}-values", low, high],
        )
    settled(page)


@pytest.fixture
def page(read_page: Callable[..., str], open_page: Callable[..., Page]) -> Page:
    opened = open_page(read_page() + "differences")
    spans(opened, 200.0, 20000.0)
    return opened


def test_values_are_read_off_both_charts_at_one_frequency(page: Page):
    plot = page.locator(f"{RESPONSE} .plot:visible")
    plot.scroll_into_view_if_needed()
    frame = frame_of(page, "response")
    box = plot.locator("svg").bounding_box()
    assert box is not None
    page.mouse.move(x_of(page, plot, frame, 1000.0), box["y"] + 100)
    said = page.locator(f"{RESPONSE} .readout")
    expect(said).to_contain_text("1.00\u00a0kHz:")
    for name in ("Heather", "Gorse", "Bracken", "rigid cone"):
        expect(said).to_contain_text(name)
    expect(said).to_contain_text("dB")
    expect(page.locator(f"{DISTORTION} .readout")).to_contain_text("1.00\u00a0kHz:")
    page.mouse.move(box["x"] + 2, box["y"] - 5)
    expect(said).to_contain_text("Point at the chart")
    expect(page.locator(f"{DISTORTION} .readout")).to_contain_text("Point at the chart")


def test_a_closer_look_by_mouse_moves_all_charts_and_goes_back(page: Page):
    drag(page, "response", 2050.0, 4900.0)
    spans(page, 2000.0, 5000.0)
    expect(page.locator("#low-hz")).to_have_value("2050")
    expect(page.locator("#brush-says")).to_contain_text("stretched sideways")
    page.reload()
    spans(page, 2000.0, 5000.0)
    expect(page.locator("#low-hz")).to_have_value("2000")
    drag(page, "distortion", 2100.0, 4900.0)
    page.get_by_role("button", name="Show the whole band").click()
    spans(page, 200.0, 20000.0)
    expect(page.locator("#low-hz")).to_have_value("")


def test_a_slip_of_the_hand_and_escape_change_nothing(page: Page):
    drag(page, "response", 1000.0, 1080.0)
    expect(page.locator(".brush")).to_have_count(0)
    plot = page.locator(f"{RESPONSE} .plot:visible")
    box = plot.locator("svg").bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 200, box["y"] + 80)
    page.mouse.down()
    page.mouse.move(box["x"] + 400, box["y"] + 80)
    expect(plot.locator(".brush")).to_be_visible()
    page.keyboard.press("Escape")
    expect(plot.locator(".brush")).to_have_count(0)
    page.mouse.up()
    expect(page.locator("#low-hz")).to_have_value("")
    spans(page, 200.0, 20000.0)


def test_a_closer_look_by_keyboard_alone_keeps_the_chart_in_hand(page: Page):
    plot = page.locator(f"{RESPONSE} .plot:visible")
    plot.focus()
    page.keyboard.press("Enter")
    expect(page.locator("#brush-says")).to_contain_text("From 2\u00a0kHz. Step to the other end")
    expect(plot.locator(".brush")).to_be_visible()
    page.keyboard.press("Escape")
    expect(page.locator("#brush-says")).to_contain_text("Drag along the chart")
    page.keyboard.press("Enter")
    for _ in range(4):
        page.keyboard.press("PageDown")
    page.keyboard.press("Enter")
    spans(page, 2000.0, 5000.0)
    expect(page.locator(f"{RESPONSE} .plot:visible")).to_be_focused()
    page.keyboard.press("w")
    spans(page, 200.0, 20000.0)
    expect(page.locator(f"{RESPONSE} .plot:visible")).to_be_focused()


def test_a_closer_look_by_its_fields(page: Page):
    page.locator("#low-hz").fill("2100")
    page.locator("#high-hz").fill("900")
    page.keyboard.press("Enter")
    spans(page, 500.0, 5000.0)
    page.locator("#low-hz").fill("")
    page.locator("#low-hz").blur()
    spans(page, 200.0, 20000.0)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_in_a_closer_look_on_a_phone(
    read_page: Callable[..., str],
    open_page: Callable[..., Page],
    scheme: str,
):
    page = open_page(
        read_page(Workshop(materials=4)) + "differences?low_hz=1000&high_hz=5000", scheme=scheme, width=390
    )
    spans(page, 1000.0, 5000.0)
    assert faults_of(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_no_rigid_cone_stands_behind_cones_of_several_shapes(
    read_page: Callable[..., str], open_page: Callable[..., Page]
):
    page = open_page(read_page(Workshop(materials=2, prints=1)) + "differences")
    page.locator("#chooser summary").click()
    boxes = page.locator(".picker input")
    names = [str(name) for name in boxes.evaluate_all("all => all.map(e => e.value)")]
    assert len(names) > 2
    boxes.nth(0).check()
    expect(page.locator("#curves")).to_contain_text("Dots: a rigid cone of this shape")
    for name in names[1:]:
        page.get_by_role("checkbox", name=name, exact=True).check()
    expect(page.locator("#curves")).to_contain_text("so no one rigid cone stands behind them")
    settled(page)
    drawn = json.loads(page.locator("#response-values").text_content() or "")
    assert "rigid cone" not in [curve["name"] for curve in drawn["series"]]
