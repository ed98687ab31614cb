"""Import in a real browser: files dropped, what cannot be read beside what can, corrected in place, then written.

Oracle: the package's tables and recordings afterwards; nothing before; no place of this machine in any message.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from pathlib import Path

import pytest
import soundfile
from at_the_page import faults_of, settled
from playwright.sync_api import Page, expect

from frusta.campaign.package import open_package
from frusta.signal.sweep import Sweep, make_sweep


def wav(rate: int = 48000) -> bytes:
    """A sweep of the campaign, at the rate it names or written at another."""
    law = Sweep(50, 16000, 0.7, lead_in_s=0.1, tail_s=0.3, sample_rate_hz=48000)
    held = io.BytesIO()
    soundfile.write(held, 0.5 * make_sweep(law), rate, format="WAV", subtype="PCM_16")
    return held.getvalue()


def drop(page: Page, **files: bytes) -> None:
    """Drop files onto the page as a file manager does; ``__`` in a name stands for its point."""
    held = [[name.replace("__", "."), list(data)] for name, data in files.items()]
    page.evaluate(
        """files => { const held = new DataTransfer();
        for (const [name, data] of files) held.items.add(new File([new Uint8Array(data)], name));
        document.dispatchEvent(new DragEvent('drop', {dataTransfer: held, bubbles: true, cancelable: true})); }""",
        held,
    )


@pytest.fixture
def quay(campaign: Path) -> Path:
    (campaign / "sessions.csv").write_text("session,rig,date\nmay,jetty,2026-05-02\n")
    return campaign


def test_the_good_are_taken_in_the_others_say_why(quay: Path, serve: Callable, open_page: Callable[..., Page]):
    page = open_page(serve(quay).address + "import", expect="422")
    before = {file.name: file.read_bytes() for file in quay.iterdir()}
    with page.expect_response("**/api/import/files") as answer:
        drop(page, text__wav=b"no sound", rush_1__wav=wav(), half__wav=wav()[:3000], odd__wav=wav(44100))
    assert "One file stayed out: text.wav must be what its name says" in answer.value.json()["said"]
    expect(page.get_by_role("heading", level=1)).to_contain_text("3 files looked at. 3 things must still be told.")
    rows = page.locator(".understood tbody tr")
    expect(rows.nth(1)).to_contain_text("Cannot be read, so it stays out. half.wav: header and file must agree")
    expect(rows.nth(2)).to_contain_text("its rate is 48000 Hz, the recording's 44100 Hz: choose the sweep")
    expect(page.get_by_role("button", name=re.compile("Write"))).to_have_count(0)
    assert "/tmp" not in page.locator("main").inner_text()
    assert faults_of(page) == []
    page.get_by_role("button", name="Leave out odd.wav").click()
    page.get_by_label("Specimen, rush_1.wav").select_option("sedge-1")
    expect(page.get_by_label("Specimen, rush_1.wav")).to_have_value("sedge-1")
    write = page.get_by_role("button", name=re.compile("Write 1 take"))
    expect(write).to_be_visible()
    assert {file.name: file.read_bytes() for file in quay.iterdir()} == before
    page.locator("body").press("w")
    page.wait_for_url("**/cones")
    takes = open_package(quay).takes
    assert [(t.specimen, t.session, t.seating) for t in takes.values()] == [("sedge-1", "may", 1)]
    assert [(quay / t.recording).read_bytes() for t in takes.values()] == [wav()]


def test_a_broken_zip_is_told_by_its_own_name(quay: Path, serve: Callable, open_page: Callable[..., Page]):
    page = open_page(serve(quay).address + "import", width=390)
    drop(page, broken__zip=b"PK\x03\x04" + b"x" * 500)
    fault = page.locator(".fault")
    expect(fault).to_contain_text("broken.zip: must be a whole zip")
    expect(fault).to_contain_text("Fetch or pack it again.")
    assert "/tmp" not in page.locator("main").inner_text()
    assert faults_of(page) == []


def test_nothing_but_refused_files_is_one_message(quay: Path, serve: Callable, open_page: Callable[..., Page]):
    page = open_page(serve(quay).address + "import", expect="422")
    drop(page, song__mp3=b"ID3")
    expect(page.get_by_role("alert")).to_contain_text(
        "files must be WAV, FLAC or a zip of a campaign", ignore_case=True
    )
    settled(page)
    expect(page.locator(".understood")).to_have_count(0)


def test_on_a_phone_the_table_is_read_downwards(quay: Path, serve: Callable, open_page: Callable[..., Page]):
    page = open_page(serve(quay).address + "import", width=390, scheme="dark")
    drop(page, rush_1__wav=wav())
    expect(page.get_by_label("Seating, rush_1.wav")).to_be_in_viewport()
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert faults_of(page) == []
