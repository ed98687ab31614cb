"""Smoothing by power. Oracles: closed forms on a logarithmic axis; midbands of IEC 61260-1."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from frusta.errors import ParameterError
from frusta.signal.smoothing import band_mean_power, log_grid, octave_edges, octave_midbands, smooth_power


def test_the_grid_is_that_of_the_curves():
    grid = log_grid(20.0, 20000.0)
    assert grid[0] >= 20.0
    assert grid[-1] <= 20000.0
    assert np.allclose(np.diff(np.log2(grid)), 1 / 96)
    assert 1000.0 in grid


@pytest.mark.parametrize("fraction", [3, 6, 12])
def test_a_power_law_is_averaged_exactly(fraction):
    """Mean of f over 1/b octave, equal weight per log f: f sinh(h) / h with h = ln 2 / 2b (closed form)."""
    frequency = np.arange(1.0, 24000.0)
    half = np.log(2.0) / 2 / fraction
    at = np.array([200.0, 1000.0, 8000.0])
    assert np.allclose(smooth_power(frequency, frequency, fraction, at), at * np.sinh(half) / half, rtol=1e-5)


def test_a_step_is_seen_half_from_its_edge():
    grid = log_grid(100.0, 10000.0)
    smooth = smooth_power(grid, (grid > 999.0).astype(float), 3.0)
    x = np.log2(grid / 1000.0)
    inside = np.abs(x) < 1 / 6 - 1 / 96
    assert np.allclose(smooth[inside], 0.5 + 3.0 * (x[inside] + 0.5 / 96), atol=0.01)


@given(st.floats(0.01, 100.0), st.integers(0, 1000))
def test_smoothing_is_linear_and_keeps_flat_flat(factor, seed):
    grid = log_grid(100.0, 1000.0, 24)
    power = np.random.default_rng(seed).random(grid.size)
    assert np.allclose(smooth_power(grid, np.ones(grid.size), 6.0), 1.0)
    assert np.allclose(smooth_power(grid, factor * power, 6.0), factor * smooth_power(grid, power, 6.0))


def test_rows_are_smoothed_one_by_one():
    grid = log_grid(100.0, 1000.0, 24)
    rows = np.random.default_rng(0).random((3, grid.size))
    assert np.allclose(smooth_power(grid, rows, 6.0)[1], smooth_power(grid, rows[1], 6.0))


def test_band_mean_has_equal_weight_per_log_frequency():
    frequency = np.arange(100.0, 2000.0)
    mean = band_mean_power(frequency, frequency, 300.0, 1000.0)
    assert mean == pytest.approx(700.0 / np.log(1000.0 / 300.0), rel=1e-5)


def test_midbands_and_edges():
    """IEC 61260-1:2014, base ten; the rule for even fractions from memory."""
    ratio = 10**0.3
    assert np.allclose(octave_midbands(3, -1, 1), 1000 * ratio ** (np.array([-1, 0, 1]) / 3))
    assert np.allclose(octave_midbands(12, 0, 0), 1000 * ratio ** (1 / 24))
    low, high = octave_edges(np.array([1000.0]), 3)
    assert (round(float(low[0]), 3), round(float(high[0]), 3)) == (891.251, 1122.018)


def test_what_cannot_be_smoothed_is_refused():
    with pytest.raises(ParameterError, match="positive and rising"):
        smooth_power(np.array([0.0, 1.0]), np.ones(2), 3.0)
    with pytest.raises(ParameterError, match="one value per frequency"):
        smooth_power(np.array([1.0, 2.0]), np.ones(3), 3.0)
    with pytest.raises(ParameterError, match="fraction must be positive"):
        smooth_power(np.array([1.0, 2.0]), np.ones(2), 0.0)
    with pytest.raises(ParameterError, match="frequency grid"):
        log_grid(100.0, 50.0)
