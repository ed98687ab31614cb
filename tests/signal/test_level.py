"""Figures of level. Oracles: closed forms of simple responses."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from frusta.errors import ParameterError
from frusta.signal.level import (
    RigidResponse,
    frequency_limits,
    level_db,
    piston_limit_hz,
    tallest_peak,
    unevenness_db,
)
from frusta.signal.smoothing import log_grid

GRID = log_grid(25.0, 19000.0)


def test_level_is_the_power_mean_with_equal_weight_per_log_frequency():
    """Mean of f^2 over ln f from 300 to 1000: (1000^2 - 300^2) / (2 ln(10/3))."""
    true = 10 * math.log10((1000**2 - 300**2) / (2 * math.log(10 / 3)))
    assert level_db(GRID, GRID**2) == pytest.approx(true, abs=0.001)


def test_limits_of_a_band_pass():
    """Oracle: the same definition by adaptive quadrature and root finding, on the closed form."""

    def power(frequency_hz):
        return 1 / (1 + (100 / frequency_hz) ** 4) / (1 + (frequency_hz / 8000) ** 4)

    def smooth_db(log_hz):
        mean = quad(lambda x: power(math.exp(x)), log_hz - math.log(2) / 6, log_hz + math.log(2) / 6)[0]
        return 10 * math.log10(3 * mean / math.log(2))

    reference = level_db(GRID, power(GRID))
    lower, upper = frequency_limits(GRID, power(GRID), reference)
    for found, a, b in ((lower, 30, 200), (upper, 5000, 18000)):
        true = math.exp(brentq(lambda x: smooth_db(x) - reference + 10, math.log(a), math.log(b)))
        assert found.value == pytest.approx(true, rel=1e-3)


def test_a_narrow_dip_is_no_limit():
    dip = 1 - 0.999 * np.exp(-((np.log2(GRID / 5000) / 0.08) ** 2))
    lower, upper = frequency_limits(GRID, dip, 0.0)
    assert upper.value is None
    assert "above the band" in (upper.reason or "")
    assert "below the band" in (lower.reason or "")


def test_unevenness_is_half_the_span():
    """A small ripple one octave long keeps sin(x)/x, x = pi/12, of its height (closed form)."""
    slow = 10 ** (0.01 * np.sin(2 * np.pi * np.log2(GRID / 1000)))
    kept = math.sin(math.pi / 12) / (math.pi / 12)
    assert unevenness_db(GRID, slow, 200.0, 10000.0) == pytest.approx(0.1 * kept, rel=2e-3)
    with pytest.raises(ParameterError, match="no points"):
        unevenness_db(GRID, slow, 30000.0, 40000.0)


def test_the_tallest_peak_is_the_most_prominent_not_the_highest():
    x = np.log2(GRID)
    slope = 3.0 * (x - math.log2(1000.0))
    bump = (
        slope + 9 * np.exp(-(((x - math.log2(3000)) / 0.15) ** 2)) + 3 * np.exp(-(((x - math.log2(12000)) / 0.15) ** 2))
    )
    place, height = tallest_peak(GRID, 10 ** (bump / 10), 19000.0)
    assert place.value == pytest.approx(3000.0, rel=0.02)
    assert 6.0 < (height.value or 0) < 9.0
    assert tallest_peak(GRID, 10 ** (slope / 10), 19000.0)[0].value is None


def test_the_piston_limit_is_where_the_curves_part():
    rigid = RigidResponse(GRID, (1 / (1 + 1j * GRID / 3000)).astype(complex))
    power = np.abs(rigid.pressure) ** 2 * (1 + (GRID / 2500) ** 8) * 7.0
    limit = piston_limit_hz(GRID, power, rigid)
    assert limit.value == pytest.approx(2500 * (10**0.3 - 1) ** (1 / 8), rel=2e-3)
    assert piston_limit_hz(GRID, np.abs(rigid.pressure) ** 2, rigid).value is None
    short = RigidResponse(GRID[GRID > 500], rigid.pressure[GRID > 500])
    assert "does not cover" in (piston_limit_hz(GRID, power, short).reason or "")
