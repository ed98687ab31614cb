"""Every fault put into a good take is named rightly; what only looks like a fault leaves the take usable."""

from __future__ import annotations

import importlib.util
import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from frusta.errors import ParameterError
from frusta.signal.clipping import find_clipping, find_quantum
from frusta.signal.fault import FAULT_WORDS, Fault, SweepPlace
from frusta.signal.faults import (
    Verdict,
    fault_of_clock,
    fault_of_reflections,
    faults_of_signal,
    faults_of_sweep,
    judge,
)
from frusta.signal.gate import Reflection, find_gate
from frusta.signal.sweep import Sweep, make_sweep
from frusta.signal.transfer import deconvolve

_spec = importlib.util.spec_from_file_location("bench_take", Path(__file__).with_name("bench_take.py"))
assert _spec is not None
assert _spec.loader is not None
bench = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(bench)
RATE: int = bench.RATE


def verdict_of(recording: np.ndarray) -> Verdict:
    response = deconvolve(recording, bench.PLAYED, RATE, (20.0, 20000.0))
    onset, gate = 0, None
    if np.any(response.impulse):
        gate = find_gate(response, 343.2)
        onset = round(gate.onset_s * RATE)
    faults = faults_of_sweep(recording, response, onset, bench.PLACE, bench.PLAYED)
    if gate is not None and not {f.fault for f in faults} & {"silent", "wrong-sweep", "truncated", "dropout"}:
        faults += fault_of_reflections(gate.reflections)
    return judge(faults)


def at(seconds: float) -> int:
    return round(seconds * RATE)


def clip(by_db: float, level: float = 1.0) -> Callable[[np.ndarray], np.ndarray]:
    def fault(y: np.ndarray) -> np.ndarray:
        return bench.quantise(np.clip(y * level * 10 ** (by_db / 20) / np.abs(y).max(), -level, level * (1 - 2**-23)))

    return fault


def lose(samples: int, seconds: float) -> Callable[[np.ndarray], np.ndarray]:
    def fault(y: np.ndarray) -> np.ndarray:
        k = at(seconds)
        if samples > 0:
            return np.concatenate([y[:k], y[k + samples :], np.zeros(samples)])
        return np.concatenate([y[:k], y[k + samples : k], y[k:]])[: y.size]

    return fault


def blank(length: int, seconds: float) -> Callable[[np.ndarray], np.ndarray]:
    def fault(y: np.ndarray) -> np.ndarray:
        z = y.copy()
        z[at(seconds) : at(seconds) + length] = 0.0
        return z

    return fault


def slam(level: float, seconds: float, length_s: float) -> Callable[[np.ndarray], np.ndarray]:
    def fault(y: np.ndarray) -> np.ndarray:
        rng = np.random.default_rng(9)
        n = at(length_s)
        z = y.copy()
        noise = np.convolve(rng.standard_normal(n), np.hanning(40))[:n]  # a sound does not begin with a jump
        z[at(seconds) : at(seconds) + n] += level * noise / np.abs(noise).max() * np.exp(-4.0 * np.arange(n) / n)
        return bench.quantise(z)

    return fault


def snap(level: float, seconds: float, length_s: float) -> Callable[[np.ndarray], np.ndarray]:
    """A short sound that begins with a jump."""

    def fault(y: np.ndarray) -> np.ndarray:
        n = at(length_s)
        z = y.copy()
        noise = np.random.default_rng(9).standard_normal(n) * np.exp(-4.0 * np.arange(n) / n)
        z[at(seconds) : at(seconds) + n] += level * noise / np.abs(noise).max()
        return bench.quantise(z)

    return fault


def astray(level: float, seconds: float) -> Callable[[np.ndarray], np.ndarray]:
    def fault(y: np.ndarray) -> np.ndarray:
        z = y.copy()
        z[at(seconds)] += level
        return bench.quantise(z)

    return fault


def other_sweep(**changes: float) -> Callable[[np.ndarray], np.ndarray]:
    def fault(y: np.ndarray) -> np.ndarray:
        values = {"start_hz": 20.0, "stop_hz": 20000.0, "duration_s": 4.0} | changes
        sweep = make_sweep(Sweep(**values, lead_in_s=0.4, tail_s=0.8))
        rng = np.random.default_rng(2)
        z = np.zeros(y.size)
        z[: min(y.size, sweep.size)] = 0.4 * sweep[: y.size]
        return bench.quantise(z + 3e-4 * rng.standard_normal(z.size))

    return fault


