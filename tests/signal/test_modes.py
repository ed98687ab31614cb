"""Modes from impulse responses whose poles are known by closed form."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from frusta.errors import ParameterError
from frusta.signal.blips import find_blips
from frusta.signal.breakup import find_breakup
from frusta.signal.modes import Mode, ModeFit, fit_modes, frequency_and_loss, pole_of


def _load() -> ModuleType:
    spec = importlib.util.spec_from_file_location("made_response", Path(__file__).parent / "made_response.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["made_response"] = module
    spec.loader.exec_module(module)
    return module


make_response = _load().make_response

FREQUENCY = np.array([3100.0, 3950.0, 5200.0, 6700.0, 8300.0, 10400.0, 13000.0, 17500.0])
LOSS = np.array([0.024, 0.031, 0.028, 0.022, 0.026, 0.021, 0.024, 0.02])
GAIN = np.array([0.8, 1.5, 2.0, 1.0, 1.8, 1.2, 2.0, 1.5])


def _fit(made: object, length_s: float = 5.5e-3, **more: object) -> ModeFit:
    return fit_modes(made.impulse, made.sample_rate_hz, onset_s=made.onset_s, length_s=length_s, **more)  # type: ignore[attr-defined, arg-type]


def _errors(fit: ModeFit, frequency: np.ndarray, loss: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    nearest = [min(fit.modes, key=lambda m: abs(m.frequency_hz - f)) for f in frequency]
    return (
        np.array([m.frequency_hz for m in nearest]) / frequency - 1.0,
        np.array([m.loss_factor for m in nearest]) / loss - 1.0,
    )


@pytest.mark.parametrize("rate_hz", [44100.0, 48000.0, 96000.0])
def test_finds_every_mode_and_no_other(rate_hz: float) -> None:
    # oracle: closed form. Bars of the project at 90 dB: 0.005 % and 0.4 % median
    made = make_response(FREQUENCY, LOSS, GAIN, sample_rate_hz=rate_hz, noise_db=-90.0)
    fit = _fit(made)
    assert len(fit.modes) == 7
    frequency, loss = _errors(fit, FREQUENCY[:7], LOSS[:7])
    assert np.median(np.abs(frequency)) < 2e-5
    assert np.max(np.abs(frequency)) < 2e-4
    assert np.median(np.abs(loss)) < 2e-3
    assert np.max(np.abs(loss)) < 2e-2
    assert fit.residual_over_noise < 3.0


def test_prominence_is_own_contribution_over_the_rest() -> None:
    # oracle: closed form; the onset stands for the instant the mode starts, which is known to 0.05 ms: 0.5 dB
    made = make_response(FREQUENCY, LOSS, GAIN, noise_db=-90.0)
    fit = _fit(made)
    np.testing.assert_allclose([m.prominence_db for m in fit.modes], made.prominence_db[:7], atol=0.6)


@pytest.mark.parametrize(("noise_db", "wide"), [(-90.0, 1e-4), (-75.0, 2.5e-4), (-60.0, 1e-3)])
def test_intervals_hold_and_are_not_wide(noise_db: float, wide: float) -> None:
    # oracle: 40 random responses with known poles; of 250 or more intervals 85 % must hold
    rng = np.random.default_rng(11)
    inside, widths = [], []
    for seed in range(40):
        frequency = FREQUENCY * rng.uniform(0.97, 1.03, FREQUENCY.size)
        loss = rng.uniform(0.015, 0.035, FREQUENCY.size)
        gain = 10.0 ** rng.uniform(-0.2, 0.4, FREQUENCY.size)
        fit = _fit(make_response(frequency, loss, gain, noise_db=noise_db, seed=seed))
        for mode in fit.modes:
            k = int(np.argmin(np.abs(frequency - mode.frequency_hz)))
            if abs(mode.frequency_hz / frequency[k] - 1.0) > 0.01 or k == FREQUENCY.size - 1:
                continue
            inside.append(
                (
                    abs(mode.frequency_hz - frequency[k]) <= 1.96 * mode.frequency_hz_u,
                    abs(mode.loss_factor - loss[k]) <= 1.96 * mode.loss_factor_u,
                )
            )
            widths.append(mode.frequency_hz_u / mode.frequency_hz)
    assert len(inside) > 180
    assert np.min(np.mean(inside, axis=0)) >= 0.85
    assert np.median(widths) < wide


def test_survives_a_reflection_inside_the_gate_with_honest_intervals() -> None:
    made = make_response(FREQUENCY, LOSS, GAIN, noise_db=-80.0, reflection=(4.4e-3, 0.05))
    fit = _fit(made)
    for mode in fit.modes:
        k = int(np.argmin(np.abs(FREQUENCY - mode.frequency_hz)))
        assert abs(mode.frequency_hz - FREQUENCY[k]) < 3.0 * mode.frequency_hz_u


def test_a_heavily_damped_filament_is_read_too() -> None:
    # oracle: closed form at three times the usual loss
    made = make_response(FREQUENCY, 3.0 * LOSS, GAIN, noise_db=-90.0)
    frequency, loss = _errors(_fit(made), FREQUENCY[:5], 3.0 * LOSS[:5])
    assert np.max(np.abs(frequency)) < 2e-3
    assert np.max(np.abs(loss)) < 0.05


def test_scale_and_polarity_change_nothing_but_the_strength() -> None:
    made = make_response(FREQUENCY, LOSS, GAIN, noise_db=-80.0)
    one = _fit(made)
    other = fit_modes(-1e-3 * made.impulse, made.sample_rate_hz, onset_s=made.onset_s, length_s=5.5e-3)
    assert len(one.modes) == len(other.modes)
    for a, b in zip(one.modes, other.modes, strict=True):
        assert b.frequency_hz == pytest.approx(a.frequency_hz, rel=1e-7)
        assert b.frequency_hz_u == pytest.approx(a.frequency_hz_u, rel=1e-2)
        assert b.strength == pytest.approx(-1e-3 * a.strength, rel=1e-4)


def test_an_exported_response_without_anything_before_it_is_enough() -> None:
    # oracle: closed form; 16 bit, cut ten samples before the onset, so there is no noise to be had
    made = make_response(FREQUENCY, LOSS, GAIN, noise_db=-95.0)
    first = round(made.onset_s * 48000.0) - 10
    scale = 2.0**15 / np.max(np.abs(made.impulse))
    cut = np.rint(scale * made.impulse[first:])
    fit = fit_modes(cut, 48000.0, onset_s=10 / 48000.0, length_s=5.5e-3)
    frequency, loss = _errors(fit, FREQUENCY[:7], LOSS[:7])
    assert np.median(np.abs(frequency)) < 5e-5
    assert np.median(np.abs(loss)) < 4e-3
    assert np.isnan(fit.residual_over_noise)


def test_noise_alone_has_no_modes() -> None:
    noise = np.random.default_rng(4).standard_normal(24000)
    fit = fit_modes(noise, 48000.0, onset_s=0.25, length_s=5e-3)
    assert fit.modes == ()
    assert fit.reason == "no pole is stable over orders and starts and stands out of the rest"
    assert find_breakup(fit).mode is None
    assert find_breakup(fit).reason == fit.reason


def test_short_or_silent_parts_say_so() -> None:
    silent = fit_modes(np.zeros(4800), 48000.0, onset_s=0.05, length_s=5e-3)
    assert silent.reason == "the impulse response is zero after its onset"
    short = fit_modes(np.ones(4800), 48000.0, onset_s=0.05, length_s=1.2e-3)
    assert short.reason == "the reflection-free part is only 1.2 ms long; move the reflecting surface away"


def test_refuses_what_cannot_be_meant() -> None:
    with pytest.raises(ParameterError, match=r"onset_s and length_s must lie in the impulse response, 0\.1 s long"):
        fit_modes(np.ones(4800), 48000.0, onset_s=0.098, length_s=5e-3)
    with pytest.raises(ParameterError, match="one row of finite numbers"):
        fit_modes(np.full(4800, np.nan), 48000.0, onset_s=0.05, length_s=5e-3)
    with pytest.raises(ParameterError, match="must rise within half the sample rate, 24000 Hz"):
        fit_modes(np.ones(4800), 48000.0, onset_s=0.05, length_s=5e-3, band_hz=(100.0, 30000.0))


def test_pole_and_mode_are_the_same_thing() -> None:
    mode = Mode(4321.0, 0.0, 0.08, 0.0, 1.0 + 0.0j, 0.0)
    frequency_hz, loss_factor = frequency_and_loss(pole_of(mode))
    assert frequency_hz == pytest.approx(4321.0, rel=1e-12)
    assert loss_factor == pytest.approx(0.08, rel=1e-12)
    assert frequency_and_loss(-1.0 + 0.5j) != frequency_and_loss(-1.0 + 0.5j)  # NaN: more than critically damped


def _mode(frequency_hz: float, prominence_db: float, narrow: bool = False) -> Mode:
    return Mode(frequency_hz, 1.0, 0.02, 0.001, 1.0 + 0.0j, prominence_db, narrow)


def test_breakup_is_the_lowest_that_is_heard_and_blips_lie_below() -> None:
    # oracle: the definitions, written out by hand
    fit = ModeFit(
        (_mode(900.0, 5.0), _mode(1200.0, -14.0, True), _mode(2500.0, -12.5), _mode(3400.0, -11.9), _mode(4000.0, 8.0)),
        (_mode(450.0, -40.0), _mode(2800.0, -25.0)),
        20,
        (0.0, 0.0),
        1.0,
    )
    breakup = find_breakup(fit)
    assert breakup.mode == fit.modes[3]
    blips = find_blips(fit, breakup)
    assert [b.frequency_hz for b in blips] == [900.0, 1200.0, 2500.0, 2800.0]
    assert blips[1].height_db == pytest.approx(20.0 * np.log10(1.0 + 10.0 ** (-14.0 / 20.0)), rel=1e-12)
    nothing = find_breakup(ModeFit((_mode(500.0, 3.0),), (), 20, (0.0, 0.0), 1.0))
    assert nothing.mode is None
    assert nothing.reason == "no mode above 1000 Hz contributes -12 dB or more of the rest"
