"""Photos on the page: made small, kept without place and time, taken away, brought back, published only if chosen.

Oracle: the package's files byte by byte; what a browser sends is read as a JPEG's own size says.
"""

from __future__ import annotations

import struct
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from at_the_page import faults_of
from jpegs import PLAIN, taken
from playwright.sync_api import Page, expect

from frusta.web.access import Access
from frusta.web.app import make_app
from frusta.web.desk import Desk

TOKEN = "k" * 24


def at(path: str) -> str:
    return f"/{TOKEN}{path}"


@pytest.fixture
def web(campaign: Path, web_for: Callable[..., Any]) -> Any:
    return web_for(
        make_app(Desk(campaign, "virtual:fast", 1), Access(TOKEN, frozenset({"127.0.0.1:1"}))), "http://127.0.0.1:1"
    )


def size_of(jpeg: bytes) -> tuple[int, int]:
    """Width and height as the frame of a JPEG says."""
    at = 2
    while jpeg[at + 1] not in (0xC0, 0xC2):
        at += 2 + int.from_bytes(jpeg[at + 2 : at + 4], "big")
    height, width = struct.unpack_from(">HH", jpeg, at + 5)
    return width, height


def test_a_photo_is_kept_without_place_taken_back_taken_away_and_brought_back(campaign: Path, web: Any):
    kept = campaign / "photos" / "rush-1-1.jpg"
    assert web.post(at("/api/specimens/rush-1/photos"), content=taken(orientation=1)).status_code == 200
    assert kept.read_bytes() == PLAIN
    assert web.get(at("/api/specimens/rush-1/photos/1")).content == PLAIN
    assert web.post(at("/api/undo")).status_code == 200
    assert not kept.exists()
    web.post(at("/api/specimens/rush-1/photos"), content=PLAIN)
    assert web.delete(at("/api/specimens/rush-1/photos/1")).json()["undo"] is True
    assert not kept.exists()
    assert web.delete(at("/api/specimens/rush-1/photos/1")).status_code == 422
    web.post(at("/api/undo"))
    assert kept.read_bytes() == PLAIN


@pytest.mark.parametrize("body", [b"<svg>", PLAIN[:-2], b"\xff\xd8\xff\xd9"])
def test_what_is_no_photo_is_refused(campaign: Path, web: Any, body: bytes):
    assert web.post(at("/api/specimens/rush-1/photos"), content=body).status_code == 422
    assert web.post(at("/api/specimens/..%2f..%2fx/photos"), content=PLAIN).status_code in (404, 422)
    assert not (campaign / "photos").exists()


def test_the_thirteenth_is_refused(campaign: Path, web: Any):
    for _ in range(12):
        assert web.post(at("/api/specimens/rush-1/photos"), content=PLAIN).status_code == 200
    answer = web.post(at("/api/specimens/rush-1/photos"), content=PLAIN)
    assert "take one away first" in answer.json()["error"]["what_to_do"].lower()


def test_a_package_that_was_sent_shows_its_photos(campaign: Path, tmp_path: Path, web_for: Callable[..., Any]):
    (campaign / "photos").mkdir()
    (campaign / "photos" / "rush-1-1.jpg").write_bytes(PLAIN)
    packed = tmp_path / "quay.zip"
    with zipfile.ZipFile(packed, "w") as archive:
        for file in sorted(campaign.rglob("*")):
            archive.write(file, file.relative_to(campaign))
    home = tmp_path / "home"
    home.mkdir()
    web = web_for(
        make_app(Desk(home, "virtual:fast", 1), Access(TOKEN, frozenset({"127.0.0.1:1"}))), "http://127.0.0.1:1"
    )
    sent = web.post(at("/api/import/files"), files={"files": ("quay.zip", packed.read_bytes())})
    assert sent.status_code == 200, sent.text
    assert web.post(at("/api/import/campaign")).status_code == 200
    assert web.get(at("/api/specimens/rush-1/photos/1")).content == PLAIN
    assert "Photo 1 of rush-1" in web.get(at("/cones/rush-1")).text


def test_a_large_picture_is_made_small_and_loses_its_place(
    campaign: Path, serve: Callable[..., Any], open_page: Callable[..., Page], tmp_path: Path
):
    page = open_page(serve(campaign).address + "cones?cone=rush-1")
    large = page.evaluate(
        """() => new Promise(done => { const c = document.createElement('canvas'); c.width = 3200; c.height = 1800;
        const g = c.getContext('2d'); g.fillStyle = 'teal'; g.fillRect(0, 0, 1600, 1800);
        c.toBlob(b => b.arrayBuffer().then(a => done([...new Uint8Array(a)])), 'image/jpeg', 0.9); })"""
    )
    file = tmp_path / "from-a-telephone.jpg"
    file.write_bytes(taken(bytes(large), orientation=6))
    page.locator("#add-photo summary").click()
    page.locator("#photo").set_input_files(file)
    expect(page.get_by_role("img", name="Photo 1 of rush-1")).to_be_visible()
    kept = (campaign / "photos" / "rush-1-1.jpg").read_bytes()
    assert size_of(kept) == (900, 1600)  # stood upright, as the camera was held
    assert b"Exif" not in kept
    assert b"Pinhole" not in kept
    assert faults_of(page) == []
    page.get_by_role("button", name="Take away photo 1").click()
    expect(page.get_by_role("img", name="Photo 1 of rush-1")).to_have_count(0)
    page.locator("h1").click()
    page.keyboard.press("u")
    expect(page.get_by_role("img", name="Photo 1 of rush-1")).to_be_visible()
    assert (campaign / "photos" / "rush-1-1.jpg").read_bytes() == kept


def test_what_is_no_picture_is_told_in_the_browser(
    campaign: Path, serve: Callable[..., Any], open_page: Callable[..., Page], tmp_path: Path
):
    page = open_page(serve(campaign).address + "cones?cone=rush-1")
    file = tmp_path / "notes.jpg"
    file.write_text("no picture")
    page.locator("#add-photo summary").click()
    page.locator("#photo").set_input_files(file)
    expect(page.get_by_role("alert")).to_contain_text("This picture cannot be read.")
    assert not (campaign / "photos").exists()
