"""Deconvolution, smoothing and windows against pyfar, an independent library, on the same signals: 0.05 dB."""

from __future__ import annotations

import numpy as np
import pyfar
import pytest
import soundfile

from frusta.signal.gate import gate_window
from frusta.signal.smoothing import smooth_power
from frusta.signal.transfer import deconvolve, stretch

pytestmark = pytest.mark.reference


@pytest.fixture(scope="module")
def room(reference_data):
    folder = reference_data / "loopback-room"
    return [soundfile.read(folder / f"{name}_recording.flac")[0] for name in ("mic", "loopback")]


def test_deconvolution(room):
    ours = deconvolve(room[0], room[1], 44100, (50.0, 22050.0), samples=room[0].size)
    recording, played = (pyfar.Signal(samples, 44100) for samples in room)
    inverse = pyfar.dsp.RegularizedSpectrumInversion.from_frequency_range(played, [50, 21000]).invert
    theirs = pyfar.dsp.convolve(recording, inverse, mode="cyclic")
    inside = (ours.frequency_hz > 100) & (ours.frequency_hz < 18000)
    a = np.abs(ours.spectrum[inside]) / ours.taper[inside]
    b = np.abs(theirs.freq[0][: ours.spectrum.size][inside])
    assert np.abs(20 * np.log10(a / b)).max() < 0.05


@pytest.mark.parametrize("fraction", [3, 6, 12])
def test_smoothing(room, fraction):
    """On the first 4 ms of the response: theirs rounds the window to whole points, which a ragged curve shows."""
    response = deconvolve(room[0], room[1], 44100, (50.0, 22050.0))
    direct = np.pad(stretch(response.impulse, 40, 136, 436) * np.hanning(176), (0, 44100 - 176))
    signal = pyfar.Signal(direct, 44100)
    theirs, _ = pyfar.dsp.smooth_fractional_octave(signal, fraction, mode="magnitude_zerophase")
    frequency = signal.frequencies[1:]
    # theirs averages magnitudes, ours powers: give ours the magnitude as if it were power
    ours = smooth_power(frequency, np.abs(np.fft.rfft(direct))[1:], fraction)
    inside = (frequency > 300) & (frequency < 15000)
    difference = 20 * np.log10(ours[inside] / np.abs(theirs.freq[0][1:][inside]))
    assert np.abs(difference).max() < 0.05


def test_the_fall_of_the_gate_is_their_cosine_window():
    ones = pyfar.Signal(np.ones(1200), 1000)
    theirs = pyfar.dsp.time_window(ones, [499, 1000], "hann", shape="right", unit="samples").time[0]
    assert np.abs(gate_window(1000, 0.5) - theirs[:1000]).max() < 5e-3
