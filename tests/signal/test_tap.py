"""A struck free bar: frequencies stand in the ratios of (βL)² (any vibration handbook: 4.73004, 7.85320, 10.99561)."""

from __future__ import annotations

import numpy as np
import pytest

from frusta.errors import ParameterError
from frusta.signal.tap import read_tap

RATIOS = (np.array([4.73004, 7.85320, 10.99561]) / 4.73004) ** 2
RATE_HZ = 44100.0


def _strike(first_hz: float, loss: float, strikes: tuple[float, ...] = (0.3,), noise: float = 1e-3) -> np.ndarray:
    time_s = np.arange(int(1.5 * RATE_HZ)) / RATE_HZ
    out = noise * np.random.default_rng(3).standard_normal(time_s.size)
    for at_s, force in zip(strikes, (1.0, 0.6), strict=False):
        since = np.maximum(time_s - at_s, 0.0)
        for k, f in enumerate(first_hz * RATIOS):
            s = 2j * np.pi * f * np.sqrt(1.0 + 1j * loss)
            out += (time_s >= at_s) * force * np.real(np.exp(s * since + 1j * k)) / (1.0 + k)
    return out


@pytest.mark.parametrize(("first_hz", "loss"), [(501.56, 0.012), (250.0, 0.02), (1200.0, 0.008)])
def test_a_struck_bar_gives_its_modes(first_hz: float, loss: float) -> None:
    # oracle: closed form; 501.56 Hz is the ASTM E1876 stick of the checks. 0.05 % is the bar there
    reading = read_tap(_strike(first_hz, loss), RATE_HZ)
    assert reading.reason is None
    assert reading.onset_s == pytest.approx(0.3, abs=1e-3)
    found = np.array([m.frequency_hz for m in reading.modes])
    assert found.size == RATIOS.size
    for mode, true in zip(reading.modes, first_hz * RATIOS, strict=True):
        assert mode.frequency_hz == pytest.approx(true, rel=5e-4)
        assert abs(mode.frequency_hz - true) < 3.0 * mode.frequency_hz_u
        assert mode.loss_factor == pytest.approx(loss, rel=0.05)
        assert abs(mode.loss_factor - loss) < 3.0 * mode.loss_factor_u


def test_the_next_strike_ends_the_first() -> None:
    reading = read_tap(_strike(501.56, 0.012, (0.3, 0.5)), RATE_HZ)
    assert reading.onset_s == pytest.approx(0.3, abs=1e-3)
    assert reading.length_s == pytest.approx(0.2, abs=0.012)
    assert reading.modes[0].frequency_hz == pytest.approx(501.56, rel=5e-4)


def test_silence_noise_and_nonsense_say_why() -> None:
    assert read_tap(np.zeros(1000), RATE_HZ).reason == "the recording is silent"
    noise = np.random.default_rng(1).standard_normal(44100)
    reading = read_tap(noise, RATE_HZ)
    assert reading.modes == ()
    assert reading.reason == "nothing rings long enough after the strike; hold it at its nodes and strike it again"
    with pytest.raises(ParameterError, match="one row of finite numbers"):
        read_tap(np.array([0.0, np.inf]), RATE_HZ)


@pytest.mark.parametrize("bits", [None, 16])
@pytest.mark.parametrize(("frequency_hz", "loss"), [(440.0, 0.01), (5000.0, 0.01), (12000.0, 0.02)])
def test_a_pure_tone_without_noise_gives_its_mode(frequency_hz: float, loss: float, bits: int | None) -> None:
    # oracle: closed form. Poles of nothing beside the one mode must not overflow (warnings are errors)
    since = np.maximum(np.arange(48000) / 48000.0 - 0.2, 0.0)
    s = 2j * np.pi * frequency_hz * np.sqrt(1.0 + 1j * loss)
    sound = 0.5 * np.imag(np.exp(s * since))
    if bits is not None:
        sound = np.round(sound * 2.0 ** (bits - 1)) / 2.0 ** (bits - 1)
    (mode,) = read_tap(sound, 48000.0).modes
    assert mode.frequency_hz == pytest.approx(frequency_hz, rel=2e-5)
    assert mode.loss_factor == pytest.approx(loss, rel=2e-3)