def resampled(ppm: float) -> Callable[[np.ndarray], np.ndarray]:
    return lambda y: np.interp(np.arange(y.size) * (1.0 + ppm * 1e-6), np.arange(y.size), y)


def echo(delay_s: float, level: float) -> Callable[[np.ndarray], np.ndarray]:
    def fault(y: np.ndarray) -> np.ndarray:
        z = y.copy()
        z[at(delay_s) :] += level * y[: -at(delay_s)]
        return z

    return fault


def talk(y: np.ndarray) -> np.ndarray:
    rng = np.random.default_rng(4)
    swell = np.abs(np.convolve(rng.standard_normal(y.size), np.hanning(9600) / 60.0, mode="same"))
    return 0.03 * swell * np.convolve(rng.standard_normal(y.size), np.hanning(30), mode="same")


def hiss(size: int) -> np.ndarray:
    return np.random.default_rng(12).standard_normal(size)


NOISE = np.random.default_rng(11)
BAD: list[tuple[str, str, Callable[[np.ndarray], np.ndarray]]] = [
    *[("clipped", f"by {db} dB", clip(db)) for db in (0.3, 3.0, 12.0)],
    *[("clipped", f"below full scale by {db} dB", clip(db, 0.4)) for db in (0.3, 6.0)],
    ("clipped", "16 bit", lambda y: bench.quantise(np.minimum(y, 0.8 * y.max()), 16)),
    *[("dropout", f"{n} samples lost", lose(n, 2.6)) for n in (1, 7, 48, 300, 2000)],
    *[("dropout", f"{n} samples lost early", lose(n, 1.6)) for n in (64, 512)],
    *[("dropout", f"{n} samples lost while 300 Hz were swept", lose(n, 2.06)) for n in (20, 100, 1000)],
    ("dropout", "a tenth of a second zero while 300 Hz were swept", blank(5000, 2.06)),
    *[("dropout", f"{n} samples repeated", lose(-n, 3.2)) for n in (16, 256, 1024)],
    ("dropout", "two whole periods of what was swept", lose(128, 2.591)),
    *[("dropout", f"{n} samples zero", blank(n, 2.9)) for n in (64, 1024, 9600)],
    *[("burst", f"at {t} s", slam(0.05, t, 0.2)) for t in (1.0, 2.0, 3.5)],
    ("burst", "a click", slam(0.2, 2.4, 0.002)),
    *[("burst", f"a click of {ms} ms", snap(0.2, 2.4, ms / 1000)) for ms in (0.3, 1.0, 2.0)],
    *[("burst", f"a click of 1 ms at {t} s", snap(0.1, t, 0.001)) for t in (2.06, 2.9, 3.2)],
    ("burst", "one sample astray", astray(0.2, 2.6)),
    ("burst", "a knock while 9 kHz were swept", slam(0.4, 4.0, 0.05)),
    ("burst", "a knock while 60 Hz were swept", slam(0.4, 1.06, 0.05)),
    ("silent", "loud hum", lambda y: 0.03 * np.sin(2 * math.pi * 50 * np.arange(y.size) / RATE) + 1e-5 * hiss(y.size)),
    ("truncated", "end, filled up with zeros", lambda y: np.concatenate([y[: at(3.9)], np.zeros(y.size - at(3.9))])),
    ("silent", "zero", lambda y: 0.0 * y),
    ("silent", "one value", lambda y: 0.0 * y + 0.01),
    ("silent", "noise", lambda y: bench.quantise(1e-4 * np.random.default_rng(1).standard_normal(y.size))),
    ("wrong-sweep", "longer", other_sweep(duration_s=5.0)),
    ("wrong-sweep", "shorter", other_sweep(duration_s=2.5)),
    ("wrong-sweep", "another start", other_sweep(start_hz=60.0)),
    ("wrong-sweep", "backwards", lambda y: y[::-1].copy()),
    ("wrong-sweep", "loud noise", lambda y: 0.1 * np.random.default_rng(1).standard_normal(y.size)),
    ("wrong-sweep", "talk", talk),
    ("truncated", "end", lambda y: y[: -at(1.8)]),
    ("truncated", "end, filled up", lambda y: np.concatenate([y[: at(3.0)], np.zeros(y.size - at(3.0))])),
    ("truncated", "beginning", lambda y: y[at(1.0) :]),
    ("clock", "5000 ppm", resampled(5000.0)),
    ("reflection", "2 ms", echo(0.002, 0.45)),
    ("reflection", "3.4 ms", echo(0.0034, 0.5)),
    ("noisy", "louder than the cone", lambda y: y + 0.15 * np.random.default_rng(3).standard_normal(y.size)),
    ("level", "six bits", lambda y: bench.quantise(y / np.abs(y).max() * 5e-4, 16)),
]

