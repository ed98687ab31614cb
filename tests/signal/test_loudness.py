"""Loudness after ITU-R BS.1770. Oracles: the standard's own conformance value; its gates by hand; other rates."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import signal

from frusta.errors import ParameterError
from frusta.signal.loudness import HEAD_48K, LOW_CUT_48K, k_weighting, loudness_lkfs

RATES = (16000, 44100, 48000, 88200, 96000, 192000)


def sine(rate, hz=997.0, seconds=5.0, level_db=0.0):
    return 10 ** (level_db / 20) * np.sin(2 * np.pi * hz * np.arange(round(seconds * rate)) / rate)


@pytest.mark.parametrize("rate", RATES[1:])
def test_a_full_scale_sine_of_997_hz_reads_as_the_standard_says(rate):
    """BS.1770: a 0 dBFS sine of 997 Hz in the left, right or centre channel reads −3.01 LKFS."""
    left = np.column_stack([sine(rate), np.zeros(5 * rate)])
    tolerance = 0.005 if rate == 48000 else 0.01
    assert loudness_lkfs(left, rate) == pytest.approx(-3.01, abs=tolerance)
    assert loudness_lkfs(sine(rate), rate) == pytest.approx(-3.01, abs=tolerance)
    both = np.column_stack([sine(rate), sine(rate)])
    assert loudness_lkfs(both, rate) - loudness_lkfs(left, rate) == pytest.approx(10 * math.log10(2), abs=1e-9)


def test_at_48_khz_the_filters_are_the_standards():
    assert k_weighting(48000) == pytest.approx(np.array([HEAD_48K, LOW_CUT_48K]), abs=1e-12)


@pytest.mark.parametrize("rate", RATES)
def test_other_rates_have_the_same_curve(rate):
    """The bilinear transform keeps the sections' own frequencies: elsewhere the curves differ by less than the
    tenth of a decibel that the standard's reading is good to."""
    hz = np.geomspace(15.0, min(0.4 * rate, 16000.0), 300)
    here, there = (np.abs(signal.freqz_sos(k_weighting(r), hz, fs=r)[1]) for r in (rate, 48000))
    assert np.max(np.abs(20 * np.log10(here / there))) < (0.1 if rate == 16000 else 0.01)


def test_the_curve_lifts_the_treble_by_four_decibels_and_cuts_the_bass():
    """From the standard's figures, read off: +4 dB above 4 kHz, −6.6 dB or so at 30 Hz re 1 kHz's +0.7."""
    gain = 20 * np.log10(np.abs(signal.freqz_sos(k_weighting(48000), [30.0, 997.0, 10000.0], fs=48000)[1]))
    assert gain[1] == pytest.approx(0.691, abs=0.01)
    assert gain[2] == pytest.approx(4.0, abs=0.1)
    assert -10.0 < gain[0] < -3.0


def test_silence_is_gated_out():
    """Half of it silent: the absolute gate leaves the other half (and blocks that hold some of it)."""
    piece = np.concatenate([sine(48000, seconds=20), np.zeros(20 * 48000)])
    assert loudness_lkfs(piece, 48000) == pytest.approx(-3.01, abs=0.05)


def test_what_is_ten_decibels_below_is_gated_out_and_what_is_nearer_counts():
    loud, soft = sine(48000, seconds=20, level_db=-20), sine(48000, seconds=20, level_db=-50)
    assert loudness_lkfs(np.concatenate([loud, soft]), 48000) == pytest.approx(-23.01, abs=0.06)
    near = sine(48000, seconds=20, level_db=-26)
    expected = -3.01 + 10 * math.log10(0.5 * (10**-2.0 + 10**-2.6))
    assert loudness_lkfs(np.concatenate([loud, near]), 48000) == pytest.approx(expected, abs=0.03)


@pytest.mark.parametrize("gain_db", [-30.0, -6.0])
def test_a_gain_is_a_gain(gain_db):
    noise = np.random.default_rng(4).standard_normal((48000 * 3, 2)) * 0.1
    changed = loudness_lkfs(noise * 10 ** (gain_db / 20), 48000) - loudness_lkfs(noise, 48000)
    assert changed == pytest.approx(gain_db, abs=1e-9)


def test_what_cannot_be_measured_is_refused_or_minus_infinity():
    assert loudness_lkfs(np.zeros(48000), 48000) == -math.inf
    with pytest.raises(ParameterError, match=r"at least 0\.4 s of one or two channels \(got 0\.10 s"):
        loudness_lkfs(np.zeros(4800), 48000)
    with pytest.raises(ParameterError, match="one or two channels"):
        loudness_lkfs(np.zeros((48000, 6)), 48000)
    with pytest.raises(ParameterError, match="at least 16000 Hz"):
        loudness_lkfs(np.zeros(48000), 4000)
