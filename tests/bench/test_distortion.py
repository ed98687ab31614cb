"""Harmonics of the virtual motor and of a buckling cone against Chebyshev identities."""

from __future__ import annotations

import numpy as np
import pytest

from frusta.bench.distortion import Buckle, MotorDistortion, distort

RATE = 48000
TIME = np.arange(RATE) / RATE


def amplitudes(signal: np.ndarray, frequency_hz: int, orders: int) -> np.ndarray:
    spectrum = 2.0 * np.abs(np.fft.rfft(signal)) / RATE
    return spectrum[frequency_hz * np.arange(1, orders + 1)]


def test_motor_follows_the_chebyshev_identities() -> None:
    # A + 3a3A³/4, a2A²/2, a3A³/4 (CHECKS, Signal)
    level, quadratic, cubic = 0.5, 0.02, 0.03
    out = distort(level * np.sin(2 * np.pi * 1000 * TIME), RATE, MotorDistortion(quadratic, cubic))
    want = [level + 0.75 * cubic * level**3, quadratic * level**2 / 2, cubic * level**3 / 4, 0.0]
    np.testing.assert_allclose(amplitudes(out, 1000, 4), want, atol=1e-9)


def test_products_above_half_the_rate_are_dropped_not_folded() -> None:
    out = distort(0.5 * np.sin(2 * np.pi * 17000 * TIME), RATE, MotorDistortion(0.1, 0.1))
    spectrum = 2.0 * np.abs(np.fft.rfft(out)) / RATE
    spectrum[[0, 17000]] = 0.0
    assert np.max(spectrum) < 1e-9


def test_buckle_is_heard_where_its_resonance_moves_most() -> None:
    # at resonance the motion has the drive's amplitude: second harmonic b·A²/2; far below it is gone
    buckle = Buckle(2600.0, 0.08, 0.05)
    at, below = (
        amplitudes(distort(0.5 * np.sin(2 * np.pi * f * TIME), RATE, None, buckle), f, 2)[1] for f in (2600, 1000)
    )
    assert at == pytest.approx(0.05 * 0.5**2 / 2, rel=1e-3)
    assert below < 0.02 * at


def test_without_distortion_the_drive_is_untouched() -> None:
    drive = np.sin(TIME)
    assert distort(drive, RATE, None) is drive
