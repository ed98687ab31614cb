"""The virtual rig hands back what its physics says, the same every time."""

from __future__ import annotations

import numpy as np
import pytest
from rigs import COIL, CONE, ELASTIC, PROFILE, RATE, SHORT, rig

from frusta.bench.mishaps import MISHAPS
from frusta.bench.surroundings import Reflection
from frusta.bench.virtual import Conditions, response_grid
from frusta.bench.virtual_cone import VirtualCone
from frusta.cone.driver import build_driver, response
from frusta.cone.medium import air_at
from frusta.errors import ParameterError
from frusta.signal.sweep import make_sweep

PLAYED = make_sweep(SHORT)
ALONE = Conditions(loopback=False)


def spectrum_ratio(recorded: np.ndarray, played: np.ndarray = PLAYED) -> tuple[np.ndarray, np.ndarray]:
    size = 1 << 17
    frequency = np.fft.rfftfreq(size, 1 / RATE)
    band = (frequency > 100.0) & (frequency < 18000.0)
    return frequency[band], (np.fft.rfft(recorded, size) / np.fft.rfft(played, size))[band]


def test_recording_over_sweep_is_the_driver() -> None:
    # independent route: the driver's response solved at the bins themselves; spline, synthesis, latency off
    bench = rig()
    recorded = bench.record("cone", 1, PLAYED, RATE, conditions=ALONE)[:, 0]
    frequency, ratio = spectrum_ratio(recorded)
    joint, motor = bench.joint_of("cone", 1)
    driver = build_driver(PROFILE, ELASTIC, motor, COIL, bench.bench.bench, air_at(20.0, 50.0), joint)
    pick = slice(0, None, 97)
    want = response(driver, frequency[pick])
    latency = round(bench.bench.latency_s * RATE) / RATE
    want = want * np.exp(-2j * np.pi * frequency[pick] * latency)
    scale = 10 ** (bench.level_offset_db("cone", 1) / 20) * bench.bench.drive_full_scale_v / bench.bench.full_scale_pa
    error = np.abs(ratio[pick] - scale * want) / np.max(np.abs(scale * want))
    assert np.max(error) < 5e-4  # the tail of a short sweep's window cuts the suspension's ringing
    assert np.median(np.abs(ratio[pick] / (scale * want) - 1)) < 2e-4


def test_spline_over_the_grid_is_exact_enough() -> None:
    # oracle: solving at places between
    bench = rig()
    conditions = ALONE
    values = bench.transfer("cone", 1, 1 << 15, RATE, conditions)
    frequency = np.fft.rfftfreq(1 << 15, 1 / RATE)
    pick = np.arange(50, 13000, 331)
    joint, motor = bench.joint_of("cone", 1)
    driver = build_driver(PROFILE, ELASTIC, motor, COIL, bench.bench.bench, air_at(20.0, 50.0), joint)
    want = response(driver, frequency[pick])
    assert np.max(np.abs(values[pick] - want)) < 1e-5 * np.max(np.abs(want))
    assert np.max(np.abs(values[pick] / want - 1)) < 1e-3
    grid = response_grid(20e3, 0.02)
    assert np.all(np.diff(grid) > 0)
    assert np.max(np.diff(np.log(grid[grid > 300]))) <= 0.0021


def test_same_take_same_bytes_whatever_came_before() -> None:
    one, two = rig(False), rig(False)
    two.record("cone", 2, PLAYED, RATE, take="other")
    first = one.record("cone", 1, PLAYED, RATE, take="a")
    again = two.record("cone", 1, PLAYED, RATE, take="a")
    assert first.tobytes() == again.tobytes()
    assert first.tobytes() != rig(False, seed=6).record("cone", 1, PLAYED, RATE, take="a").tobytes()
    assert first.tobytes() != one.record("cone", 1, PLAYED, RATE, take="b").tobytes()


def test_takes_of_one_seating_share_level_and_joint() -> None:
    bench = rig()
    a, b = (bench.record("cone", 3, PLAYED, RATE, take=t, conditions=ALONE) for t in "ab")
    np.testing.assert_allclose(a, b, atol=1e-12)
    assert bench.level_offset_db("cone", 3) != bench.level_offset_db("cone", 4)
    assert bench.joint_of("cone", 3) != bench.joint_of("cone", 4)


def test_gain_drift_and_full_scale_are_factors() -> None:
    bench = rig()
    plain = bench.record("cone", 1, PLAYED, RATE, conditions=ALONE)
    changed = bench.record(
        "cone",
        1,
        PLAYED,
        RATE,
        conditions=Conditions(loopback=False, drive_gain_db=-6.0, level_drift_db=1.0, full_scale_pa=60.0),
    )
    np.testing.assert_allclose(changed, plain * 10 ** (-5 / 20) * 30.0 / 60.0, rtol=1e-9, atol=1e-12)


def test_loopback_is_what_was_played_late_by_the_latency() -> None:
    both = rig(False).record("cone", 1, PLAYED, RATE)
    assert both.shape == (PLAYED.size, 2)
    shift = round(rig().bench.latency_s * RATE)
    np.testing.assert_allclose(both[shift:, 1], 0.9 * PLAYED[: PLAYED.size - shift], atol=1e-4)


