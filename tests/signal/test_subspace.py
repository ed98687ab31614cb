"""Poles from the shift invariance of a signal subspace, held against the closed form they were made from."""

from __future__ import annotations

import numpy as np
import pytest

from frusta.errors import ParameterError
from frusta.signal.subspace import largest_singular_value, poles_by_order, signal_subspace, upper_half


def _record(poles: np.ndarray, size: int = 200) -> np.ndarray:
    amplitude = np.exp(1j * np.arange(poles.size))
    return np.sum(2.0 * np.real(amplitude * poles[None, :] ** np.arange(size)[:, None]), axis=1)


POLES = np.exp(np.array([-0.02 + 0.3j, -0.015 + 0.9j, -0.03 + 1.7j]))


def test_finds_the_poles_it_was_made_from() -> None:
    # oracle: closed form; exact up to the square root of rounding (the Gram matrix squares the singular values)
    directions, _ = signal_subspace(_record(POLES), 80, 6)
    found = upper_half(poles_by_order(directions, [6])[0])
    np.testing.assert_allclose(found, POLES[np.argsort(np.angle(POLES))], rtol=1e-6)


def test_written_out_inverse_equals_least_squares() -> None:
    # oracle: the same rotation by a general least-squares solver, noise included
    rng = np.random.default_rng(5)
    record = _record(POLES) + 0.01 * rng.standard_normal(200)
    directions, _ = signal_subspace(record, 80, 8)
    for order in (4, 6, 8):
        u = directions[:, :order]
        slow = np.linalg.eigvals(np.linalg.lstsq(u[:-1], u[1:], rcond=None)[0])
        fast = poles_by_order(directions, [order])[0]
        np.testing.assert_allclose(np.sort_complex(fast), np.sort_complex(slow), rtol=1e-8)


def test_singular_values_are_those_of_the_hankel_matrix() -> None:
    # oracle: a singular value decomposition of the matrix written out entry by entry
    record = np.random.default_rng(1).standard_normal(60)
    matrix = np.array([[record[i + j] for j in range(41)] for i in range(20)])
    expected = np.linalg.svd(matrix, compute_uv=False)
    directions, values = signal_subspace(record, 20, 5)
    np.testing.assert_allclose(values, expected, rtol=1e-7)
    assert largest_singular_value(record, 20) == pytest.approx(expected[0], rel=1e-9)
    np.testing.assert_allclose(directions.T @ directions, np.eye(5), atol=1e-12)


def test_upper_half_keeps_one_of_each_pair_and_positive_real_ones() -> None:
    poles = np.array([0.9 + 0.1j, 0.9 - 0.1j, 0.5, -0.5, 0.2 + 0.8j, 0.2 - 0.8j])
    np.testing.assert_array_equal(upper_half(poles.astype(complex)), [0.5, 0.9 + 0.1j, 0.2 + 0.8j])


def test_refuses_a_rank_that_the_record_cannot_hold() -> None:
    with pytest.raises(ParameterError, match="rank must be at least 1 and less than 10 for 20 samples"):
        signal_subspace(np.ones(20), 10, 10)
