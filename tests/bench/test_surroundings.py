"""Room, microphone, noise: closed forms and power spectra."""

from __future__ import annotations

import numpy as np
import pytest

from frusta.bench.surroundings import (
    MicrophoneDeviation,
    Noise,
    Reflection,
    make_noise,
    pink,
    reflections_response,
)
from frusta.campaign.calibration_file import parse_calibration

RATE = 48000


def test_pink_noise_has_unit_rms_and_equal_power_per_octave() -> None:
    # 2·10⁵ samples an octave band or more: 1 dB is five sigma in the lowest band
    signal = pink(20 * RATE, RATE, np.random.default_rng(1))
    assert np.sqrt(np.mean(signal**2)) == pytest.approx(1.0, rel=1e-9)
    power = np.abs(np.fft.rfft(signal)) ** 2
    frequency = np.fft.rfftfreq(signal.size, 1 / RATE)
    octaves = [power[(frequency >= f) & (frequency < 2 * f)].sum() for f in (125, 500, 2000, 8000)]
    np.testing.assert_allclose(10 * np.log10(np.array(octaves) / octaves[0]), 0.0, atol=1.0)


def test_noise_levels_are_re_the_peak() -> None:
    rng = np.random.default_rng(2)
    quiet = -400.0
    for noise in (Noise(-50.0, quiet, quiet), Noise(quiet, -50.0, quiet), Noise(quiet, quiet, -50.0)):
        signal = make_noise(2 * RATE, RATE, noise, 0.5, rng)
        assert 20 * np.log10(np.sqrt(np.mean(signal**2)) / 0.5) == pytest.approx(-50.0, abs=0.05)


def test_hum_stands_at_the_mains_and_its_harmonics() -> None:
    signal = make_noise(RATE, RATE, Noise(-400.0, -400.0, -40.0, 60.0), 1.0, np.random.default_rng(3))
    spectrum = np.abs(np.fft.rfft(signal))
    assert set(np.argsort(spectrum)[-3:]) == {60, 120, 180}


def test_reflection_is_a_delayed_copy() -> None:
    frequency = np.fft.rfftfreq(4800, 1 / RATE)
    impulse = np.fft.irfft(reflections_response((Reflection(0.01, -0.2, 1e9),), frequency))
    assert impulse[0] == pytest.approx(1.0, abs=1e-6)
    assert impulse[480] == pytest.approx(-0.2, abs=1e-6)


def test_microphone_is_minimum_phase_with_its_magnitude() -> None:
    microphone = MicrophoneDeviation(20.0, ((8000.0, 3.0, 0.5),))
    response = microphone.response(1 << 17, RATE)
    frequency = np.fft.rfftfreq(1 << 17, 1 / RATE)
    band = frequency > 5.0
    np.testing.assert_allclose(
        20 * np.log10(np.abs(response[band])), microphone.magnitude_db(frequency[band]), atol=1e-6
    )
    impulse = np.fft.irfft(response)
    early = np.sum(impulse[: 1 << 15] ** 2)
    assert early > 0.9999 * np.sum(impulse**2)


def test_calibration_file_takes_the_deviation_away() -> None:
    # round trip: the table that frusta reads is what the microphone does, between rows to 0.02 dB
    microphone = MicrophoneDeviation(20.0, ((8000.0, 3.0, 0.5),))
    text = microphone.calibration_text()
    calibration = parse_calibration(text, "capsule.txt")
    frequency = np.geomspace(40.0, 18000.0, 300)
    level = np.interp(np.log(frequency), np.log(calibration.frequency_hz), calibration.level_db)
    np.testing.assert_allclose(level, microphone.magnitude_db(frequency), atol=0.03)
