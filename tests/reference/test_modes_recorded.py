"""Modes of recordings made by others: an independent simulator's bench with its truth, and a loudspeaker in a room."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from frusta.signal.breakup import find_breakup
from frusta.signal.modes import ModeFit, fit_modes
from frusta.signal.transfer import deconvolve

pytestmark = pytest.mark.reference

TAKES = ("check-1-s1-first", "finch-cc84-1-s1", "finch-st90-1-s1", "heron-cv78-1-s1", "otter-cv78-1-s1")


def _fit(microphone: np.ndarray, reference: np.ndarray, rate: int, stop_hz: float, length_s: float) -> ModeFit:
    response = deconvolve(microphone, reference, rate, (20.0, stop_hz))
    before = rate // 4
    impulse = np.roll(response.impulse, before - int(np.argmax(np.abs(response.impulse))))[: rate // 2]
    onset = int(np.argmax(np.abs(impulse) >= 0.1 * np.max(np.abs(impulse))))
    return fit_modes(impulse, rate, onset_s=onset / rate, length_s=length_s)


@pytest.mark.parametrize(("level", "frequency_bar", "loss_bar"), [("clean", 5e-5, 4e-3), ("hard", 2e-4, 1e-2)])
def test_modes_of_the_bench(reference_data: Path, level: str, frequency_bar: float, loss_bar: float) -> None:
    # Oracle: truth of an independent simulator (no code shared); the project's own bars, see the issue. Modes 1 to 7 of
    # n = 0 from 1 to 16 kHz at −15 dB or more with no bell mode inside 1.5 bandwidths must all be there.
    folder = reference_data / "simulated-bench"
    truth = json.loads((folder / f"{level}-truth.json").read_text())
    errors, covered, extra = [], [], 0
    for take in TAKES:
        both, rate = soundfile.read(folder / level / "recordings" / f"{take}.flac")
        fit = _fit(both[:, 0], both[:, 1], rate, 20000.0, 1e-3 * truth["reflection_free_ms"] - 1e-4)
        poles = [p for p in truth["takes"][take]["poles"] if 1000.0 < p[0] < 16000.0]
        for pole in [p for p in poles if p[2] == 0][:7]:
            alone = all(abs(q[0] - pole[0]) > 1.5 * pole[1] * pole[0] or q[4] < -20.0 for q in poles if q is not pole)
            if pole[4] < -15.0 or not alone:
                continue
            mode = min(fit.modes, key=lambda m: abs(m.frequency_hz - pole[0]))
            errors.append((abs(mode.frequency_hz / pole[0] - 1.0), abs(mode.loss_factor / pole[1] - 1.0)))
            covered.append(
                (
                    abs(mode.frequency_hz - pole[0]) < 1.96 * mode.frequency_hz_u,
                    abs(mode.loss_factor - pole[1]) < 1.96 * mode.loss_factor_u,
                )
            )
        extra += sum(min(abs(m.frequency_hz / p[0] - 1.0) for p in poles) > 0.01 for m in fit.modes)
        breakup = find_breakup(fit).mode
        assert breakup is not None
        assert breakup.frequency_hz == pytest.approx(truth["takes"][take]["breakup"][0], rel=1.5e-3)
    assert len(errors) > 28
    median, worst = np.median(errors, axis=0), np.max(errors, axis=0)
    assert median[0] < frequency_bar
    assert median[1] < loss_bar
    if level == "clean":  # in noise the project sets no bar for the worst
        assert worst[0] < 1.5e-3
        assert worst[1] < 5e-2
    assert np.min(np.mean(covered, axis=0)) >= 0.85
    assert extra == 0


def test_a_room_is_not_taken_for_modes(reference_data: Path) -> None:
    # Reflections from 2 ms on, at −20 dB: whatever is given must not pretend to be sharp
    folder = reference_data / "loopback-room"
    microphone, rate = soundfile.read(folder / "mic_recording.flac")
    loopback, _ = soundfile.read(folder / "loopback_recording.flac")
    for length_s in (2e-3, 4e-3, 10e-3):
        fit = _fit(microphone, loopback, rate, 21000.0, length_s)
        assert all(m.frequency_hz_u > 1e-3 * m.frequency_hz for m in fit.modes)
        assert fit.modes or fit.reason
