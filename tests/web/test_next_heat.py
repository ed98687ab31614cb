"""Heat at the neck in Next cone: the terminal's figures and what is assumed, from fields of the page.

Oracle: `frusta forecast --json` of the same cone: the command line's own way to the same numbers.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect
from typer.testing import CliRunner

from frusta.cli.main import app
from frusta.web.access import Access
from frusta.web.app import make_app
from frusta.web.desk import Desk

TOKEN = "k" * 24
CONE = "group=rush/two&base=st80&neck_radius_mm=13&rim_radius_mm=40&depth_mm=24&bow_mm=0&wall_mm=0.8&quick=yes"


@pytest.fixture
def web(campaign: Path, web_for: Callable[..., Any]) -> Any:
    return web_for(
        make_app(Desk(campaign, "virtual:fast", 1), Access(TOKEN, frozenset({"127.0.0.1:1"}))), "http://127.0.0.1:1"
    )


@pytest.mark.parametrize(
    ("fields", "options"),
    [
        ("", []),
        ("&room_c=25", ["--room-c", "25"]),
        ("&thermal_k_w=12.5", ["--thermal", "12.5"]),
        ("&hot_ohm=7%2C1&hot_w=4", ["--hot-coil", "7.1@4"]),
    ],
)
def test_heat_is_the_terminals(web: Any, campaign: Path, tmp_path: Path, fields: str, options: list[str]):
    told = web.get(f"/{TOKEN}/api/forecast?{CONE}{fields}").json()["heat"]
    file = tmp_path / "told.json"
    command = ["forecast", str(campaign), "--material", "rush", "--recipe", "two", "--profile", "st80", "--handbook"]
    done = CliRunner().invoke(app, [*command, "--json", str(file), *options])
    assert done.exit_code == 0, done.output
    assert told == json.loads(file.read_text("utf-8"))["heat"]
    page = web.get(f"/{TOKEN}/next/forecast?{CONE}{fields}").text
    line = next(text for text in done.output.splitlines() if "heat at the neck" in text)
    low = line.partition("bears ")[2].partition(" for hours")[0]
    assert f"bears {low} for hours" in page
    assert "Assumed, not measured:" in page
    assert "--hot-coil" not in page


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ("thermal_k_w=warm", "K/W from coil to room must be a number"),
        ("thermal_k_w=-1", "must be above 0"),
        ("hot_ohm=7", "fill in both or neither"),
        ("hot_ohm=3&hot_w=4", "must have more resistance than a cold one"),
        ("hot_ohm=7&hot_w=4&thermal_k_w=9", "stated or measured, not both"),
    ],
)
def test_what_cannot_be_says_so_beside_the_forecast(web: Any, fields: str, said: str):
    page = web.get(f"/{TOKEN}/next/forecast?{CONE}&{fields}").text
    assert said in page
    assert "svg" in page
    assert web.get(f"/{TOKEN}/api/forecast?{CONE}&{fields}").status_code == 422


def test_without_a_softening_temperature_it_says_where_to_write_it(campaign: Path, web: Any):
    (campaign / "materials.csv").write_text("material,name\nrush,Rush\nsedge,Sedge\n")
    told = web.get(f"/{TOKEN}/api/forecast?{CONE}").json()
    assert told["heat"] is None
    assert "heat_deflection_c" in told["reasons"]["heat"]
    assert "no heat_deflection_c of rush in materials.csv" in web.get(f"/{TOKEN}/next/forecast?{CONE}").text


def test_a_field_narrows_it_and_outlives_a_reload(
    campaign: Path, serve: Callable[..., Any], open_page: Callable[..., Page]
):
    page = open_page(serve(campaign).address + "next")
    told = page.locator(".fc-print")
    expect(told).to_contain_text("Room or cabinet at 20 to 35 °C")
    page.locator("#heat-known summary").click()
    page.locator("#n-room_c").fill("22")
    expect(told).not_to_contain_text("Room or cabinet at 20 to 35 °C")
    page.locator("#n-room_c").blur()
    page.reload()
    expect(page.locator("#n-room_c")).to_have_value("22")
    expect(told).to_contain_text("for hours")
    expect(told).not_to_contain_text("Room or cabinet at 20 to 35 °C")
