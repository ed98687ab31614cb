"""Harmonics of recordings made by others: a room whose tail overlaps them, and an independent simulator's bench."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
import soundfile

from frusta.signal.harmonic_peaks import distortion_peaks
from frusta.signal.harmonics import ROOM_TAIL, read_harmonics
from frusta.signal.smoothing import log_grid
from frusta.signal.sweep import Sweep, make_sweep
from frusta.signal.transfer import deconvolve

pytestmark = pytest.mark.reference


def test_room_tail_overlaps_the_harmonics(reference_data: Path) -> None:
    # Oracle: the README of the recording: L = 0.2441 s, so low distortion cannot be had from it.
    folder = reference_data / "loopback-room"
    microphone, rate = soundfile.read(folder / "mic_recording.flac")
    loopback, _ = soundfile.read(folder / "loopback_recording.flac")
    response = deconvolve(microphone, loopback, rate, (50.0, 22050.0))
    grid = log_grid(60.0, 20000.0)
    onset = int(np.argmax(np.abs(response.impulse)))
    harmonics = read_harmonics(response.impulse, rate, onset, 0.2441, (50.0, 22050.0), grid, np.ones(grid.size))
    for peak in (distortion_peaks(harmonics, None).thd, distortion_peaks(harmonics, None).input_thd):
        assert peak.percent is None
        assert peak.reason is not None
        assert peak.reason.startswith(ROOM_TAIL)


@pytest.mark.parametrize("take", ["heron-st90-1-s1", "otter-cc84-1-s1", "finch-cv78-1-s1"])
@pytest.mark.parametrize("level", ["clean", "hard"])
def test_harmonics_of_the_bench(reference_data: Path, level: str, take: str) -> None:
    # Oracle: truth of an independent simulator. Its own linear response serves as the gated one, so that only the
    # harmonics are judged: 10 % (20 %) at the tones, and the largest input-referred reading.
    folder = reference_data / "simulated-bench"
    truth = json.loads((folder / f"{level}-truth.json").read_text())
    with np.load(folder / f"{level}-truth.npz") as curves:
        f, linear = curves["frequency"], curves[f"level/{take}"]
        true = {n: curves[f"h{n}/{take}"] for n in (2, 3)}
    both, rate = soundfile.read(folder / level / "recordings" / f"{take}.flac")
    sweep = Sweep(20.0, 20000.0, 6.0)
    assert make_sweep(sweep).size == both.shape[0]
    response = deconvolve(both[:, 0], both[:, 1], rate, (20.0, 20000.0))
    grid = log_grid(100.0, 19000.0)
    gated = 10.0 ** (np.interp(np.log(grid), np.log(f), linear) / 20.0)
    onset = int(np.argmax(np.abs(response.impulse))) - 10
    harmonics = read_harmonics(response.impulse, rate, onset, sweep.rate_s, (20.0, 20000.0), grid, gated)
    columns = harmonics.columns()
    judged = 0
    for tone in truth["tones_hz"]:
        for order in (2, 3):
            expected = float(np.interp(tone, f, true[order]))
            noise = float(np.interp(tone, grid, columns[f"h{order}_noise_db"]))
            if order * tone > 18000.0 or not expected > noise + 10.0:
                continue
            judged += 1
            allowed = (0.1 if level == "clean" else 0.2) + 1.41 * 10.0 ** ((noise - expected) / 20.0)
            got = float(np.interp(tone, grid, columns[f"h{order}_db"]))
            assert 10.0 ** ((got - expected) / 20.0) == pytest.approx(1.0, abs=allowed), f"order {order} at {tone} Hz"
    assert judged >= 1
    for order in (4, 5):  # the truth has none
        over = (columns[f"h{order}_db"] - columns[f"h{order}_noise_db"])[(grid > 200.0) & (grid < 20000.0 / order)]
        assert np.nanmean(over > 10.0) <= 0.02
    peak = distortion_peaks(harmonics, None).input_thd
    buckles = bool(truth["specimens"][truth["takes"][take]["specimen"]]["buckle"])
    if buckles:
        assert peak.percent == pytest.approx(truth["takes"][take]["input_thd_peak"]["percent"], rel=0.15)
    elif peak.percent is not None:
        assert peak.percent < 0.6
        assert math.isfinite(peak.percent_u or math.nan)
