"""`frusta forecast` from the shell: geometry by options, handbook alone, one line for a mistake."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from shell import frusta


def test_a_filament_that_was_never_recorded(unrecorded: Path, tmp_path: Path):
    file = tmp_path / "told.json"
    done = frusta("forecast", unrecorded, "--material", "fir", "--profile", "st80", "--json", file)
    assert done.returncode == 0, done.stderr
    assert "fir in st80: " in done.stdout
    assert "handbook" in done.stdout
    document = json.loads(file.read_text("utf-8"))
    assert document["profile"] == "st80"
    assert document["breakup_hz_low_95"] < document["breakup_hz"] < document["breakup_hz_high_95"]
    assert document["response"]["level_is"] == "absolute"


def test_geometry_by_options_changes_a_profile_or_makes_one(unrecorded: Path):
    thicker = frusta("forecast", unrecorded, "--material", "fir", "--profile", "st80", "--wall-mm", "1.2")
    assert "fir in st80, changed: " in thicker.stdout
    alone = frusta("forecast",
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
    done = frusta("forecast", unrecorded, *arguments)
    assert done.returncode == 2
    assert len(done.stderr.strip().splitlines()) == 1
    assert words in done.stderr