GOOD: list[tuple[str, Callable[[np.ndarray], np.ndarray]]] = [
    ("as it is", lambda y: y),
    ("polarity", lambda y: -y),
    ("offset", lambda y: y + 0.02),
    ("16 bit", lambda y: bench.quantise(y, 16)),
    ("16 bit, 30 dB down", lambda y: bench.quantise(y * 0.03, 16)),
    ("float", lambda y: y * 0.7123456789),
    ("just below full scale", lambda y: y / np.abs(y).max() * 0.9),
    ("hum", lambda y: y + 3e-3 * np.sin(2 * math.pi * 50 * np.arange(y.size) / RATE)),
    ("suppressed", lambda y: np.concatenate([np.zeros(at(0.38)), y[at(0.38) : at(4.65)], np.zeros(y.size - at(4.65))])),
    ("noise before", lambda y: np.concatenate([0.05 * np.random.default_rng(5).standard_normal(9000), y[9000:]])),
    ("late", lambda y: np.concatenate([np.zeros(at(0.3)), y])),
    ("no silence before", lambda y: y[at(0.35) :]),
    ("200 ppm", resampled(200.0)),
    ("far reflection", echo(0.0071, 0.2)),
    ("a lot of distortion", lambda y: y + 0.5 * y**3 + 0.05 * y**2),
]


@pytest.mark.parametrize(("word", "how", "fault"), BAD, ids=[f"{w}: {h}" for w, h, _ in BAD])
def test_fault_is_named(word: str, how: str, fault: Callable[[np.ndarray], np.ndarray]) -> None:
    # Oracle: the fault that was put in.
    verdict = verdict_of(fault(bench.take(seed=len(how))))
    assert verdict.quality == "repeat"
    assert word in {f.fault for f in verdict.faults}, verdict.faults
    for f in verdict.faults:
        assert f.fault in FAULT_WORDS
        assert f.where
        assert f.what_to_do


@pytest.mark.parametrize(("how", "change"), GOOD, ids=[h for h, _ in GOOD])
def test_good_take_is_not_refused(how: str, change: Callable[[np.ndarray], np.ndarray]) -> None:
    verdict = verdict_of(change(bench.take(seed=len(how))))
    assert verdict.quality != "repeat", verdict.faults


def test_good_takes_have_no_faults_at_all() -> None:
    for seed in range(6):
        assert verdict_of(bench.take(seed=seed)) == Verdict("ok", ())


@pytest.mark.parametrize(("samples", "seconds"), [(1, 2.6), (-1, 3.0), (5, 2.9), (20, 3.3)])
def test_lost_samples_are_placed(samples: int, seconds: float) -> None:
    # Oracle: where they were taken out or put in.
    fault = verdict_of(lose(samples, seconds)(bench.take(seed=3))).faults[0]
    assert fault.fault == "dropout"
    assert fault.time_s == pytest.approx(seconds, abs=0.01)
    assert fault.frequency_hz == pytest.approx(bench.PLACE.frequency_at(seconds - 900 / RATE), rel=0.03)
    assert f"{fault.time_s:.3f} s" in fault.where


def test_weak_burst_is_worth_a_look_only() -> None:
    verdict = verdict_of(slam(0.004, 2.0, 0.02)(bench.take()))
    assert verdict.quality == "look"
    assert [f.fault for f in verdict.faults] == ["burst"]
    assert verdict.faults[0].time_s == pytest.approx(2.005, abs=0.02)


def test_burst_outside_the_sweep_does_not_matter() -> None:
    assert verdict_of(slam(0.1, 4.7, 0.1)(bench.take())).quality == "ok"


def test_steady_sine_is_not_clipped_but_its_flat_top_is() -> None:
    # Oracle: arc-cosine law; 0.1 dB of clipping cuts acos(0.9886) / (pi / 2) = 10 % of the samples.
    sine = 0.5 * np.sin(2 * math.pi * 997.0 * np.arange(RATE) / RATE)
    assert find_clipping(sine, RATE, 0.0) is None
    top = 0.5 * 10 ** (-0.1 / 20)
    found = find_clipping(np.clip(sine, -top, top), RATE, 0.0)
    assert found is not None
    assert found.level == pytest.approx(top)
    assert found.samples == pytest.approx(RATE * math.acos(10 ** (-0.1 / 20)) / math.pi, rel=0.02)


