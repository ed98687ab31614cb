"""Lost and torn samples in a loopback. Oracle: constructed: what was taken out is known to the sample."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from frusta.bench.slips import find_slip
from frusta.signal.sweep import Sweep, make_sweep

RATE = 48000
SWEEPS = {"short": Sweep(50.0, 16000.0, 1.0, 0.1, 0.3), "long": Sweep(20.0, 20000.0, 3.0)}


def loopback(played, seed=1, noise_db=-70.0, corner_hz=8.0, lag=700):
    """What an interface hands back: late, coupled by a capacitor, with a little noise."""
    b, a = signal.butter(1, corner_hz, "high", fs=RATE)
    late = np.concatenate([np.zeros(lag), 0.8 * signal.lfilter(b, a, played), np.zeros(9000)])
    return late + 10 ** (noise_db / 20) * np.random.default_rng(seed).standard_normal(late.size)


@pytest.mark.parametrize("name", SWEEPS)
@pytest.mark.parametrize("noise_db", [-90.0, -50.0, -30.0])
def test_an_even_loopback_has_no_slip(name, noise_db):
    played = make_sweep(SWEEPS[name])
    assert find_slip(loopback(played, 1, noise_db), SWEEPS[name], RATE) is None


@pytest.mark.parametrize("ppm", [-200.0, 30.0, 200.0])
def test_another_clock_is_no_slip(ppm):
    other = make_sweep(SWEEPS["long"], clock_ppm=ppm)
    assert find_slip(loopback(other), SWEEPS["long"], RATE) is None


@pytest.mark.parametrize("name", SWEEPS)
@pytest.mark.parametrize("samples", [1, -1, 5, 480])
@pytest.mark.parametrize("share", [0.5, 0.85])
def test_lost_and_doubled_samples_are_found_down_to_one(name, samples, share):
    sweep = SWEEPS[name]
    heard = loopback(make_sweep(sweep))
    at = 700 + round((sweep.lead_in_s + share * sweep.sounding_s) * RATE)
    found = find_slip(np.concatenate([heard[:at], heard[at + samples :]]), sweep, RATE)
    assert found is not None
    assert found.fault == "dropout"


@pytest.mark.parametrize("name", SWEEPS)
@pytest.mark.parametrize("gap_s", [0.02, 0.2])
@pytest.mark.parametrize("kind", ["silenced", "delayed", "lost"])
def test_gaps_are_found(name, gap_s, kind):
    sweep = SWEEPS[name]
    played = make_sweep(sweep)
    heard = loopback(played)
    at = 700 + round((sweep.lead_in_s + 0.4 * sweep.sounding_s) * RATE)
    gap = round(gap_s * RATE)
    if kind == "silenced":
        heard[at : at + gap] = 0.0
    elif kind == "delayed":
        heard = np.concatenate([heard[:at], np.zeros(gap), heard[at:]])[: heard.size]
    else:
        heard = np.concatenate([heard[:at], heard[at + gap :]])
    assert find_slip(heard, sweep, RATE) is not None


def test_a_silent_loopback_is_another_fault():
    assert find_slip(np.zeros(96000), SWEEPS["short"], RATE) is None


def test_a_sweep_that_comes_as_a_file_is_held_against_itself():
    played = make_sweep(SWEEPS["short"])
    heard = loopback(played)
    assert find_slip(heard, played, RATE) is None
    assert find_slip(np.concatenate([heard[:40000], heard[40100:]]), played, RATE) is not None
