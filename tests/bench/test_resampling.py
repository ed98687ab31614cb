"""Rates and clocks: closed forms of sampled sines."""

from __future__ import annotations

import numpy as np
import pytest

from frusta.bench.resampling import as_other_clock, lower_rate, raise_rate

RATE = 48000


def windowed_sine(frequency_hz: float, samples: int = 24000, ppm: float = 0.0) -> np.ndarray:
    """A Gaussian burst, so that both ends are silent; sampled by a clock that is fast by ``ppm``."""
    time_s = np.arange(samples) / (RATE * (1.0 + 1e-6 * ppm))
    middle = 0.5 * samples / RATE
    return np.sin(2 * np.pi * frequency_hz * time_s) * np.exp(-0.5 * ((time_s - middle) / 0.03) ** 2)


@pytest.mark.parametrize("samples", [24000, 23999])
def test_there_and_back(samples: int) -> None:
    signal = windowed_sine(7000.0, samples)
    np.testing.assert_allclose(lower_rate(raise_rate(signal, 4), 4), signal, atol=1e-9)


def test_raised_samples_lie_on_the_sine() -> None:
    fast = raise_rate(windowed_sine(9000.0), 4)
    time_s = np.arange(fast.size) / (4 * RATE)
    want = np.sin(2 * np.pi * 9000.0 * time_s) * np.exp(-0.5 * ((time_s - 0.25) / 0.03) ** 2)
    np.testing.assert_allclose(fast, want, atol=1e-6)


@pytest.mark.parametrize("ppm", [-200.0, 20.0, 900.0])
@pytest.mark.parametrize("frequency_hz", [100.0, 5000.0, 19000.0])
def test_other_clock_is_the_sine_sampled_by_it(ppm: float, frequency_hz: float) -> None:
    # closed form; −86 dB at 19 kHz, better below
    got = as_other_clock(windowed_sine(frequency_hz), ppm)
    np.testing.assert_allclose(got, windowed_sine(frequency_hz, ppm=ppm), atol=5e-5)


def test_no_error_no_change() -> None:
    signal = windowed_sine(300.0)
    assert as_other_clock(signal, 0.0) is signal
