"""Rings for many wavenumbers at once, against the kernels written out for one distance and one wavenumber."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad

from frusta.cone.ring_kernel import azimuth_rule, ring_distances
from frusta.cone.ring_series import dynamic_ring_series, dynamic_slope_series

K = np.array([0.0, 0.3, 4.0, 11.0, 21.0])
RADIUS, HEIGHT = np.array([0.2, 0.5, 0.999, 0.9, 0.031]), np.array([0.0, 0.3, 0.7, 0.1, 0.4])
SOURCE_RADIUS, SOURCE_HEIGHT = np.array([0.9, 0.5001, 1.0, 0.3, 0.032]), np.array([0.7, 0.3, -0.7, 0.2, 0.4])


def _distances(points: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    angle, weight = azimuth_rule(points)
    return ring_distances(RADIUS, HEIGHT, SOURCE_RADIUS, SOURCE_HEIGHT, angle), angle, weight


def test_every_distance_and_wavenumber_as_written_out() -> None:
    # oracle: the kernels themselves, same azimuth rule; 1e-12 is what the series' length is chosen for
    distance, angle, weight = _distances(48)
    table = (weight * np.cos(np.arange(4)[:, None] * angle) / (2.0 * np.pi)).T
    real, imaginary = dynamic_ring_series(distance, K, table)
    for i, k in enumerate(K):
        assert real[i] == pytest.approx((np.cos(k * distance) - 1.0) / distance @ table, abs=2e-12)
        assert imaginary[i] == pytest.approx(-np.sin(k * distance) / distance @ table, abs=2e-12)


@pytest.mark.parametrize("order", [0, 2])
def test_azimuth_integrals_against_adaptive_quadrature(order: int) -> None:
    # oracle: scipy's adaptive Gauss-Kronrod over the azimuth of (e^{-jkR} - 1)/R cos(m angle)/(2 pi)
    distance, angle, weight = _distances(48)
    table = (weight * np.cos(order * angle) / (2.0 * np.pi))[:, None]
    real, imaginary = dynamic_ring_series(distance, K, table)

    def ring(x: float, pair: int) -> float:
        gap = (RADIUS[pair] - SOURCE_RADIUS[pair]) ** 2 + (HEIGHT[pair] - SOURCE_HEIGHT[pair]) ** 2
        return float(np.sqrt(gap + 4.0 * RADIUS[pair] * SOURCE_RADIUS[pair] * np.sin(0.5 * x) ** 2))

    def wave(x: float, pair: int, k: float, part: int) -> float:
        r = ring(x, pair)
        value = (np.cos(k * r) - 1.0, -np.sin(k * r))[part] / r
        return float(value * np.cos(order * x) / (2.0 * np.pi))

    for pair in (0, 1, 3):
        for i in (2, 4):
            for part, found in enumerate((real, imaginary)):
                true, _ = quad(wave, 0.0, np.pi, (pair, K[i], part), epsabs=1e-11, epsrel=1e-11, limit=200)
                assert found[i, pair, 0] == pytest.approx(true, abs=3e-7)


def test_slopes_are_the_derivatives_of_the_rings() -> None:
    # oracle: central difference of the ring's own kernel along the source's normal
    points, normal = 64, np.array([0.6, 0.8])
    angle, weight = azimuth_rule(points)
    table = weight * np.cos(angle) / (2.0 * np.pi)

    def moved(step: float) -> tuple[np.ndarray, np.ndarray]:
        distance = ring_distances(
            RADIUS, HEIGHT, SOURCE_RADIUS + step * normal[0], SOURCE_HEIGHT + step * normal[1], angle
        )
        return dynamic_ring_series(distance, K, table[:, None])

    distance = ring_distances(RADIUS, HEIGHT, SOURCE_RADIUS, SOURCE_HEIGHT, angle)
    projection = normal[0] * (SOURCE_RADIUS[:, None] - RADIUS[:, None] * np.cos(angle))
    projection = projection + (normal[1] * (SOURCE_HEIGHT - HEIGHT))[:, None]
    slopes = dynamic_slope_series(distance, projection, K, table)
    step = 1e-5
    for slope, ahead, behind in zip(slopes, moved(step), moved(-step), strict=True):
        # rings that nearly touch are left out: there the azimuth rule's own error, divided by the step, shows
        difference = (ahead - behind)[..., 0] / (2.0 * step)
        assert slope[:, [0, 2, 3]] == pytest.approx(difference[:, [0, 2, 3]], abs=2e-6)
