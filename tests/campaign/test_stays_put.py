"""What stays and what moves: constructed responses whose peaks and dips are known."""

from __future__ import annotations

import math

import numpy as np
import pytest

from frusta.campaign.stays_put import Feature, chance_density, features_of, lines_of_stays, stays_or_moves
from frusta.signal.smoothing import log_grid

GRID = log_grid(50.0, 20e3)
SPEED = {"fir": 1800.0, "oak": 1500.0, "elm": 1200.0}


def response(
    moving: dict[float, float], fixed: dict[float, float], group: str, seed: int = 0
) -> tuple[np.ndarray, np.ndarray]:
    """Bumps (dB) at frequencies that scale with √(E/ρ) to a half per cent, and at fixed ones."""
    rng = np.random.default_rng([seed, list(SPEED).index(group)])
    level = np.zeros(GRID.size)
    for hertz, height in moving.items():
        place = hertz * SPEED[group] / 1500.0 * (1.0 + 0.005 * rng.standard_normal())
        level += height * np.exp(-0.5 * (np.log2(GRID / place) / 0.08) ** 2)
    for hertz, height in fixed.items():
        place = hertz * (1.0 + 0.002 * rng.standard_normal())
        level += height * np.exp(-0.5 * (np.log2(GRID / place) / 0.08) ** 2)
    return GRID, level


def curves(moving: dict[float, float], fixed: dict[float, float], groups=SPEED, seed: int = 0):
    return {group: response(moving, fixed, group, seed) for group in groups}


def test_features_lie_where_they_were_put():
    found = features_of("oak", *response({}, {1000.0: 6.0, 4000.0: -7.0}, "oak"))
    assert [f.kind for f in found] == ["peak", "dip"]
    assert found[0].frequency_hz == pytest.approx(1000.0, rel=0.01)
    assert found[1].frequency_hz == pytest.approx(4000.0, rel=0.01)


@pytest.mark.parametrize("seed", range(5))
def test_air_stays_and_cone_moves(seed: int):
    rows = stays_or_moves("st", curves({3000.0: 9.0, 5200.0: -8.0, 7500.0: 7.0}, {1100.0: -5.0}, seed=seed), SPEED)
    assert [row.verdict for row in rows] == ["stays", "moves", "moves", "moves"]
    stays, *moves = rows
    assert abs(stays.exponent) < 0.1
    assert "air, cavity or rig, not the cone" in stays.sentence
    for row in moves:
        assert row.exponent == pytest.approx(1.0, abs=0.15)
        assert len(row.frequency_hz) == 3


def test_two_materials_alike_cannot_tell():
    alike = {"fir": 1500.0, "oak": 1490.0}
    rows = stays_or_moves("st", curves({}, {2000.0: 8.0}, alike), alike)
    assert [row.verdict for row in rows] == ["unclear"]
    assert "too alike" in rows[0].sentence


def test_a_terminal_tells_what_stays_and_counts_what_moves():
    rows = stays_or_moves("st", curves({3000.0: 9.0, 5200.0: -8.0}, {1100.0: -5.0}), SPEED, {"oak": "Oak"})
    lines = lines_of_stays(rows)
    assert len(lines) == 3
    assert (
        lines[1].replace("\u00a0", " ").startswith("  st: the dip at 1.10 kHz stays at the same frequency in all three")
    )
    assert lines[2] == "  2 of 3 peaks and dips move with the material: the cone."
    assert lines_of_stays(()) == []
    assert "none is blamed" in lines_of_stays(rows[1:])[1]


def test_what_only_one_material_shows_is_not_explained():
    both = curves({3000.0: 9.0}, {})
    both["oak"] = response({3000.0: 9.0}, {900.0: 6.0}, "oak")
    rows = [row for row in stays_or_moves("st", both, SPEED) if row.kind == "peak"]
    assert [row.verdict for row in rows] == ["unclear", "moves"]
    assert "of oak is not found in the others" in rows[0].sentence


def test_one_material_gives_no_rows():
    assert stays_or_moves("st", curves({3000.0: 9.0}, {}, ["oak"]), SPEED) == ()


BUMPS = {1100.0: 6.0}


def flat_with(bumps: dict[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """A response with bumps where they are put, of no material."""
    level = sum((h * np.exp(-0.5 * (np.log2(GRID / f) / 0.08) ** 2) for f, h in bumps.items()), np.zeros(GRID.size))
    return GRID, level


def verdict_at(rows, hertz: float) -> tuple[str, float]:
    near = [row for row in rows if any(abs(f / hertz - 1.0) < 0.02 for f in row.frequency_hz.values())]
    return near[0].verdict, near[0].probability


def test_chance_is_counted_where_the_feature_lies():
    """In a unit of ln f: six within half a unit of 8 kHz; one by itself at 600 Hz; at the top what is left counts."""
    places = [600.0, *(8000.0 * np.exp([-0.4, -0.25, -0.1, 0.05, 0.2, 0.4])).tolist()]
    alike = [Feature("oak", "peak", float(hertz), 6.0) for hertz in places]
    assert chance_density(alike, math.log(8000.0)) == pytest.approx(6.0)
    assert chance_density(alike, math.log(600.0)) == pytest.approx(1.0)
    top = math.log(18e3)
    inside = sum(top - 0.5 <= math.log(hertz) <= top for hertz in places)
    assert chance_density(alike, top) == pytest.approx(max(inside, 1) / 0.5)


def test_the_rigid_cone_speaks_for_air_and_its_silence_against():
    """Two filaments show a peak at one frequency; the rigid cone of the shape has it, or has it elsewhere."""
    two = {"fir": 1800.0, "oak": 1500.0}
    both = {group: flat_with(BUMPS) for group in two}
    unknown = verdict_at(stays_or_moves("st", both, two), 1100.0)[1]
    has = verdict_at(stays_or_moves("st", both, two, rigid=flat_with(BUMPS)), 1100.0)
    lacks = verdict_at(stays_or_moves("st", both, two, rigid=flat_with({2600.0: 6.0})), 1100.0)
    assert has[0] == "stays"
    assert has[1] > unknown > lacks[1]


def test_cones_of_other_shapes_speak_for_the_rig():
    """The rigid cone lacks it, but cones of two other profiles show it where it lies: the rig's."""
    two = {"fir": 1800.0, "oak": 1500.0}
    both, rigid = {group: flat_with(BUMPS) for group in two}, flat_with({2600.0: 6.0})
    shown = verdict_at(stays_or_moves("st", both, two, rigid=rigid, elsewhere=[flat_with(BUMPS)] * 2), 1100.0)
    not_shown = verdict_at(stays_or_moves("st", both, two, rigid=rigid, elsewhere=[rigid] * 2), 1100.0)
    assert shown[0] == "stays"
    assert not_shown[1] < shown[1]
    assert not_shown[0] == "unclear"
