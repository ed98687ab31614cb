"""A sweep measured in a room by others, held against their own impulse response.

Data: shared/data/loopback-room (from the pyfar gallery, CC BY 4.0); see its README for how it was recorded.
"""

from __future__ import annotations

import numpy as np
import pytest
import soundfile
from scipy import fft

from frusta.signal.reading import Conditions, TakeSignals, read_take
from frusta.signal.sweep import fit_sweep
from frusta.signal.transfer import deconvolve, stretch

pytestmark = pytest.mark.reference


@pytest.fixture(scope="module")
def room(reference_data):
    names = ("sweep_nominal.wav", "loopback_recording.flac", "mic_recording.flac", "authors_ir.wav")
    files = [soundfile.read(reference_data / "loopback-room" / name) for name in names]
    assert {rate for _, rate in files} == {44100}
    return dict(zip(("played", "loopback", "microphone", "authors"), (samples for samples, _ in files), strict=True))


@pytest.fixture(scope="module")
def reading(room):
    signals = TakeSignals(room["microphone"], 44100, reference=room["loopback"], played=room["played"])
    return read_take(signals, Conditions())


def test_the_sweep_is_recognised(room):
    """README: 50 Hz to 22050 Hz, L = 0.2441 s."""
    for name in ("played", "loopback"):
        fit = fit_sweep(room[name], 44100)
        assert fit.exponential
        assert fit.rate_s == pytest.approx(0.2441, rel=5e-4)
        assert fit.start_hz == pytest.approx(50.0, rel=1e-3)
        assert fit.stop_hz == pytest.approx(22050.0, rel=2e-3)


def test_the_response_is_the_authors_own(room):
    """0.05 dB standard deviation after a constant gain, 100 Hz to 18 kHz; authors' band 55 Hz to 21 kHz."""
    found = deconvolve(room["microphone"], room["loopback"], 44100, (50.0, 22050.0))
    size = found.impulse.size
    ours = fft.rfft(stretch(found.impulse, 0, room["authors"].size, 0), size)
    frequency = found.frequency_hz
    inside = (frequency > 100) & (frequency < 18000)
    taper = np.maximum(found.taper[inside], 1e-3)
    difference = 20 * np.log10(np.abs(ours[inside]) / taper / np.abs(fft.rfft(room["authors"], size)[inside]))
    # single bins at deep notches of the room are noise of both: judge twelfth-octave-like means of 20 Hz
    width = round(20 / frequency[1])
    blocks = difference[: difference.size // width * width].reshape(-1, width)
    assert np.std(np.median(blocks, axis=1)) < 0.05


def test_delay_and_polarity(reading):
    """README: direct sound 9.887 ms after the loopback's, polarity inverted."""
    assert reading.figures["delay_ms"] == pytest.approx(9.887, abs=0.012)
    assert reading.polarity == -1


def test_harmonics_are_null_since_the_rooms_tail_overlaps_them(reading):
    for key in ("thd_peak_percent", "input_thd_peak_percent", "buzz_peak_percent"):
        assert reading.figures[key] is None
        assert "tail overlaps" in reading.reasons[key]


def test_the_first_reflection_ends_the_gate(reading):
    """Independent look: the largest copy in the authors' response within 10 ms lies 2.3 to 2.4 ms after its onset."""
    assert reading.gate is not None
    assert 0.0022 < reading.gate.reflection_s < 0.0025
    assert reading.figures["decay_2_percent_ms"] is None
    assert "longer than" in reading.reasons["decay_2_percent_ms"]


def test_a_room_and_two_drivers_show_no_clock(room):
    """One interface played and recorded, so the error is none; what a room blurs must not be called a clock error."""
    found = read_take(TakeSignals(room["microphone"], 44100, played=room["played"]), Conditions())
    ppm = found.figures["clock_ppm"]
    assert ppm is None or abs(ppm) < 3.0 * found.uncertainties["clock_ppm_u"]
    straight = read_take(TakeSignals(room["loopback"], 44100, played=room["played"]), Conditions())
    assert straight.figures["clock_ppm"] is not None
    assert abs(straight.figures["clock_ppm"]) < 3.0 * straight.uncertainties["clock_ppm_u"]
