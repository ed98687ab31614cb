"""Free bar and free disc of the coupons against ASTM E1876, the handbook and Leissa."""

from __future__ import annotations

import numpy as np
import pytest

from frusta.cone.bar import bar_frequencies_hz
from frusta.cone.disc import disc_frequencies_hz
from frusta.cone.elasticity import Elastic
from frusta.errors import ParameterError


def test_bar_of_astm_e1876() -> None:
    # CHECKS: m 3.72 g, L 100, b 10, t 3 mm, E 3.3 GPa ↔ 501.37 Hz with the full T1 at ν .36; 0.05 %
    density = 3.72e-3 / (0.1 * 0.01 * 0.003)
    got = bar_frequencies_hz(3.3e9, 3.3e9 / 2.72, density, 0.1, 0.003, 1, 0.36)[0]
    assert got == pytest.approx(501.37, rel=5e-4)
    correction = 1 + 6.585 * (0.003 / 0.1) ** 2
    modulus = 0.9465 * (3.72e-3 * got**2 / 0.01) * (0.1 / 0.003) ** 3 * correction
    assert modulus == pytest.approx(3.3e9, rel=1e-3)


def test_thin_bar_tends_to_the_handbook() -> None:
    # βL = 4.73004, 7.85320, 10.99561
    length, thickness = 0.1, 1e-4
    got = bar_frequencies_hz(3e9, 1e9, 1200.0, length, thickness, 3)
    want = np.array([4.73004, 7.85320, 10.99561]) ** 2 / (2 * np.pi * length**2)
    np.testing.assert_allclose(got, want * np.sqrt(3e9 * thickness**2 / 12 / 1200.0), rtol=5e-5)


def test_soft_layers_lower_the_higher_modes_more() -> None:
    stiff, soft = (bar_frequencies_hz(3e9, shear, 1200.0, 0.08, 0.004, 3) for shear in (1.1e9, 0.4e9))
    fall = soft / stiff
    assert np.all(fall < 1.0)
    assert np.all(np.diff(fall) < 0.0)


@pytest.mark.parametrize(("order", "want"), [(0, 9.0031), (2, 5.3583), (3, 12.4390)])
def test_thin_disc_of_leissa(order: int, want: float) -> None:
    # free plate, ν = 0.3 (CHECKS, Vibration), 0.5 %
    thickness = 0.01
    got = disc_frequencies_hz(Elastic.isotropic(1.0, 0.3, 1.0), 1.0, thickness, order)[0]
    assert got * 2 * np.pi * np.sqrt(12 * (1 - 0.09)) / thickness == pytest.approx(want, rel=2e-3)


@pytest.mark.parametrize(("order", "want"), [(0, 8.8720), (2, 5.2791), (3, 12.0722)])
def test_thick_disc_of_three_dimensional_elasticity(order: int, want: float) -> None:
    # CHECKS, thick disc, h/a .1, 3-D, 0.2 %
    got = disc_frequencies_hz(Elastic.isotropic(1.0, 0.3, 1.0), 1.0, 0.1, order)[0]
    assert got * 2 * np.pi * np.sqrt(12 * (1 - 0.09)) / 0.1 == pytest.approx(want, rel=2e-3)


def test_messages() -> None:
    with pytest.raises(ParameterError, match="length_m must be a positive number"):
        bar_frequencies_hz(1e9, 1e9, 1000.0, 0.0, 0.001)
    with pytest.raises(ParameterError, match="count must be 1 to 6"):
        bar_frequencies_hz(1e9, 1e9, 1000.0, 0.1, 0.001, 9)
    with pytest.raises(ParameterError, match="thickness_m must be positive and below radius_m"):
        disc_frequencies_hz(Elastic.isotropic(1.0, 0.3, 1.0), 0.01, 0.02, 2)
