"""Clock error from one recording. Oracle: the clock that the recording was made with, sample by sample."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest

from frusta.errors import ParameterError
from frusta.signal.clock import correct_clock, estimate_clock_ppm
from frusta.signal.gate import find_onset
from frusta.signal.sweep import Sweep, make_sweep
from frusta.signal.transfer import deconvolve

_spec = importlib.util.spec_from_file_location("bench_cone", Path(__file__).with_name("bench_cone.py"))
assert _spec
assert _spec.loader
_bench = importlib.util.module_from_spec(_spec)
sys.modules["bench_cone"] = _bench
_spec.loader.exec_module(_bench)
Cone = _bench.Cone
record = _bench.record

SWEEP = Sweep(20.0, 20000.0, 6.0)
PLAYED = make_sweep(SWEEP)


def estimate(recording, sweep=SWEEP, played=PLAYED):
    """Two passes, as a reading does it."""
    first = deconvolve(recording, played, sweep.sample_rate_hz, (sweep.start_hz, sweep.stop_hz))
    coarse = estimate_clock_ppm(first, sweep.rate_s, find_onset(first.impulse, first.sample_rate_hz)[1])
    second = correct_clock(first, coarse.ppm, sweep.rate_s, sweep.start_hz, sweep.lead_in_s)
    rest = estimate_clock_ppm(
        second, sweep.rate_s, find_onset(second.impulse, second.sample_rate_hz)[1], largest_ppm=200.0
    )
    return coarse.ppm + rest.ppm, rest


@pytest.mark.parametrize("noise_db", [None, -50.0])
@pytest.mark.parametrize("ppm", [0.0, 20.0, -20.0, 100.0, -100.0, 200.0, -200.0])
def test_the_clock_is_told_within_3_ppm_and_its_uncertainty_is_honest(ppm, noise_db):
    found, clock = estimate(record(SWEEP, Cone(), ppm=ppm, noise_db=noise_db))
    assert abs(found - ppm) < 3.0
    assert abs(found - ppm) < 3.0 * clock.ppm_u
    assert clock.ppm_u < 3.0


@pytest.mark.parametrize("ppm", [50.0, -120.0])
def test_a_cone_without_distortion_shows_it_in_its_phase_alone(ppm):
    found, clock = estimate(record(SWEEP, Cone(second=0.0, third=0.0), ppm=ppm, noise_db=-70.0))
    assert not np.isfinite(clock.harmonics_u)
    assert abs(found - ppm) < 3.0 * clock.ppm_u
    assert clock.ppm_u < 5.0


@pytest.mark.parametrize(
    "sweep",
    [Sweep(30.0, 18000.0, 4.0, sample_rate_hz=44100), Sweep(20.0, 22000.0, 8.0, sample_rate_hz=96000)],
)
def test_other_sweeps_and_rates(sweep):
    found, clock = estimate(record(sweep, Cone(), ppm=80.0, noise_db=-60.0), sweep, make_sweep(sweep))
    assert abs(found - 80.0) < min(3.0, 3.0 * clock.ppm_u)


def test_noise_alone_shows_no_clock():
    noise = np.random.default_rng(2).standard_normal(PLAYED.size)
    response = deconvolve(noise, PLAYED, 48000, (20, 20000))
    assert not np.isfinite(estimate_clock_ppm(response, SWEEP.rate_s, 5000).ppm_u)


def test_the_correction_is_exact():
    """Oracle: the sweep as the fast clock samples it, divided by the plain one, becomes a unit impulse again."""
    response = deconvolve(make_sweep(SWEEP, 150.0), PLAYED, 48000, (20, 20000))
    again = correct_clock(response, 150.0, SWEEP.rate_s, SWEEP.start_hz, SWEEP.lead_in_s)
    assert again.sample_rate_hz == pytest.approx(48000 * (1 + 150e-6))
    inside = (again.frequency_hz > 60) & (again.frequency_hz < 15000)
    assert np.abs(again.spectrum[inside] - 1.0).max() < 2e-3


def test_only_exponential_sweeps_show_it():
    response = deconvolve(PLAYED, PLAYED, 48000, (20, 20000))
    with pytest.raises(ParameterError, match="only exponential sweeps"):
        estimate_clock_ppm(response, 0.0, 0)
