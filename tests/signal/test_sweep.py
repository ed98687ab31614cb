"""Sweeps. Oracle: the closed form of Novak, Lotton, Simon, JAES 63(10), 2015, and its own derivative."""

from __future__ import annotations

import math

import numpy as np
import pytest

from frusta.errors import ParameterError
from frusta.signal.sweep import Sweep, fit_sweep, make_sweep

USUAL = Sweep(20.0, 20000.0, 6.0)


def test_rate_and_duration_are_those_of_the_paper():
    assert USUAL.rate_s == round(20.0 * 6.0 / math.log(1000.0)) / 20.0 == 0.85
    assert pytest.approx(0.85 * math.log(1000.0), rel=1e-12) == USUAL.sounding_s
    assert round(USUAL.sounding_s, 5) == 5.87159


@pytest.mark.parametrize(("order", "lead_s"), [(2, 0.58918), (3, 0.93382), (4, 1.17835), (5, 1.36802)])
def test_harmonics_lead_by_l_ln_n(order, lead_s):
    """Farina, AES 108th Convention, preprint 5093 (2000)."""
    assert round(USUAL.harmonic_lead_s(order), 5) == lead_s


def test_samples_follow_the_closed_form_between_the_fades():
    signal = make_sweep(USUAL)
    assert signal.size == USUAL.samples == round(48000 * (0.5 + USUAL.sounding_s + 1.0))
    index = np.arange(round(0.6 * 48000), round(6.3 * 48000), 997)
    time_s = index / 48000 - 0.5
    closed = 10 ** (-6 / 20) * np.sin(2 * np.pi * 20.0 * 0.85 * np.exp(time_s / 0.85))
    assert np.allclose(signal[index], closed, atol=1e-9)
    assert not signal[: 48000 // 2].any()
    assert not signal[-48000 + 1 :].any()


def test_a_fast_clock_samples_the_same_sound_more_finely():
    fast, plain = make_sweep(USUAL, 100.0), make_sweep(USUAL)
    at = np.arange(30000, 60000)  # low frequencies, where linear interpolation is exact to 1e-4
    assert np.allclose(np.interp(at * (1 + 1e-4), np.arange(fast.size), fast), plain[at], atol=2e-4)


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"stop_hz": 30000.0}, "at most half the sample rate"),
        ({"start_hz": 0.0}, "start_hz must be above 0"),
        ({"duration_s": 0.001}, "too short"),
        ({"duration_s": -1.0}, "must be positive"),
        ({"level_dbfs": 1.0}, "at most 0"),
        ({"fade_in_s": 7.0}, "fades must fit"),
        ({"tail_s": -1.0}, "must not be negative"),
        ({"level_dbfs": math.nan}, "finite"),
    ],
)
def test_what_cannot_be_played_is_refused(change, match):
    with pytest.raises(ParameterError, match=match):
        Sweep(**({"start_hz": 20.0, "stop_hz": 20000.0, "duration_s": 6.0} | change))


@pytest.mark.parametrize(
    "sweep",
    [
        USUAL,
        Sweep(30.0, 18000.0, 3.0, sample_rate_hz=44100, fade_in_s=0.1),
        Sweep(10.0, 40000.0, 8.0, sample_rate_hz=96000, lead_in_s=0.0, tail_s=0.0),
        Sweep(20.0, 80000.0, 2.0, sample_rate_hz=192000),
        Sweep(50.0, 20000.0, 1.0, fade_in_s=0.0, fade_out_s=0.0),
        Sweep(20.0, 20000.0, 12.0, fade_out_s=0.05, level_dbfs=-20.0),
    ],
)
def test_an_exponential_sweep_is_recognised(sweep):
    fit = fit_sweep(make_sweep(sweep), sweep.sample_rate_hz)
    assert fit.exponential
    assert fit.reason is None
    assert fit.rate_s == pytest.approx(sweep.rate_s, rel=1e-6)
    assert fit.begin_s == pytest.approx(sweep.lead_in_s, abs=0.1 * sweep.fade_in_s + 0.002)
    assert fit.end_s == pytest.approx(sweep.lead_in_s + sweep.sounding_s, abs=0.1 * sweep.fade_out_s + 0.001)
    law = sweep.start_hz * math.exp((fit.begin_s - sweep.lead_in_s) / sweep.rate_s)
    assert fit.start_hz == pytest.approx(law, rel=1e-4)
    assert fit.amplitude == pytest.approx(sweep.amplitude, rel=1e-3)


def test_a_sweep_in_noise_and_at_another_place_is_recognised():
    noise = 1e-3 * np.random.default_rng(3).standard_normal(USUAL.samples)
    fit = fit_sweep(np.roll(make_sweep(USUAL), -7000) + noise, 48000)
    assert fit.exponential
    assert fit.rate_s == pytest.approx(0.85, rel=1e-5)


def linear(time_s):
    return np.sin(2 * np.pi * (20 * time_s + 0.5 * 19980 / 4 * time_s**2))


def power_law(time_s):
    return np.sin(2 * np.pi * (20 * time_s + 19980 / 3 / 16 * time_s**3))


@pytest.mark.parametrize(
    ("signal", "match"),
    [
        (linear(np.arange(192000) / 48000), "linearly"),
        (power_law(np.arange(192000) / 48000), "another law"),
        (np.random.default_rng(1).standard_normal(192000), "no sweep"),
        (np.sin(np.arange(192000) * 0.1), "two octaves"),
        (make_sweep(Sweep(1000.0, 2000.0, 3.0)), "two octaves"),
        (make_sweep(USUAL)[::-1].copy(), "does not rise"),
    ],
)
def test_what_is_no_exponential_sweep_says_why(signal, match):
    fit = fit_sweep(signal, 48000)
    assert not fit.exponential
    assert fit.reason
    assert match in fit.reason


def test_a_sweep_that_only_claims_to_be_exponential_is_told():
    """A warp of 3 ms in its timing leaves the spectrum alone and ruins the harmonics."""
    time_s = np.arange(round(USUAL.sounding_s * 48000)) / 48000
    warped = time_s + 0.003 * np.sin(2 * np.pi * time_s / 1.5)
    fit = fit_sweep(np.sin(2 * np.pi * 17.0 * np.exp(warped / 0.85)), 48000)
    assert not fit.exponential
    assert "phase strays" in (fit.reason or "")


@pytest.mark.parametrize(
    ("signal", "match"),
    [(np.zeros(1000), "silent"), (np.full(1000, np.nan), "finite"), (np.ones(10), "at least 64")],
)
def test_what_cannot_be_fitted_is_refused(signal, match):
    with pytest.raises(ParameterError, match=match):
        fit_sweep(signal, 48000)
