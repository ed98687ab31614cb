"""Music through two responses. Oracles: direct convolution, filters at another rate, the loudness meter."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from frusta.errors import ParameterError
from frusta.signal.listening import free_impulse, match_loudness, played_through, sixteen_bits
from frusta.signal.loudness import loudness_lkfs


def noise(rate=48000, seconds=2.0, channels=2, seed=3):
    return 0.1 * np.random.default_rng(seed).standard_normal((round(seconds * rate), channels))


def test_it_is_a_convolution():
    music, kernel = noise(seconds=0.05), np.random.default_rng(1).standard_normal(77)
    heard = played_through(music, 48000, kernel, 48000)
    for channel in (0, 1):
        assert heard[:, channel] == pytest.approx(np.convolve(music[:, channel], kernel)[: len(music)], abs=1e-12)


@pytest.mark.parametrize("rate", [32000, 44100, 96000])
def test_a_response_keeps_its_gain_and_shape_at_the_musics_rate(rate):
    """Oracle: tones through the response at its own rate, by its Fourier transform."""
    kernel = signal.firwin(301, 3000.0, fs=48000) * 2.5
    time = np.arange(rate) / rate
    for hz in (200.0, 2900.0, 5000.0):
        _, gain = signal.freqz(kernel, worN=[hz], fs=48000)
        heard = played_through(np.sin(2 * np.pi * hz * time)[:, None], rate, kernel, 48000)[rate // 2 :, 0]
        found = 2 * abs(np.mean(heard * np.exp(-2j * np.pi * hz * time[rate // 2 :])))
        assert found == pytest.approx(abs(gain[0]), abs=0.01)


def test_the_two_are_equally_loud_and_do_not_clip():
    music = noise()
    bright = signal.sosfilt(signal.butter(1, 2000, "high", fs=48000, output="sos"), music, axis=0)
    made = match_loudness(7.0 * music, bright, 48000)
    a, b = (loudness_lkfs(piece, 48000) for piece in (made.a, made.b))
    assert a == pytest.approx(b, abs=1e-9)
    assert made.loudness_lkfs == -23.0
    assert a == pytest.approx(-23.0, abs=1e-9)
    assert max(np.abs(made.a).max(), np.abs(made.b).max()) <= 10 ** (-1 / 20)


def test_a_peaky_piece_lowers_both():
    music = noise()
    peaky = 0.02 * music
    peaky[::9600] = 1.0
    made = match_loudness(peaky, music, 48000)
    assert made.loudness_lkfs < -23.0
    assert max(np.abs(made.a).max(), np.abs(made.b).max()) <= 10 ** (-1 / 20) + 1e-9
    a, b = (loudness_lkfs(piece, 48000) for piece in (made.a, made.b))
    assert a == pytest.approx(b, abs=1e-9)


def test_silence_is_refused():
    with pytest.raises(ParameterError, match="it is silent"):
        match_loudness(np.zeros((48000, 1)), noise(channels=1), 48000)


def test_the_reflection_free_part_ends_before_the_reflection():
    impulse = np.zeros(4800)
    impulse[240], impulse[240 + 300] = 1.0, 0.5
    part = free_impulse(impulse, 0.005, 0.006, 48000)
    assert part.size == 240 + 288
    assert part[240] == 1.0
    assert np.count_nonzero(part) == 1
    with pytest.raises(ParameterError, match="it has none"):
        free_impulse(impulse, 0.005, float("nan"), 48000)


def test_sixteen_bits_are_dithered_and_the_same_each_time():
    """Oracle: triangular dither of two steps adds 1/4 of a squared step's to rounding's 1/12 (1/6 + 1/12)."""
    samples = noise(seconds=1.0)
    made = sixteen_bits(samples)
    assert np.array_equal(made, sixteen_bits(samples))
    error = made / 1.0 - samples * 32767.0
    assert np.mean(error**2) == pytest.approx(1 / 6 + 1 / 12, rel=0.03)
    assert abs(np.mean(error)) < 0.01
    assert sixteen_bits(np.array([[2.0, -2.0]])).tolist() == [[32767, -32768]]
