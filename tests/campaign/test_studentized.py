"""The joint factor, held against scipy's studentised range and Student's t."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import studentized_range

from frusta.campaign.studentized import joint_factor, range_probability
from frusta.errors import ParameterError


@pytest.mark.parametrize(("degrees", "factor"), [(2, 4.303), (5, 2.571), (10, 2.228)])
def test_two_groups_are_students_t(degrees, factor):
    """Any table of t, 95 % two-sided."""
    assert joint_factor(2, degrees) == pytest.approx(factor, abs=5e-4)


@pytest.mark.parametrize("groups", [3, 4, 8])
@pytest.mark.parametrize("degrees", [1, 2, 3.3, 5, 12, 60, 399, 401, 5000])
def test_probability_is_that_of_scipys_studentized_range(groups, degrees):
    factor = joint_factor(groups, degrees)
    assert studentized_range.cdf(factor * np.sqrt(2), groups, degrees) == pytest.approx(0.95, abs=1e-5)


def test_tabled_points():
    """Tables of the studentised range, q(.95; 3, 3) = 5.91, q(.95; 3, 10) = 3.88, q(.95; 4, 20) = 3.96 (memory)."""
    q = [joint_factor(k, d) * np.sqrt(2) for k, d in ((3, 3), (3, 10), (4, 20))]
    assert q == pytest.approx([5.91, 3.88, 3.96], abs=0.006)


def test_range_of_two_is_students_t_too():
    assert range_probability(2.571 * np.sqrt(2), 2, 5) == pytest.approx(0.95, abs=5e-5)


def test_one_group_is_refused():
    with pytest.raises(ParameterError, match="groups must be at least 2"):
        joint_factor(1, 5)
