"""A whole reading. Oracle: the make-believe cone's own closed-form response, and what was put into the recording."""

from __future__ import annotations

import importlib.util
import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from frusta.errors import ParameterError
from frusta.signal.calibration import Calibration
from frusta.signal.level import RigidResponse, level_db
from frusta.signal.reading import FIGURES, Conditions, TakeSignals, interpolate, read_take
from frusta.signal.smoothing import log_grid
from frusta.signal.sweep import Sweep, make_sweep

_spec = importlib.util.spec_from_file_location("bench_cone", Path(__file__).with_name("bench_cone.py"))
assert _spec
assert _spec.loader
_bench = importlib.util.module_from_spec(_spec)
sys.modules["bench_cone"] = _bench
_spec.loader.exec_module(_bench)

SWEEP = Sweep(20.0, 20000.0, 4.0)
CONE = _bench.Cone()
BARE = replace(CONE, reflection=0.0)
GRID = log_grid(25.0, 19000.0)
TAKE = TakeSignals(_bench.record(SWEEP, CONE, noise_db=-60.0), 48000, sweep=SWEEP)


@pytest.fixture(scope="module")
def reading():
    return read_take(TAKE, Conditions(full_scale_pa=20.0))


def true_level():
    power = np.abs(0.2 * BARE.response(GRID)) ** 2
    return level_db(GRID, power) + 20 * math.log10(SWEEP.amplitude / math.sqrt(2) * 20.0 / 20e-6)


def test_every_figure_is_there_or_says_why(reading):
    assert tuple(reading.figures) == FIGURES
    for key, value in reading.figures.items():
        assert value is not None or reading.reasons[key]
    assert reading.quality == "ok"
    assert all(math.isfinite(u) and u >= 0 for u in reading.uncertainties.values())


def test_level_and_curve_are_the_cones_own(reading):
    assert reading.figures["level_db"] == pytest.approx(true_level(), abs=0.1)
    grid = reading.curves.frequency_hz
    inside = (grid > 300) & (grid < 10000)
    true = 20 * np.log10(np.abs(BARE.response(grid[inside])))
    difference = reading.curves.level_db[inside] - true
    assert np.std(difference) < 0.5  # the gate of 5.6 ms rounds off resonances that ring longer


def test_the_level_of_a_wire_is_exact():
    """Closed form: 20 lg(gain x amplitude / sqrt 2 x full scale / 20 uPa); nothing rings, so the gate takes nothing."""
    hiss = 1e-6 * np.random.default_rng(0).standard_normal(SWEEP.samples)
    wire = read_take(TakeSignals(0.2 * np.roll(make_sweep(SWEEP), 700) + hiss, 48000, sweep=SWEEP), Conditions(20.0))
    true = 20 * math.log10(0.2 * SWEEP.amplitude / math.sqrt(2) * 20.0 / 20e-6)
    assert wire.figures["level_db"] == pytest.approx(true, abs=0.03)
    assert wire.figures["delay_ms"] == pytest.approx(700 / 48, abs=0.1)


def test_gain_drive_and_microphone_are_taken_out(reading):
    microphone = Calibration(np.array([20.0, 20000.0]), np.array([6.0, 6.0]))
    other = read_take(TAKE, Conditions(full_scale_pa=20.0, drive_gain_db=-2.0, calibration=microphone))
    assert other.figures["level_db"] == pytest.approx(reading.figures["level_db"] + 2.0 - 6.0, abs=1e-9)
    relative = read_take(TAKE, Conditions())
    assert "relative" in relative.reasons["level_db"]


def test_breakup_delay_gate_and_polarity(reading):
    assert reading.figures["breakup_hz"] == pytest.approx(3800.0, rel=1e-3)
    assert reading.figures["breakup_loss_factor"] == pytest.approx(0.03, rel=0.03)
    assert reading.figures["delay_ms"] == pytest.approx(20.0, abs=0.1)
    assert reading.gate.reflection_s == pytest.approx(CONE.reflection_s, abs=5e-5)
    assert reading.polarity == 1


def test_a_slow_clock_is_taken_out_of_every_figure(reading):
    slow = read_take(replace(TAKE, recording=_bench.record(SWEEP, CONE, ppm=-80.0, noise_db=-60.0)), Conditions(20.0))
    assert slow.figures["clock_ppm"] == pytest.approx(-80.0, abs=3.0)
    for key, rel in (("breakup_hz", 2e-4), ("breakup_loss_factor", 0.01), ("level_db", 1e-3)):
        assert slow.figures[key] == pytest.approx(reading.figures[key], rel=rel)
    # the onset is a whole sample, so the two may lie half a sample apart: compare without phase
    a, b = (np.abs(np.fft.rfft(r.impulse[:1700]))[5:500] for r in (slow, reading))
    assert np.sqrt(np.mean((a / b - 1.0) ** 2)) < 0.01


def test_dividing_by_a_reference_gives_the_same(reading):
    reference = 0.5 * np.roll(make_sweep(SWEEP), 480)
    other = read_take(replace(TAKE, reference=reference), Conditions(20.0))
    assert other.figures["delay_ms"] == pytest.approx(reading.figures["delay_ms"] - 10.0, abs=1e-6)
    assert other.figures["breakup_hz"] == pytest.approx(reading.figures["breakup_hz"], rel=1e-6)
    assert other.figures["level_db"] == pytest.approx(reading.figures["level_db"], abs=1e-3)
    assert other.figures["clock_ppm"] is None


