"""Onset, reflections, gate. Oracle: the reflection that was put in; and cones that ring but reflect nothing."""

from __future__ import annotations

import importlib.util
import sys
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from frusta.errors import ParameterError
from frusta.signal.gate import find_gate, find_onset, gate_window, gated_spectrum, spectrum_at
from frusta.signal.smoothing import log_grid
from frusta.signal.transfer import Deconvolved, band_taper, bins_hz, taper_band

_spec = importlib.util.spec_from_file_location("bench_cone", Path(__file__).with_name("bench_cone.py"))
assert _spec
assert _spec.loader
_bench = importlib.util.module_from_spec(_spec)
sys.modules["bench_cone"] = _bench
_spec.loader.exec_module(_bench)
Cone = _bench.Cone

RATE = 48000
SIZE = 1 << 16


def response_of(cone, noise=0.0, seed=0):
    band = taper_band(20.0, 20000.0, RATE)
    taper = band_taper(bins_hz(SIZE, RATE), band)
    spectrum = cone.response(bins_hz(SIZE, RATE)) * taper
    impulse = np.fft.irfft(spectrum, SIZE)
    impulse += noise * np.abs(impulse).max() * np.random.default_rng(seed).standard_normal(SIZE)
    return Deconvolved(impulse, np.fft.rfft(impulse), taper, RATE, band)


@settings(max_examples=25, deadline=None)
@given(st.floats(0.0045, 0.02), st.floats(0.08, 0.4), st.booleans())
def test_a_reflection_is_found_where_it_is(delay_s, strength, inverted):
    cone = Cone(reflection_s=delay_s, reflection=-strength if inverted else strength)
    gate = find_gate(response_of(cone, 3e-5), 343.2)
    assert gate.reflection_s == pytest.approx(delay_s, abs=5e-5)
    assert gate.reflection_db == pytest.approx(20 * np.log10(strength), abs=2.0)
    assert gate.length_s < delay_s
    assert gate.path_m == pytest.approx(343.2 * gate.length_s)


@pytest.mark.parametrize("loss_factor", [0.01, 0.02, 0.05])
@pytest.mark.parametrize("spacing_hz", [900.0, 1500.0, 2500.0])
def test_ringing_is_no_reflection(loss_factor, spacing_hz):
    """Evenly spaced modes ring in pulses, which look like reflections in time."""
    modes = tuple((2500.0 + spacing_hz * k, 2500.0 + spacing_hz * (k + 0.4)) for k in range(int(15000 / spacing_hz)))
    gate = find_gate(response_of(Cone(modes=modes, loss_factor=loss_factor, reflection=0.0), 1e-5), 343.2)
    assert gate.reflection_s is None


def large_cone(seed, loss_factor, **reflection):
    """Thirty poles 200 to 800 Hz apart with a zero somewhere between each two: the waves come back late and strong."""
    rng = np.random.default_rng(seed)
    poles = np.cumsum(rng.uniform(200.0, 800.0, 30)) + 900.0
    modes = [(f, f + rng.uniform(0.1, 0.9) * (g - f)) for f, g in pairwise(poles)]
    return Cone(modes=tuple(m for m in modes if m[0] < 19000.0), loss_factor=loss_factor, **reflection)


@pytest.mark.parametrize("seed", range(1, 7))
def test_a_reflection_shows_through_the_ringing_of_a_large_cone(seed):
    """Its cepstrum may be as high as a reflection's, earlier, and hides no later copy."""
    for delay_s, strength in ((0.0031, 0.4), (0.0045, 0.2), (0.0061, 0.2)):
        cone = large_cone(seed, 0.03, reflection_s=delay_s, reflection=strength)
        found = find_gate(response_of(cone, 1e-4), 343.2)
        assert found.reflection_s == pytest.approx(delay_s, abs=5e-5)
    for loss_factor in (0.01, 0.03):
        assert find_gate(response_of(large_cone(seed, loss_factor, reflection=0.0), 1e-4), 343.2).reflection_s is None


def test_two_reflections_are_two_and_their_multiples_none():
    cone = Cone(reflection_s=0.004, reflection=0.3)
    one = response_of(cone)
    late = one.spectrum * (1 + 0.1 * np.exp(-2j * np.pi * one.frequency_hz * 0.0093))
    both = Deconvolved(np.fft.irfft(late, SIZE), late, one.taper, RATE, one.band)
    found = [round(1e3 * r.delay_s, 2) for r in find_gate(both, 343.2).reflections]
    assert found[:2] == [4.0, 9.3]


def test_the_gate_can_be_set_by_hand():
    gate = find_gate(response_of(Cone()), 343.2, 0.003)
    assert (gate.length_s, gate.by_hand) == (0.003, True)
    with pytest.raises(ParameterError, match="gate_s must be between"):
        find_gate(response_of(Cone()), 343.2, 1e-5)


def test_the_onset_is_a_tenth_of_the_peak():
    impulse = np.zeros(1000)
    impulse[500:505] = [0.05, 0.2, 1.0, -0.5, 0.3]
    assert find_onset(impulse, 48000.0) == (501, 502)
    assert find_onset(np.roll(impulse, -501), 48000.0) == (0, 1)
    with pytest.raises(ParameterError, match="zero throughout"):
        find_onset(np.zeros(100), 48000.0)


def test_the_gated_spectrum_of_a_short_response_is_its_own():
    """Oracle: the direct Fourier sum."""
    rng = np.random.default_rng(4)
    segment = rng.standard_normal(200) * np.exp(-np.arange(200) / 20.0)
    grid = log_grid(50.0, 18000.0, 12)
    true = np.exp(-2j * np.pi * np.outer(grid, np.arange(200) - 30) / RATE) @ segment
    assert np.abs(spectrum_at(segment, 30, RATE, grid) - true).max() < 2e-3 * np.abs(true).max()


def test_a_gate_takes_the_reflection_out():
    grid = log_grid(400.0, 15000.0)
    gated = response_of(Cone(loss_factor=0.08))
    found = gated_spectrum(gated, find_gate(gated, 343.2), grid)
    true = np.abs(Cone(loss_factor=0.08, reflection=0.0).response(grid)) * band_taper(grid, gated.band)
    assert np.sqrt(np.mean((20 * np.log10(np.abs(found) / true)) ** 2)) < 0.2
    assert gate_window(100)[:50].min() == 1.0
