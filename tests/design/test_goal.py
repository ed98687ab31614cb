"""What a cone is worth to a goal.

Oracles: the points' definition worked out by hand; a response made of closed forms whose figures are known.
"""

from __future__ import annotations

import numpy as np
import pytest

from frusta.design.goal import WEIGHTS, Goal, goal_figures, read_goal
from frusta.errors import ParameterError
from frusta.signal.level import RigidResponse
from frusta.signal.smoothing import log_grid

HALVES = {"upper limit": 6000.0, "evenness": 8.0, "decay": 4.0, "mass": 7.0, "level": 80.0, "piston limit": 6000.0}


def test_half_value_earns_fifty_points_twice_as_good_eighty() -> None:
    goal = Goal((300.0, 6000.0), {"upper limit": 3.0, "mass": 1.0, "level": 1.0}, HALVES)
    assert goal.points("upper limit", 6000.0) == pytest.approx(50.0)
    assert goal.points("upper limit", 12000.0) == pytest.approx(80.0)
    assert goal.points("mass", 3.5) == pytest.approx(80.0)
    assert goal.points("mass", 14.0) == pytest.approx(20.0)
    assert goal.points("level", 80.0 + 20.0 * np.log10(2.0)) == pytest.approx(80.0)
    figures = {"upper limit": 12000.0, "mass": 14.0, "level": 80.0}
    assert goal.score(figures) == pytest.approx((3 * 80.0 + 20.0 + 50.0) / 5.0)
    assert goal.used == ("upper limit", "mass", "level")


def test_a_goal_is_read_from_words() -> None:
    assert read_goal("Upper limit 40; evenness=30, band 300 to 6000 Hz") == (
        {"upper limit": 40.0, "evenness": 30.0},
        (300.0, 6000.0),
    )
    assert read_goal("band 200-4000") == (WEIGHTS, (200.0, 4000.0))
    for wrong in ("fast 3", "evenness", "band 300", "evenness 1.2.3"):
        with pytest.raises(ParameterError, match="a goal must be like"):
            read_goal(wrong)


def test_a_goal_that_cannot_be_is_refused() -> None:
    with pytest.raises(ParameterError, match="a band must run"):
        Goal((6000.0, 300.0), {"mass": 1.0}, HALVES)
    with pytest.raises(ParameterError, match="one of them above 0"):
        Goal((300.0, 6000.0), {"mass": 0.0}, HALVES)
    with pytest.raises(ParameterError, match="must have a value that earns 50 points"):
        Goal((300.0, 6000.0), {"distortion": 1.0}, HALVES)


def test_figures_of_a_response_that_is_known() -> None:
    """A resonance over a flat response: f0 4 kHz, loss factor 0.02. Its peak over 1 is unevenness and piston limit;
    its ringing falls by 2 % after ln(r/0.02)/(π f0 η), r the resonance's share of the envelope's peak."""
    f = log_grid(60.0, 22e3)
    f0, eta = 4000.0, 0.02
    flat = np.ones_like(f, dtype=np.complex128)
    rigid = RigidResponse(f, flat)
    peak = 0.02 * f0**2 / (f0**2 * (1.0 + 1j * eta) - f**2)  # height 1 at f0
    found = goal_figures(f, flat + 3.0 * peak, 1e-3, 20e3, (300.0, 6000.0), rigid)
    assert found["level"] == pytest.approx(20.0 * np.log10(1.06), abs=0.05)
    assert found["upper limit"] == pytest.approx(20e3, rel=0.01)
    left = f[(f > 1000.0) & (np.abs(20.0 * np.log10(np.abs(flat + 3.0 * peak)) - found["level"]) > 3.0)][0]
    assert found["piston limit"] == pytest.approx(left, rel=0.01)
    assert 2.0 < found["evenness"] < 20.0
    longer = goal_figures(f, flat + 3.0 * peak * 1.0, 1e-3, 20e3, (5000.0, 6000.0), rigid)
    assert longer["evenness"] < found["evenness"]
    with pytest.raises(ParameterError, match="the sweep must cover 300 Hz to 1 kHz"):
        goal_figures(f[f > 400.0], flat[f > 400.0], 1e-3, 20e3, (500.0, 6000.0), rigid)
