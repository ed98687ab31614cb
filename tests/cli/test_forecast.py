"""`frusta forecast` from the shell: geometry by options, handbook alone, one line for a mistake."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

TABLES = {
    "campaign": "campaign,title\nbarn,Barn\n",
    "materials": "material,name,polymer,density_kg_m3\nfir,Fir,PLA,1240\n",
    "recipes": "recipe,layer_mm\nwalls,0.2\n",
    "profiles": "profile,shape,neck_radius_mm,rim_radius_mm,depth_mm,bow_mm,wall_mm\nst80,straight,14,40,28,0,0.9\n",
    "rigs": "rig,mounting,microphone_distance_mm,force_factor_tm,suspension_stiffness_n_mm,suspension_resistance_ns_m,"
    "coil_mass_g,coil_resistance_ohm,coil_inductance_mh,drive_full_scale_v\nbench,free,120,4,3,0.7,3,5.6,0.13,3.5\n",
    "specimens": "specimen,kind,material,recipe,profile\n",
    "takes": "take,specimen,seating,recording\n",
}


@pytest.fixture
def unrecorded(tmp_path: Path) -> Path:
    folder = tmp_path / "barn"
    folder.mkdir()
    for name, text in TABLES.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


def run(*arguments: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "frusta", "forecast", *map(str, arguments)],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def test_a_filament_that_was_never_recorded(unrecorded: Path, tmp_path: Path):
    file = tmp_path / "told.json"
    done = run(unrecorded, "--material", "fir", "--profile", "st80", "--json", file)
    assert done.returncode == 0, done.stderr
    assert "fir in st80: " in done.stdout
    assert "handbook" in done.stdout
    document = json.loads(file.read_text("utf-8"))
    assert document["profile"] == "st80"
    assert document["breakup_hz_low_95"] < document["breakup_hz"] < document["breakup_hz_high_95"]
    assert document["response"]["level_is"] == "absolute"


def test_geometry_by_options_changes_a_profile_or_makes_one(unrecorded: Path):
    thicker = run(unrecorded, "--material", "fir", "--profile", "st80", "--wall-mm", "1.2")
    assert "fir in st80, changed: " in thicker.stdout
    alone = run(
        unrecorded, "--material", "fir", "--shape", "convex", "--neck-mm", 14, "--rim-mm", 40, "--depth-mm", 28,
        "--bow-mm", 2, "--wall-mm", 0.9,
    )  # fmt: skip
    assert alone.returncode == 0, alone.stderr
    assert "fir in new: " in alone.stdout


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--material", "ash", "--profile", "st80"), "material must be one of fir (got ash)"),
        (("--material", "fir", "--profile", "cv80"), "profile must be one of st80 (got cv80)"),
        (("--material", "fir", "--shape", "convex", "--neck-mm", "14"), "--rim-mm, --depth-mm, --wall-mm missing"),
        (("--material", "fir", "--profile", "st80", "--rim-mm", "10"), "are the two swapped?"),
        (("--material", "fir", "--profile", "st80", "--bow-mm", "1000"), "bow_m"),
    ],
)
def test_a_mistake_is_one_line(unrecorded: Path, arguments: tuple[str, ...], words: str):
    done = run(unrecorded, *arguments)
    assert done.returncode == 2
    assert len(done.stderr.strip().splitlines()) == 1
    assert words in done.stderr
