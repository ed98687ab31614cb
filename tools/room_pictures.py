"""Photograph the page's rooms with the demo campaign: ``python tools/room_pictures.py DEMO_FOLDER OUT``.

Works on a copy of the campaign, with the virtual rig at the bench; needs Playwright and the system's Chromium.
"""

from __future__ import annotations

import io
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from PIL import Image
from playwright.sync_api import Page, sync_playwright

CHROMIUM = "/usr/bin/chromium"
WIDTH, HEIGHT = 1200, 900
COLOURS = 64
"""Of a picture's palette: flat colours and text need no more, and the file is a third as large."""
STEPS = ("cone", "weigh", "seat")
CONE = "sorrel-st104-1"
PATIENCE_MS = 300_000
STILL = (
    "() => document.readyState === 'complete' && !document.querySelector('.htmx-request, .htmx-swapping, "
    '.htmx-settling, .htmx-added, [data-loads=""], [data-working], #reading progress, #preview progress\') '
    "&& [...document.querySelectorAll('figure[data-curves]')].every(f => f.dataset.read)"
)


def photograph(page: Page, file: Path) -> None:
    """Wait until nothing of the page moves any more, then write it with few colours."""
    page.wait_for_function(STILL)
    picture = Image.open(io.BytesIO(page.screenshot(animations="disabled", caret="hide")))
    picture.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE).save(file, optimize=True)
    print(file)


def to_the_verdict(page: Page) -> None:
    """Press Enter at every step of a seating until its verdict is there."""
    while True:
        shown = page.wait_for_selector(", ".join(f"#bench[data-stage='{s}']" for s in (*STEPS, "verdict")))
        step = shown.get_attribute("data-stage") if shown else None
        if step == "verdict":
            return
        if step == "weigh":
            page.keyboard.type("7.4")
        page.keyboard.press("Enter")
        page.wait_for_selector(f"#bench:not([data-stage='{step}'])")


@contextmanager
def served(campaign: Path) -> Iterator[str]:
    """Open a campaign as `frusta open` does, the virtual rig at its bench; gives the address."""
    command = [sys.executable, "-m", "frusta", "open", str(campaign), "--port", "0", "--no-browser"]
    process = subprocess.Popen([*command, "--device", "virtual:fast"], stdout=subprocess.PIPE, text=True)
    try:
        assert process.stdout is not None
        found = re.search(r"http://\S+/", process.stdout.readline())
        if found is None:
            sys.exit("frusta open told no address")
        yield found[0]
    finally:
        process.terminate()
        process.wait(60)


def rooms_of_figures(page: Page, address: str, out: Path) -> None:
    """Cones, Differences, Next cone and Report, once all takes have been read."""
    page.goto(address + "cones")
    page.wait_for_selector("#reading progress", state="detached")
    page.click(f"text={CONE}")
    page.wait_for_selector("#card h3")
    photograph(page, out / "room-cones.png")
    for room in ("differences", "next", "report"):
        page.goto(address + room)
        if room == "report":
            page.frame_locator("#preview iframe").locator("h1").wait_for()
        photograph(page, out / f"room-{room}.png")


def bench(page: Page, address: str, out: Path) -> None:
    """The verdict of the second cone of a sitting."""
    page.goto(address + "bench")
    page.click("button:has-text('Begin')")
    to_the_verdict(page)
    page.keyboard.press("Enter")
    page.wait_for_selector("#bench:not([data-stage='verdict'])")
    to_the_verdict(page)
    photograph(page, out / "room-bench.png")


def main(demo: Path, out: Path) -> None:
    """Open copies of the demo's campaign, for the bench one without takes, and go through the rooms."""
    with tempfile.TemporaryDirectory() as work, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        for visit in (rooms_of_figures, bench):
            campaign = shutil.copytree(demo / "campaign", Path(work) / visit.__name__)
            if visit is bench:
                takes = (campaign / "takes.csv").read_text("utf-8").splitlines()
                (campaign / "takes.csv").write_text(f"{takes[0]}\n", "utf-8")
            with served(campaign) as address:
                page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT}, reduced_motion="reduce")
                page.set_default_timeout(PATIENCE_MS)
                visit(page, address, out)
                page.close()
        browser.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
