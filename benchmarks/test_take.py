"""A take of 7.5 s, two channels, 48 kHz, 24 bit FLAC, through every reading; against a general acoustics package.

The named alternative is pyfar: its deconvolution (regularised inversion) and its 1/12-octave smoothing alone.
"""

from __future__ import annotations

import numpy as np
import pyfar
import pytest
import soundfile
from ratio import compare, least_s, say

from frusta.signal.reading import Conditions, TakeSignals, read_take
from frusta.signal.sweep import Sweep, make_sweep

SWEEP = Sweep(start_hz=20.0, stop_hz=20000.0, duration_s=6.0, lead_in_s=0.5, tail_s=1.0)
MODES = ((3100.0, 0.02), (4400.0, 0.03), (6200.0, 0.02), (8100.0, 0.03))


def impulse_response(rate: int) -> np.ndarray:
    """A direct sound, four ringing modes, and an echo after 7 ms."""
    t = np.arange(int(0.05 * rate)) / rate
    h = sum(0.1 * np.exp(-np.pi * f * eta * t) * np.sin(2 * np.pi * f * t) for f, eta in MODES)
    h[0] += 1.0
    h[int(0.007 * rate) :] += 0.2 * h[: len(h) - int(0.007 * rate)]
    return np.asarray(h)


@pytest.fixture(scope="module")
def take(tmp_path_factory):
    played = make_sweep(SWEEP)
    heard = 0.3 * np.convolve(played, impulse_response(48000))[: len(played)]
    heard = heard + 1e-4 * np.random.default_rng(1).standard_normal(len(played))
    path = tmp_path_factory.mktemp("take") / "take.flac"
    soundfile.write(path, np.column_stack([heard, played]), 48000, subtype="PCM_24")
    return path


def read(path, seconds: float | None = None):
    """The file, every figure, modes and harmonics of one take."""
    data, rate = soundfile.read(path, frames=-1 if seconds is None else int(seconds * 48000))
    signals = TakeSignals(
        np.ascontiguousarray(data[:, 0]), rate, np.ascontiguousarray(data[:, 1]), sweep=SWEEP, subtype_bits=24
    )
    return read_take(signals, Conditions(full_scale_pa=20.0))


def pyfar_response(path):
    """Deconvolution and smoothing alone, as a general package does them."""
    data, rate = soundfile.read(path)
    heard, played = (pyfar.Signal(data[:, k], rate) for k in (0, 1))
    inverse = pyfar.dsp.RegularizedSpectrumInversion.from_frequency_range(played, (20, 20000)).invert
    response = pyfar.dsp.convolve(heard, inverse, mode="cut", method="fft")
    return pyfar.dsp.smooth_fractional_octave(response, 12)


def test_every_reading_of_a_take(take):
    ratio = compare(lambda: read(take), lambda: pyfar_response(take))
    say("every reading of a take", ratio, "pyfar's deconvolution and smoothing")
    assert ratio.times_faster > 4


def test_cost_grows_linearly_with_length(tmp_path):
    """A take four times as long costs at most some six times as much (n log n, and the cache)."""
    times = []
    for seconds in (6.0, 24.0):
        sweep = Sweep(start_hz=20.0, stop_hz=20000.0, duration_s=seconds)
        heard = make_sweep(sweep)
        signals = TakeSignals(heard, 48000, sweep=sweep)
        times.append(least_s(lambda s=signals: read_take(s, Conditions()), 3))
    print(f"\n6 s: {1e3 * times[0]:.0f} ms, 24 s: {1e3 * times[1]:.0f} ms")
    assert times[1] < 6 * times[0]
