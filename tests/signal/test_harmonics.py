"""Harmonics against closed forms: Chebyshev identities, a flat motor behind a resonance, noise alone."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import freqz, lfilter

from frusta.errors import ParameterError
from frusta.signal.harmonic_peaks import distortion_peaks, total_referred
from frusta.signal.harmonic_windows import LENGTHS_S, length_weights, place, window
from frusta.signal.harmonics import (
    ROOM_TAIL,
    SHORT_SWEEP,
    HarmonicCurve,
    Harmonics,
    no_harmonics,
    power_variance,
    read_harmonics,
)
from frusta.signal.smoothing import log_grid
from frusta.signal.sweep import Sweep, make_sweep
from frusta.signal.transfer import deconvolve

# Stops at 7 kHz, so that order 3 made at 48 kHz does not fold back.
SWEEP = Sweep(20.0, 7000.0, 4.0, lead_in_s=0.3, tail_s=0.6)
GRID = log_grid(60.0, 6700.0)


def peak_filter(frequency_hz: float, gain_db: float, q: float, rate_hz: float) -> tuple[np.ndarray, np.ndarray]:
    """Coefficients of a resonance of known height: the analogue peaking section by the bilinear transform."""
    a = 10.0 ** (gain_db / 40.0)
    w = 2.0 * math.pi * frequency_hz / rate_hz
    alpha = math.sin(w) / (2.0 * q)
    zeros = np.array([1.0 + alpha * a, -2.0 * math.cos(w), 1.0 - alpha * a])
    return zeros, np.array([1.0 + alpha / a, -2.0 * math.cos(w), 1.0 - alpha / a])


def read(recording: np.ndarray, sweep: Sweep = SWEEP, grid: np.ndarray = GRID, gated: object = 1.0) -> Harmonics:
    """Deconvolve and read; the linear response at the microphone is flat unless given."""
    response = deconvolve(recording, make_sweep(sweep), sweep.sample_rate_hz, (sweep.start_hz, sweep.stop_hz))
    onset = int(np.argmax(np.abs(response.impulse)))
    band = (sweep.start_hz, sweep.stop_hz)
    level = np.broadcast_to(np.asarray(gated, dtype=np.float64), grid.shape)
    return read_harmonics(response.impulse, sweep.sample_rate_hz, onset, sweep.rate_s, band, grid, level)


def at(harmonics: Harmonics, column: str, frequency_hz: float) -> float:
    return float(np.interp(frequency_hz, harmonics.frequency_hz, harmonics.columns()[column]))


@pytest.mark.parametrize(("a2", "a3"), [(0.01, 0.0), (0.0, 0.02), (0.03, -0.01)])
def test_polynomial_reads_as_chebyshev_says(a2: float, a3: float) -> None:
    # Oracle: sin² and sin³ as sums of harmonics (Chebyshev identities), exact; 0.01 dB in mid-band (CHECKS).
    x = make_sweep(SWEEP)
    a = SWEEP.amplitude
    harmonics = read(x + a2 * x**2 + a3 * x**3)
    first = 1.0 + 3.0 * a3 * a**2 / 4.0
    for frequency in (200.0, 500.0, 1000.0, 1500.0):
        if a2:
            expected = 20.0 * math.log10(abs(a2) * a / 2.0 / first)
            assert at(harmonics, "h2_db", frequency) == pytest.approx(expected, abs=0.01)
        if a3:
            expected = 20.0 * math.log10(abs(a3) * a**2 / 4.0 / first)
            assert at(harmonics, "h3_db", frequency) == pytest.approx(expected, abs=0.01)


def test_flat_motor_behind_a_14_db_peak_reads_flat() -> None:
    # Oracle: closed form. 0.2 % of second harmonic before a 14 dB peak is 1 % at the microphone, 0.2 % at the input.
    x = make_sweep(SWEEP)
    rng = np.random.default_rng(3)
    a2 = 2.0 * 0.002 / SWEEP.amplitude
    b, a = peak_filter(3000.0, 14.0, 6.0, SWEEP.sample_rate_hz)
    recording = lfilter(b, a, x + a2 * x**2) + 1e-5 * rng.standard_normal(x.size)
    harmonics = read(recording, gated=np.abs(freqz(b, a, GRID, fs=SWEEP.sample_rate_hz)[1]))
    level = harmonics.columns()["h2_input_db"]
    inside = (GRID > 200.0) & (GRID < 3000.0)
    assert np.abs(level[inside] - 20.0 * math.log10(0.002)).max() < 0.25
    peaks = distortion_peaks(harmonics, breakup_hz=3000.0)
    assert peaks.input_thd.percent == pytest.approx(0.2, rel=0.03)
    assert peaks.thd.percent == pytest.approx(0.2 * 10.0 ** (14.0 / 20.0), rel=0.03)
    assert peaks.thd.frequency_hz == pytest.approx(1500.0, rel=0.01)
    assert peaks.piston_thd.frequency_hz == pytest.approx(1500.0, rel=0.01)


def test_a_narrow_distortion_is_found_where_it_is() -> None:
    # Oracle: constructed. Third harmonic of 3 % only while some 370 to 430 Hz are driven; x² sin x = ¾ sin − ¼ sin 3.
    x = make_sweep(SWEEP)
    t = np.arange(x.size) / SWEEP.sample_rate_hz - SWEEP.lead_in_s
    f = SWEEP.start_hz * np.exp(np.clip(t, 0.0, SWEEP.sounding_s) / SWEEP.rate_s)
    width = 0.08  # in ln f
    part = np.exp(-0.5 * (np.log(f / 400.0) / width) ** 2)
    a3 = 4.0 * 0.03 / SWEEP.amplitude**2
    peak = distortion_peaks(read(x + part * a3 * x**3), breakup_hz=None).input_thd
    # Power mean of the bump over 1/6 octave, and the fundamental, which a3·x³ raises by three times the harmonic.
    half = math.log(2.0) / 12.0
    mean = math.sqrt(math.pi) * width / (2.0 * half) * math.erf(half / width)
    assert peak.frequency_hz == pytest.approx(400.0, rel=0.03)
    assert peak.percent == pytest.approx(3.0 * math.sqrt(mean) / 1.0, rel=0.12)


def test_noise_alone_is_never_distortion() -> None:
    # Oracle: no harmonics were put in; 6 seeded noises, pink and white.
    for seed in range(6):
        rng = np.random.default_rng(seed)
        x = make_sweep(SWEEP)
        noise = rng.standard_normal(x.size)
        if seed % 2:
            noise = lfilter([0.05], [1.0, -0.95], noise)
        harmonics = read(x + 1e-3 * noise)
        peaks = distortion_peaks(harmonics, breakup_hz=2000.0)
        for name, peak in peaks.named().items():
            assert peak.percent is None, f"{name} of noise {seed}"
            assert peak.reason is not None
            assert "10 dB over its own noise floor" in peak.reason
        columns = harmonics.columns()
        for order in (2, 3, 4, 5):
            over = columns[f"h{order}_db"] - columns[f"h{order}_noise_db"]
            assert np.nanmean(over > 10.0) <= 0.02


def test_noise_floor_has_the_size_of_the_noise() -> None:
    # Oracle: where there is only noise, curve and floor agree in the mean; 1 % of power is 0.04 dB, 10 takes give 3 %.
    power, noise = [], []
    for seed in range(10):
        rng = np.random.default_rng(100 + seed)
        x = make_sweep(SWEEP)
        harmonics = read(x + 1e-3 * rng.standard_normal(x.size))
        inside = (GRID > 200.0) & (GRID < 1200.0)
        power.append(harmonics.curves[2].power[inside])
        noise.append(harmonics.curves[2].noise[inside])
    assert float(np.mean(power) / np.mean(noise)) == pytest.approx(1.0, abs=0.1)


def test_uncertainty_is_what_repeats_show() -> None:
    # Oracle: scatter over 25 seeded repeats of one take.
    net, u = [], []
    x = make_sweep(SWEEP)
    for seed in range(25):
        rng = np.random.default_rng(200 + seed)
        curve = read(x + 0.004 * x**2 + 3e-4 * rng.standard_normal(x.size)).curves[0]
        k = int(np.searchsorted(GRID, 800.0))
        net.append(curve.input_power[k] - curve.input_noise[k])
        u.append(curve.input_power_u[k])
    assert 0.6 < np.std(net, ddof=1) / np.mean(u) < 1.5


def test_power_variance_against_drawn_noise() -> None:
    # Oracle: Monte Carlo of a constant in complex noise, 8 bins, noise mean of 5 segments.
    rng = np.random.default_rng(1)
    n, bins, segments, signal, noise = 40000, 8, 5, 2.0, 1.0
    z = rng.standard_normal((n, bins, 2 + 2 * segments)) * math.sqrt(noise / 2)
    power = ((z[..., 0] + math.sqrt(signal)) ** 2 + z[..., 1] ** 2).mean(axis=1)
    floor = (z[..., 2:] ** 2).sum(axis=2).mean(axis=1) / segments
    one = np.array([signal + noise]), np.array([noise]), np.array([float(bins)]), np.array([float(segments)])
    assert float(power_variance(*one)[0]) == pytest.approx(float(np.var(power - floor)), rel=0.03)


def test_orders_beyond_the_band_are_marked() -> None:
    harmonics = read(make_sweep(SWEEP) + 0.0)
    for curve in harmonics.curves:
        order = curve.orders[0]
        assert curve.limit_hz == pytest.approx(0.97 * 7000.0 / order)
        assert np.isnan(curve.power[curve.limit_hz < GRID]).all()
        assert np.isfinite(curve.power[(GRID > 200.0) & (curve.limit_hz * 0.97 > GRID)]).all()


def test_short_sweep_says_so() -> None:
    # 0.4 s from 20 Hz to 7 kHz: the responses of orders 4 and 5 lie 15 ms apart, no window fits at 800 Hz.
    sweep = Sweep(20.0, 7000.0, 0.4, lead_in_s=0.2, tail_s=0.5)
    peaks = distortion_peaks(read(make_sweep(sweep), sweep), breakup_hz=None)
    assert peaks.buzz.percent is None
    assert peaks.buzz.reason is not None
    assert peaks.buzz.reason.startswith(SHORT_SWEEP)


def test_room_tail_says_so() -> None:
    # A room whose sound takes 3 s to fall by 60 dB, as loud as the direct sound: orders run into one another.
    rng = np.random.default_rng(5)
    x = make_sweep(SWEEP)
    t = np.arange(SWEEP.sample_rate_hz) / SWEEP.sample_rate_hz
    room = 0.03 * rng.standard_normal(t.size) * 10.0 ** (-t)
    room[0] = 1.0
    size = 1 << 19
    recording = np.fft.irfft(np.fft.rfft(x + 0.01 * x**2, size) * np.fft.rfft(room, size), size)[: x.size]
    peaks = distortion_peaks(read(recording), breakup_hz=None)
    assert peaks.thd.percent is None
    assert peaks.thd.reason is not None
    assert peaks.thd.reason.startswith(ROOM_TAIL)


def test_what_is_no_exponential_sweep_gives_null_with_the_reason() -> None:
    peaks = distortion_peaks(no_harmonics(GRID, 7000.0, "the sweep is linear, not exponential"), breakup_hz=2000.0)
    assert all(p.percent is None and p.reason == "the sweep is linear, not exponential" for p in peaks.named().values())


@pytest.mark.parametrize(("fundamental", "total"), [(0.1, 0.09950), (0.3, 0.2873)])
def test_distortion_re_the_total(fundamental: float, total: float) -> None:
    # Oracle: IEC 60268-5 by public description, CHECKS: 10 % -> 9.950 %, 30 % -> 28.73 %.
    assert total_referred(fundamental) == pytest.approx(total, abs=5e-5)


def test_windows_never_overlap_their_neighbours() -> None:
    for rate_s in (0.2, 0.5, 0.85, 1.5):
        for order in range(2, 16):
            for length in LENGTHS_S:
                spot = place(order, rate_s, length)
                if spot is None:
                    continue
                own = spot.start_s
                later = -rate_s * math.log(order - 1) - 0.35 * length
                earlier = -rate_s * math.log(order + 1) + 0.65 * length
                assert all(earlier <= s <= own - length + 1e-12 for s in spot.before_s)
                assert all(own + length <= s <= later - length + 1e-12 for s in spot.after_s)


def test_length_weights_share_out_every_frequency() -> None:
    f = np.geomspace(40.0, 20000.0, 200)
    weights = length_weights(f, np.ones(5, dtype=bool))
    assert np.allclose(weights.sum(axis=1), 1.0)
    none = length_weights(f, np.zeros(5, dtype=bool))
    assert not none.any()
    short = length_weights(f, np.array([False, False, False, True, True]))
    assert not short[f < 200.0].any()


def test_bad_arguments_are_named() -> None:
    with pytest.raises(ParameterError, match="one value per frequency"):
        read_harmonics(np.zeros(100), 48000.0, 0, 0.85, (20.0, 20000.0), GRID, np.ones(3))
    with pytest.raises(ParameterError, match="must be positive"):
        read_harmonics(np.zeros(100), 48000.0, 0, 0.0, (20.0, 20000.0), GRID, np.ones(GRID.size))
    with pytest.raises(ParameterError, match="at least 20 samples"):
        window(10)
    with pytest.raises(ParameterError, match="order >= 2"):
        place(1, 0.85, 0.1)


def made_curve(order: int, power: np.ndarray, noise: np.ndarray, deviation: np.ndarray) -> HarmonicCurve:
    """One order with its noise, at the microphone as at the input."""
    no = np.zeros(GRID.size, dtype=bool)
    return HarmonicCurve((order,), power + noise, noise, deviation, power + noise, noise, deviation, 7000.0, no, no)


@pytest.mark.parametrize(("floor", "found"), [(1e-9, True), (1e-4, True), (1e-2, False)])
def test_a_strong_order_is_not_hidden_by_another_that_drowns(floor: float, found: bool) -> None:
    # Oracle: constructed. 1 % of second harmonic at 2.6 kHz over 0.3 %; the fifth holds noise alone, known to a fifth.
    ones = np.ones(GRID.size)
    second = (0.003**2 + (0.01**2 - 0.003**2) * np.exp(-0.5 * (np.log(GRID / 2600.0) / 0.05) ** 2)) * ones
    curves = [made_curve(2, second, 1e-9 * ones, 1e-8 * ones)]
    curves += [made_curve(n, 0.0 * ones, 1e-10 * ones, 1e-10 * ones) for n in (3, 4)]
    curves.append(made_curve(5, 0.0 * ones, floor * ones, 0.2 * floor * ones))
    peak = distortion_peaks(Harmonics(GRID, tuple(curves), curves[0], 20000.0), breakup_hz=None).input_thd
    if found:
        assert peak.percent == pytest.approx(1.0, abs=0.02)
        assert peak.frequency_hz == pytest.approx(2600.0, rel=0.02)
        assert peak.percent_u is not None
        assert peak.percent_u < 0.25
    else:  # a fifth of 10 % might hide: what is found is not all that may be there
        assert peak.percent is None
