"""A microphone's deviation. Oracle: linear interpolation by hand."""

from __future__ import annotations

import numpy as np
import pytest

from frusta.errors import ParameterError
from frusta.signal.calibration import Calibration


def test_it_is_linear_in_db_and_degrees_over_log_frequency_and_held_at_the_ends():
    table = Calibration(np.array([100.0, 10000.0]), np.array([-2.0, 4.0]), np.array([0.0, 90.0]))
    gain = table.gain_at(np.array([10.0, 1000.0, 20000.0]))
    assert np.allclose(20 * np.log10(np.abs(gain)), [-2.0, 1.0, 4.0])
    assert np.allclose(np.degrees(np.angle(gain)), [0.0, 45.0, 90.0])


@pytest.mark.parametrize(
    ("frequency", "level", "match"),
    [
        ([100.0, 50.0], [0.0, 0.0], "rise"),
        ([0.0, 50.0], [0.0, 0.0], "positive"),
        ([10.0, 50.0], [0.0, np.nan], "fill its holes"),
        ([10.0], [0.0], "two rows"),
    ],
)
def test_a_table_with_a_hole_or_out_of_order_is_refused(frequency, level, match):
    with pytest.raises(ParameterError, match=match):
        Calibration(np.array(frequency), np.array(level))
