"""A and C weighting against the table of IEC 61672-1:2013, 0.1 dB."""

from __future__ import annotations

import numpy as np

from frusta.signal.weighting import a_weighting_db, c_weighting_db

EXACT = 1000.0 * 10.0 ** (0.3 * np.arange(-5, 5))


def test_a_weighting():
    table = [-39.4, -26.2, -16.1, -8.6, -3.2, 0.0, 1.2, 1.0, -1.1, -6.6]
    assert np.abs(a_weighting_db(EXACT) - table).max() < 0.06


def test_c_weighting():
    table = [-3.0, -0.8, -0.2, 0.0, 0.0, 0.0, -0.2, -0.8, -3.0, -8.5]
    assert np.abs(c_weighting_db(EXACT) - table).max() < 0.06
