"""`frusta next` from the shell: files written, the goal read, one line for a mistake."""

from __future__ import annotations

import json
from functools import partial
from pathlib import Path

import pytest
from typer.testing import CliRunner

from frusta.campaign import next_print
from frusta.campaign.wish_words import wish_of
from frusta.cli.main import app
from frusta.errors import ParameterError

TABLES = {
    "campaign": "campaign,title,band_low_hz,band_high_hz\nbarn,Barn,300,6000\n",
    "materials": "material,name,polymer,density_kg_m3\nfir,Fir,PLA,1240\n",
    "recipes": "recipe,line_width_mm\nwalls,0.4\n",
    "profiles": "profile,shape,neck_radius_mm,rim_radius_mm,depth_mm,bow_mm,wall_mm\nst80,straight,14,40,28,0,0.9\n",
    "rigs": "rig,mounting,microphone_distance_mm,force_factor_tm,suspension_stiffness_n_mm,suspension_resistance_ns_m,"
    "coil_mass_g,coil_resistance_ohm,coil_inductance_mh,drive_full_scale_v\nbench,free,120,4,3,0.7,3,5.6,0.13,3.5\n",
    "specimens": "specimen,kind,material,recipe,profile\nfir-1,cone,fir,walls,st80\n",
    "takes": "take,specimen,seating,recording\n",
}


@pytest.fixture
def barn(tmp_path: Path) -> Path:
    folder = tmp_path / "barn"
    folder.mkdir()
    for name, text in TABLES.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


def test_a_campaign_before_its_first_take(barn: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Few shapes, one core: the files are written and every answer is printable."""
    few = partial(next_print.next_print, first=4, later=1)
    monkeypatch.setattr(next_print, "next_print", few)
    file, out = tmp_path / "next.json", tmp_path / "next"
    goal = "evenness 30, level 20, mass 10, band 300-5000"
    done = CliRunner().invoke(
        app,
        ["next", str(barn), "--goal", goal, "--rim-mm", "40", "--json", str(file), "--out", str(out), "--cores", "1"],
    )
    assert done.exit_code == 0, done.output
    assert "The best cone for 300 to 5000 Hz (weights: evenness 30, mass 10, level 20)" in done.output
    assert "nothing was recorded yet" in done.output
    assert "handbook ranges" in done.output
    document = json.loads(file.read_text("utf-8"))
    assert document["answers"][0]["geometry"]["rim_radius_mm"] == 40.0
    names = {path.name for path in out.iterdir()}
    assert {"next.json", "profiles.csv", "forecast-1.svg", "forecast-1.png"} <= names
    if len(document["answers"]) > 1:
        assert "trade-off-1.svg" in names


def test_limits_and_goal_are_read_or_refused() -> None:
    wish = wish_of(
        "evenness 1, band 200-4000", {"rim_mm": "40:50", "depth_mm": None, "bow_mm": "-2:2", "wall_mm": "0.8"}
    )
    assert wish.band_hz == (200.0, 4000.0)
    assert (wish.rim_mm, wish.depth_mm, wish.bow_mm, wish.wall_mm) == ((40.0, 50.0), None, (-2.0, 2.0), (0.8, 0.8))
    for wrong in ("50:40", "wide", "1:2:3"):
        with pytest.raises(ParameterError, match="--rim-mm must be LOW:HIGH or one number"):
            wish_of(None, {"rim_mm": wrong})
    assert wish_of(None, {"bow_mm": "\u22122 to 1,5", "wall_mm": "0.4..0.8"}).bow_mm == (-2.0, 1.5)
    with pytest.raises(ParameterError, match="Depth must be LOW:HIGH"):
        wish_of(None, {"depth_mm": "deep"}, {"depth_mm": "Depth"})
    for goal, said in (("mass 0", "one of them above 0"), ("mass 1, band 5000-300", "a band must run")):
        with pytest.raises(ParameterError, match=said):
            wish_of(goal, {})


def test_help_teaches() -> None:
    text = CliRunner().invoke(app, ["next", "--help"]).output
    for words in ("What would tell most", "Ctrl-C stops the search", "--goal", "--rim-mm", "--questions-only"):
        assert words in text
