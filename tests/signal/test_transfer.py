"""Division by what was played. Oracles: known filters, Chebyshev identities, linearity, shift invariance."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal as sps

from frusta.errors import ParameterError
from frusta.signal.sweep import Sweep, make_sweep
from frusta.signal.transfer import (
    band_taper,
    deconvolve,
    sound_speed_m_s,
    stretch,
    taper_band,
)

SWEEP = Sweep(20.0, 20000.0, 2.0, lead_in_s=0.1, tail_s=0.4)
PLAYED = make_sweep(SWEEP)
BAND = (20.0, 20000.0)


def test_a_known_filter_comes_back():
    """Oracle: the filter's own transfer function, closed form (bilinear second order)."""
    b, a = sps.butter(2, [300, 5000], "band", fs=48000)
    found = deconvolve(sps.lfilter(b, a, PLAYED), PLAYED, 48000, BAND)
    at = (found.frequency_hz > 100) & (found.frequency_hz < 15000)
    _, true = sps.freqz(b, a, found.frequency_hz[at], fs=48000)
    assert np.abs(found.spectrum[at] / true - 1.0).max() < 1e-3


@pytest.mark.parametrize("order", [1, 2, 3])
def test_harmonics_of_a_polynomial_have_chebyshevs_amplitudes_and_arrive_in_time(order):
    """x = A sin: order 1 A + 3 a3 A^3 / 4, order 2 a2 A^2 / 2, order 3 a3 A^3 / 4; exact, 0.01 dB in mid-band."""
    sweep = Sweep(20.0, 20000.0, 6.0)
    x = make_sweep(sweep)
    a2, a3, amplitude = 0.1, 0.2, sweep.amplitude
    found = deconvolve(x + a2 * x**2 + a3 * x**3, x, 48000, BAND)
    true = {1: 1 + 0.75 * a3 * amplitude**2, 2: a2 * amplitude / 2, 3: a3 * amplitude**2 / 4}[order]
    lead = sweep.harmonic_lead_s(order) * 48000
    segment = stretch(found.impulse, 4000, 4000, -round(lead)) * np.hanning(8000)
    spectrum = np.abs(np.fft.rfft(segment))
    frequency = np.fft.rfftfreq(8000, 1 / 48000)
    middle = (frequency > 2000) & (frequency < 10000)
    assert np.abs(20 * np.log10(spectrum[middle] / true)).max() < 0.01
    envelope = np.abs(sps.hilbert(segment))
    assert abs(int(np.argmax(envelope)) - 4000) <= 1


@settings(max_examples=20, deadline=None)
@given(st.floats(-3, 3), st.integers(0, 2**32 - 1))
def test_division_is_linear(factor, seed):
    rng = np.random.default_rng(seed)
    a, b = rng.standard_normal((2, PLAYED.size))
    whole = deconvolve(a + factor * b, PLAYED, 48000, BAND).impulse
    parts = deconvolve(a, PLAYED, 48000, BAND).impulse + factor * deconvolve(b, PLAYED, 48000, BAND).impulse
    assert np.allclose(whole, parts, atol=1e-9 * np.abs(parts).max())


@settings(max_examples=20, deadline=None)
@given(st.integers(-20000, 20000))
def test_a_late_recording_gives_a_late_response(shift):
    recording = np.roll(np.pad(PLAYED, (20000, 20000)), shift)
    found = deconvolve(recording, np.pad(PLAYED, (20000, 20000)), 48000, BAND).impulse
    assert int(np.argmax(found)) == shift % found.size


@pytest.mark.parametrize("kind", ["linear", "noise"])
def test_any_broadband_signal_divides_out(kind):
    rng = np.random.default_rng(5)
    time_s = np.arange(96000) / 48000
    played = np.sin(2 * np.pi * (10 * time_s + 5750 * time_s**2)) if kind == "linear" else rng.standard_normal(96000)
    b, a = sps.butter(1, 2000, fs=48000)
    padded = np.pad(played, (0, 4000))
    found = deconvolve(sps.lfilter(b, a, padded), padded, 48000, (50, 18000), regularisation=1e-4)
    at = (found.frequency_hz > 200) & (found.frequency_hz < 12000)
    _, true = sps.freqz(b, a, found.frequency_hz[at], fs=48000)
    error = np.abs(found.spectrum[at] / true - 1.0)
    assert np.sqrt(np.mean(error**2)) < 0.02


def test_the_taper_stands_where_it_should():
    taper = band_taper(
        np.array([19.0, 20.0, 34.641, 60.0, 1000.0, 15500.0, 17750.0, 20000.0]), taper_band(20, 20000, 48000)
    )
    assert np.allclose(taper, [0, 0, 0.5, 1, 1, 1, 0.5, 0], atol=1e-5)


@pytest.mark.parametrize(("celsius", "speed"), [(15, 340.26), (20, 343.20), (25, 346.11), (30, 349.00)])
def test_sound_speed(celsius, speed):
    """ISO 9613-1: c = 343.2 sqrt(T / 293.15 K)."""
    assert round(sound_speed_m_s(celsius), 2) == speed


def test_what_cannot_be_divided_is_refused():
    with pytest.raises(ParameterError, match="must have energy"):
        deconvolve(PLAYED, np.zeros(PLAYED.size), 48000, BAND)
    with pytest.raises(ParameterError, match="one channel of finite numbers"):
        deconvolve(np.full(1000, np.nan), PLAYED, 48000, BAND)
    with pytest.raises(ParameterError, match="at least two octaves"):
        taper_band(1000, 2000, 48000)
    with pytest.raises(ParameterError, match="between -40 and 60"):
        sound_speed_m_s(200)
