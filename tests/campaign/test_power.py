"""How many prints show a difference: against simulation and the non-central t."""

from __future__ import annotations

import math

import pytest
from scipy.stats import nct
from scipy.stats import t as student_t

from frusta.campaign.power import prints_needed, smallest_gap
from frusta.errors import ParameterError


@pytest.mark.parametrize("prints", [3, 4, 8, 20])
def test_gap_is_shown_as_often_as_said(prints):
    """Oracle: power of the two-sample t by the non-central t distribution."""
    gap = smallest_gap(prints, 0.01)
    degrees = 2 * (prints - 1)
    centre = gap / (0.01 * math.sqrt(2 / prints))
    power = nct.sf(student_t.ppf(0.975, degrees), degrees, centre)
    assert power == pytest.approx(0.8, abs=0.02)


def test_textbook_sample_size():
    """Two groups, a gap of one standard deviation, 80 %: 17 each (any table of sample sizes, from memory)."""
    assert prints_needed(1.0, 1.0) == 17


def test_the_number_needed_shows_it_and_one_fewer_does_not():
    needed = prints_needed(0.02, 0.01, groups=3)
    assert needed is not None
    assert smallest_gap(needed, 0.01, 3) <= 0.02 < smallest_gap(needed - 1, 0.01, 3)


def test_a_hopeless_gap_needs_no_number():
    assert prints_needed(1e-6, 0.01) is None


def test_one_print_shows_nothing():
    with pytest.raises(ParameterError, match="prints must be above 1"):
        smallest_gap(1, 0.01)