def test_step_of_a_recording() -> None:
    y = np.random.default_rng(0).uniform(-0.5, 0.5, 4000)
    assert find_quantum(bench.quantise(y, 16)) == 2.0**-15
    assert find_quantum(bench.quantise(y, 24)) == 2.0**-23
    assert find_quantum(y) == 0.0


def test_a_reflection_spoils_what_it_leaves_no_time_for() -> None:
    """The piston band from 300 Hz needs 1/300 s; what fell silent before is not covered by what comes after."""

    def quality(delay_s: float, level_db: float, rings_on: bool = True) -> str:
        faults = fault_of_reflections((Reflection(delay_s, level_db, 343.2 * delay_s),), rings_on=rings_on)
        return judge(faults).quality

    assert quality(0.002, -12.0) == "repeat"
    assert quality(0.002, -12.0, rings_on=False) == "look"
    assert quality(0.0034, -12.0) == "repeat"
    assert quality(0.0035, -12.0) == "look"
    assert quality(0.0045, -6.0) == "look"
    assert quality(0.0045, -26.0) == "ok"
    assert quality(0.0057, -10.0) == "ok"
    assert quality(0.002, -26.0) == "look"


@pytest.mark.parametrize(
    ("ppm", "ppm_u", "quality"),
    [(90.0, 1.0, "ok"), (-200.0, 5.0, "ok"), (500.0, 5.0, "look"), (500.0, 200.0, "ok"), (-2500.0, 5.0, "repeat")],
)
def test_clock_thresholds(ppm: float, ppm_u: float, quality: str) -> None:
    assert judge(fault_of_clock(ppm, ppm_u)).quality == quality
    assert fault_of_clock(None, None) == ()


def test_gravest_fault_comes_first() -> None:
    look = Fault("level", "here", "do", "look")
    repeat = Fault("burst", "there", "do", "repeat")
    assert judge((look, repeat)) == Verdict("repeat", (repeat, look))
    assert judge(()) == Verdict("ok", ())


def test_sweep_place_maps_time_and_frequency() -> None:
    place = SweepPlace(0.5, 6.37, 20.0, 20000.0, 0.85)
    assert place.frequency_at(place.time_of(1000.0)) == pytest.approx(1000.0)
    assert place.frequency_at(0.1) is None
    assert SweepPlace(0.5, 6.0, 20.0, 20000.0, None).frequency_at(3.0) is None


def test_recording_must_be_one_finite_channel() -> None:
    with pytest.raises(ParameterError, match="one channel of finite numbers"):
        faults_of_signal(np.zeros((10, 2)), RATE)
    with pytest.raises(ParameterError, match="one channel of finite numbers"):
        faults_of_signal(np.array([0.0, math.nan, 0.1]), RATE)


@pytest.mark.parametrize("bits", [None, 16, 24])
@pytest.mark.parametrize("distorts", [False, True])
@pytest.mark.parametrize("lead_in_s", [0.0, 0.4])
def test_a_recording_without_noise_has_no_faults(bits: int | None, distorts: bool, lead_in_s: float) -> None:
    """What is left of a calculated recording is rounding and the ends of the sweep, 80 dB below it: no event."""
    sweep = Sweep(20.0, 20000.0, 3.0, lead_in_s=lead_in_s, tail_s=0.8)
    played = make_sweep(sweep)
    driven = played + (0.004 * played**2 if distorts else 0.0)
    heard = np.convolve(driven, bench.cone()[:2000])[: played.size]
    heard = np.concatenate([np.zeros(700), heard])[: played.size] * 0.8
    recording = heard if bits is None else bench.quantise(heard, bits)
    response = deconvolve(recording, played, RATE, (20.0, 20000.0))
    onset = round(find_gate(response, 343.2).onset_s * RATE)
    place = SweepPlace(lead_in_s, lead_in_s + sweep.sounding_s, 20.0, 20000.0, sweep.rate_s)
    found = faults_of_sweep(recording, response, onset, place, played)
    assert [f.fault for f in found if f.quality == "repeat"] == []
    assert [f.fault for f in found if f.fault in ("burst", "dropout")] == []