def test_sound_comes_after_latency_and_travel() -> None:
    bench = rig()
    click = np.zeros(RATE // 4)
    click[1000] = 1.0
    heard = np.abs(bench.record("cone", 1, click, RATE, conditions=ALONE)[:, 0])
    onset = int(np.argmax(heard > 0.05 * heard.max()))
    travel = bench.bench.bench.microphone_distance_m / air_at(20.0, 50.0).sound_speed_m_s
    assert onset / RATE - 1000 / RATE - bench.bench.latency_s == pytest.approx(travel, abs=1.5e-4)


def test_reflection_adds_its_comb() -> None:
    plain = rig().record("cone", 1, PLAYED, RATE, conditions=ALONE)[:, 0]
    echo = rig(reflections=(Reflection(0.005, 0.3, 1e9),)).record("cone", 1, PLAYED, RATE, conditions=ALONE)[:, 0]
    want = plain + 0.3 * np.concatenate([np.zeros(240), plain[:-240]])
    np.testing.assert_allclose(echo, want, atol=2e-5 * np.max(np.abs(plain)))


def test_other_clock_stretches_the_recording() -> None:
    bench = rig()
    slow = bench.record("cone", 1, PLAYED, RATE, conditions=ALONE)[:, 0]
    fast = bench.record("cone", 1, PLAYED, RATE, conditions=Conditions(loopback=False, clock_ppm=200.0))[:, 0]
    late = slice(int(1.2 * RATE), int(1.25 * RATE))
    shift = round(1.225 * RATE * 200e-6)
    moved = np.correlate(fast[late.start - 40 : late.stop + 40], slow[late], "valid")
    assert int(np.argmax(moved)) - 40 == pytest.approx(shift, abs=1)


def test_warm_air_moves_the_sound() -> None:
    bench = rig()
    cold = bench.transfer("cone", 1, 4800, RATE, Conditions(temperature_c=5.0))
    warm = bench.transfer("cone", 1, 4800, RATE, Conditions(temperature_c=35.0))
    assert np.angle(warm[500] / cold[500]) > 0.2  # 5 kHz arrives earlier


def test_silence_is_noise_alone() -> None:
    quiet = rig(False).silence(4800, RATE, peak=0.3)
    assert quiet.shape == (4800, 1)
    assert 0 < np.std(quiet) < 0.3 * 10 ** (-50 / 20)


@pytest.mark.parametrize("mishap", MISHAPS)
def test_every_mishap_leaves_its_mark(mishap: str) -> None:
    bench = rig(False)
    good = bench.record("cone", 1, PLAYED, RATE, take="x", conditions=ALONE)[:, 0]
    bad = bench.record("cone", 1, PLAYED, RATE, take="x", conditions=ALONE, mishap=mishap)[:, 0]
    assert np.max(np.abs(bad)) <= 1.0
    end = np.flatnonzero(PLAYED)[-1]
    if mishap == "clipped":
        assert np.count_nonzero(np.abs(bad) == 1.0) > 20
    elif mishap == "silent":
        assert np.max(np.abs(bad)) < 1e-3
    elif mishap == "noisy":
        assert np.std(bad[:4000]) > 20 * np.std(good[:4000])
    elif mishap == "truncated":
        assert bad.size < 0.85 * end
        np.testing.assert_array_equal(bad, good[: bad.size])
    elif mishap == "misaligned":
        np.testing.assert_array_equal(bad, good[good.size - bad.size :])
        assert 0.4 * SHORT.lead_in_s < (good.size - bad.size) / RATE < SHORT.lead_in_s
    elif mishap == "level":
        assert 0 < np.max(np.abs(bad)) < 0.01
    else:
        differs = np.flatnonzero(np.abs(bad - good) > 0.02 * np.max(np.abs(good)))
        assert differs.size > 100


def test_lost_samples_are_missing_from_both_channels() -> None:
    both = rig().record("cone", 1, PLAYED, RATE, mishap="dropout")
    good = rig().record("cone", 1, PLAYED, RATE)
    begins = [int(np.flatnonzero(np.abs(both[:, c] - good[:, c]) > 1e-3)[0]) for c in (0, 1)]
    assert begins[0] == pytest.approx(begins[1], abs=20)
    line = rig().record("cone", 1, PLAYED, RATE, mishap="burst")[:, 1]
    np.testing.assert_allclose(line, good[:, 1], atol=1e-4)


def test_messages() -> None:
    bench = rig()
    with pytest.raises(ParameterError, match="specimen must be one of those beside the rig: cone"):
        bench.record("plate", 1, PLAYED, RATE)
    with pytest.raises(ParameterError, match="a mishap must be one of clipped"):
        bench.record("cone", 1, PLAYED, RATE, mishap="melted")
    with pytest.raises(ParameterError, match="played must be one row"):
        bench.record("cone", 1, np.zeros((5, 2)), RATE)
    with pytest.raises(ParameterError, match="played must stay within"):
        bench.record("cone", 1, 3.0 * PLAYED, RATE)


def test_mass_is_volume_times_density() -> None:
    assert CONE.mass_kg == pytest.approx(PROFILE.volume_m3 * 1150.0)
    assert isinstance(CONE, VirtualCone)
