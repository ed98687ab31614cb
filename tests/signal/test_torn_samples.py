"""Values held and blocks written twice are told from any sound, however quiet they are."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest

from frusta.signal.fault import SweepPlace
from frusta.signal.torn_samples import find_torn, stands_still

_spec = importlib.util.spec_from_file_location("bench_take", Path(__file__).with_name("bench_take.py"))
assert _spec is not None
assert _spec.loader is not None
bench = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(bench)
PLACE, RATE, SWEEP = bench.PLACE, bench.RATE, bench.SWEEP
quantise, take = bench.quantise, bench.take
STEP = 2.0**-23
IN_RECORDING = SweepPlace(PLACE.begin_s + 0.02, PLACE.end_s + 0.02, PLACE.start_hz, PLACE.stop_hz, PLACE.rate_s)


def _at(frequency_hz: float) -> int:
    return round(IN_RECORDING.time_of(frequency_hz) * RATE)


@pytest.mark.parametrize("frequency_hz", [60.0, 300.0, 2000.0, 16500.0, 18500.0])
@pytest.mark.parametrize("held", ["zero", "last"])
def test_a_value_held_for_a_millisecond(frequency_hz, held):
    broken = take()
    at = _at(frequency_hz)
    samples = 48 if frequency_hz > 100.0 else 480
    broken[at : at + samples] = 0.0 if held == "zero" else broken[at - 1]
    (fault,) = find_torn(broken, RATE, STEP, IN_RECORDING)
    assert fault.fault == "dropout"
    assert fault.quality == "repeat"
    assert fault.time_s == pytest.approx(at / RATE, abs=2e-3)
    assert fault.frequency_hz == pytest.approx(frequency_hz, rel=0.02)


@pytest.mark.parametrize("block", [32, 64, 256, 441, 1024])
@pytest.mark.parametrize("frequency_hz", [60.0, 300.0, 3000.0])
def test_a_block_written_twice(frequency_hz, block):
    broken = take()
    at = _at(frequency_hz)
    broken[at : at + block] = broken[at - block : at]
    (fault,) = find_torn(broken, RATE, STEP, IN_RECORDING)
    assert fault.time_s == pytest.approx(at / RATE, abs=2e-3)


@pytest.mark.parametrize("bits", [16, 24])
@pytest.mark.parametrize("noise", [0.0, 1e-5, 3e-3])
def test_good_takes_are_whole(noise, bits):
    for seed in range(3):
        good = quantise(take(seed, noise), bits)
        assert find_torn(good, RATE, 2.0 ** (1 - bits), IN_RECORDING) == ()


def test_a_coarse_slow_sine_rests_at_its_top():
    # closed form: 40 steps high, 30 Hz, it stays within a step for 2 sqrt(2/40)/(2 pi 30) s = 2.4 ms
    wave = np.rint(40.0 * np.sin(2.0 * np.pi * 30.0 * np.arange(RATE // 4) / RATE))
    rest = int(np.diff(np.flatnonzero(np.diff(wave))).max())
    assert rest > 16
    assert not stands_still(wave, rest, RATE, 1.0, 30.0)
    assert SWEEP.sample_rate_hz == RATE
