"""What stays and what moves: constructed responses whose peaks and dips are known."""

from __future__ import annotations

import numpy as np
import pytest

from frusta.campaign.stays_put import features_of, lines_of_stays, stays_or_moves
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
