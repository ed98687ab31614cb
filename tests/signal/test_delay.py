"""Group delay. Oracles: a pure delay, and an all-pass of first order in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from frusta.errors import ParameterError
from frusta.signal.delay import group_delay_s
from frusta.signal.smoothing import log_grid

GRID = log_grid(50.0, 18000.0)


def test_a_pure_delay():
    assert np.allclose(group_delay_s(GRID, np.exp(-2j * np.pi * GRID * 0.0013)), 0.0013, rtol=1e-9)


def test_an_all_pass():
    corner = 2 * np.pi * 1000.0
    omega = 2 * np.pi * GRID
    delay = group_delay_s(GRID, (1 - 1j * omega / corner) / (1 + 1j * omega / corner))
    true = 2 / corner / (1 + (omega / corner) ** 2)
    assert np.allclose(delay[1:-1], true[1:-1], rtol=2e-4)


def test_too_few_points_are_refused():
    with pytest.raises(ParameterError, match="at least 3"):
        group_delay_s(np.array([1.0, 2.0]), np.ones(2, dtype=complex))