def test_a_reference_that_carries_another_sweep_is_told():
    """The response is right all the same, but its harmonics would be read where they are not."""
    for changes in ({"duration_s": 4.5}, {"start_hz": 40.0}, {"stop_hz": 12000.0}):
        other = replace(SWEEP, **changes)
        heard, played = _bench.record(other, CONE, noise_db=-60.0), 0.7 * make_sweep(other)
        found = read_take(TakeSignals(heard, 48000, reference=played, sweep=SWEEP), Conditions())
        assert found.quality == "repeat"
        assert found.faults[0].fault == "wrong-sweep"
        right = read_take(TakeSignals(heard, 48000, reference=played, sweep=other), Conditions())
        assert right.quality == "ok"


def test_a_sweep_from_elsewhere_reads_the_same(reading):
    other = read_take(TakeSignals(TAKE.recording, 48000, played=make_sweep(SWEEP)), Conditions(20.0))
    for key in ("level_db", "breakup_hz", "thd_peak_percent"):
        assert other.figures[key] == pytest.approx(reading.figures[key], rel=0.02)


def test_noise_from_elsewhere_gives_a_response_and_no_harmonics(reading):
    rng = np.random.default_rng(1)
    played = np.concatenate([0.2 * rng.standard_normal(4 * 48000), np.zeros(24000)])
    frequency = np.fft.rfftfreq(1 << 18, 1 / 48000)
    heard = np.fft.irfft(np.fft.rfft(played, 1 << 18) * CONE.response(frequency), 1 << 18)[: played.size]
    other = read_take(TakeSignals(0.2 * heard, 48000, played=played), Conditions(20.0))
    assert other.figures["breakup_hz"] == pytest.approx(reading.figures["breakup_hz"], rel=3e-3)
    assert other.figures["thd_peak_percent"] is None
    assert "no exponential sweep" in other.reasons["thd_peak_percent"]
    assert "no exponential sweep" in other.reasons["clock_ppm"]


def test_an_impulse_response_gives_all_that_is_linear(reading):
    other = read_take(TakeSignals(reading.impulse, 48000, kind="impulse"), Conditions())
    assert other.figures["breakup_hz"] == pytest.approx(reading.figures["breakup_hz"], rel=1e-3)
    assert other.figures["decay_5_percent_ms"] == pytest.approx(reading.figures["decay_5_percent_ms"], abs=0.1)
    assert "no harmonics" in other.reasons["thd_peak_percent"]


def test_the_piston_limit_needs_the_rigid_cone(reading):
    assert "rigid" in reading.reasons["piston_limit_hz"]
    flat = RigidResponse(GRID, -(GRID**2) / (90.0**2 - GRID**2 + 0.5j * GRID * 90.0))
    other = read_take(TAKE, Conditions(20.0, rigid=flat))
    gap = np.abs(20 * np.log10(np.abs(BARE.response(GRID) / flat.pressure)))
    true = GRID[(gap > 3) & (GRID > 300)][0]
    assert other.figures["piston_limit_hz"] == pytest.approx(true, rel=0.03)


@pytest.mark.parametrize("fill", [0.0, 1e-5])
def test_silence_has_no_figures_and_is_to_be_repeated(fill):
    hiss = fill * np.random.default_rng(0).standard_normal(TAKE.recording.size)
    found = read_take(replace(TAKE, recording=hiss), Conditions())
    assert found.quality == "repeat"
    assert set(found.figures.values()) == {None}
    assert all(found.reasons[key] for key in FIGURES)


def test_a_tap_gives_modes_only():
    time_s = np.arange(48000) / 48000
    ring = np.exp(-np.pi * 800 * 0.01 * time_s) * np.sin(2 * np.pi * 800 * time_s)
    hiss = 1e-4 * np.random.default_rng(0).standard_normal(52800)
    struck = np.concatenate([np.zeros(4800), ring]) + hiss
    found = read_take(TakeSignals(struck, 48000, kind="tap"), Conditions())
    assert any(abs(m.frequency_hz - 800) < 1 for m in found.modes)
    assert set(found.figures.values()) == {None}


def test_same_samples_same_bytes():
    a, b = (read_take(TAKE, Conditions(20.0)) for _ in range(2))
    assert a.figures == b.figures
    assert a.uncertainties == b.uncertainties
    assert a.impulse.tobytes() == b.impulse.tobytes()


def test_interpolation_between_samples():
    """Oracle: a sine, at 0.4 of the sample rate still within -80 dB."""
    place = np.linspace(40, 460, 999)
    signal = np.sin(2 * np.pi * 0.4 * np.arange(500))
    assert np.abs(interpolate(signal, place) - np.sin(2 * np.pi * 0.4 * place)).max() < 1e-3


def test_signals_that_contradict_each_other_are_refused():
    with pytest.raises(ParameterError, match="sweep's sample rate, 48000 Hz"):
        read_take(replace(TAKE, sample_rate_hz=44100), Conditions())
    with pytest.raises(ParameterError, match="needs what was played"):
        read_take(TakeSignals(TAKE.recording, 48000), Conditions())
    with pytest.raises(ParameterError, match="finite samples"):
        read_take(replace(TAKE, recording=np.full(1000, np.nan)), Conditions())


@pytest.mark.parametrize("ppm", [500.0, 2000.0, -2000.0])
def test_a_clock_far_off_is_named_at_96_khz(ppm):
    """Oracle: the clock that the recording was made with; the impulse is brought to the nominal rate all the same."""
    sweep = Sweep(20.0, 20000.0, 4.0, sample_rate_hz=96000)
    signals = TakeSignals(_bench.record(sweep, CONE, ppm=ppm, noise_db=-60.0), 96000, sweep=sweep)
    reading = read_take(signals, Conditions())
    assert reading.figures["clock_ppm"] == pytest.approx(ppm, abs=10.0)
    assert [f.fault for f in reading.faults] == ["clock"]
    assert reading.impulse.size == round(0.255 * 96000)
    assert reading.quality == ("repeat" if abs(ppm) > 1500.0 else "look")
