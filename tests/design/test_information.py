"""Expected information.

Oracles: the closed form of linear regression (the posterior of n readings), entropy of a normal distribution, and
Monte Carlo of an estimate that moves as it will.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from frusta.design.information import information_bits, settling_probability, standard_deviation
from frusta.errors import ParameterError


def test_readings_of_one_quantity_tell_what_regression_says() -> None:
    """Prior sd s, n readings of sd r: the posterior variance is 1/(1/s² + n/r²), so ½ log₂(1 + n s²/r²) bits."""
    s, r, n = 3.0, 0.7, 5
    after = 1.0 / (1.0 / s**2 + n / r**2)
    assert information_bits(np.array([[s**2]]), np.array([[after]])) == pytest.approx(
        0.5 * math.log2(1.0 + n * s**2 / r**2), rel=1e-12
    )


def test_a_straight_line_tells_the_fall_of_entropy() -> None:
    """Offset and slope from readings at four places, against scipy's entropy of both distributions."""
    prior = np.array([[2.0, 0.3], [0.3, 0.5]])
    design = np.stack([np.ones(4), np.array([0.0, 1.0, 2.0, 5.0])], axis=-1)
    posterior = np.linalg.inv(np.linalg.inv(prior) + design.T @ design / 0.4**2)
    fall = multivariate_normal([0, 0], prior).entropy() - multivariate_normal([0, 0], posterior).entropy()
    assert information_bits(prior, posterior) == pytest.approx(fall / math.log(2.0), rel=1e-10)
    assert information_bits(np.zeros((0, 0)), np.zeros((0, 0))) == 0.0


def test_what_is_linear_in_others_has_their_spread() -> None:
    """The standard deviation of a sum of two correlated quantities, by hand: 1 + 4 + 2·0.5."""
    covariance = np.array([[1.0, 0.5], [0.5, 4.0]])
    assert standard_deviation(covariance, np.array([1.0, 1.0])) == pytest.approx(math.sqrt(6.0))


def test_how_often_a_difference_is_told_is_what_happens() -> None:
    """Monte Carlo: the truth drawn from what is known now, one more reading, and the interval looked at."""
    rng = np.random.default_rng(5)
    gap, before, noise, reach = 0.8, 0.6**2, 0.5**2, 1.1
    after = 1.0 / (1.0 / before + 1.0 / noise)
    truth = gap + math.sqrt(before) * rng.standard_normal(200_000)
    read = truth + math.sqrt(noise) * rng.standard_normal(200_000)
    then = after * (gap / before + read / noise)
    assert settling_probability(gap, before, after, reach) == pytest.approx(np.mean(np.abs(then) > reach), abs=4e-3)
    assert settling_probability(2.0, 0.1, 0.1, 1.0) == 1.0


def test_nonsense_is_refused() -> None:
    with pytest.raises(ParameterError, match="must have one shape"):
        information_bits(np.eye(2), np.eye(3))
    with pytest.raises(ParameterError, match="positive definite"):
        information_bits(np.eye(2), np.ones((2, 2)))
