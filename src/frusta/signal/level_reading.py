"""The figures of level of a take, with what noise and the length of the gate leave of them."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from frusta.signal.gate import Gate
from frusta.signal.level import (
    LIMIT_SMOOTHING,
    PEAK_SMOOTHING,
    Figure,
    RigidResponse,
    frequency_limits,
    levels_db,
    piston_limits_hz,
    smoothed_db,
    tallest_peak,
    unevenness_db,
)
from frusta.signal.sheet import LEVEL_FIGURES, Sheet
from frusta.signal.smoothing import POINTS_PER_OCTAVE
from frusta.signal.spectra import Spectra
from frusta.signal.take import Conditions

Floats = NDArray[np.float64]

PLACED = math.log(2.0) / POINTS_PER_OCTAVE / 50.0
"""A parabola through points of the grid places a peak to a fiftieth of their distance, relative."""

FEW = (6.48, 2.20, 1.62, 1.42, 1.31, 1.25)
"""Student's t over the normal quantile at 95 %, for 1 to 6 stretches of noise: so few do not tell its size exactly."""

SNR_BAND_HZ = (200.0, 10000.0)


def _level_figures(
    grid: Floats, powers: Floats, lowest_hz: float, rigid: RigidResponse | None
) -> list[dict[str, Figure]]:
    """The figures of level of several versions of the response, shape (versions, m)."""
    seen = slice(int(np.searchsorted(grid, lowest_hz)), None)
    thirds = smoothed_db(grid[seen], powers[:, seen], LIMIT_SMOOTHING)
    twelfths = smoothed_db(grid, powers, PEAK_SMOOTHING)
    unknown = Figure(None, None, "the rigid cone's own response is not known for this take")
    pistons = [unknown] * len(powers) if rigid is None else piston_limits_hz(grid, powers, rigid)
    references = levels_db(grid, powers).tolist()
    out = []
    for power, third, twelfth, reference, piston in zip(powers, thirds, twelfths, references, pistons, strict=True):
        lower, upper = frequency_limits(grid[seen], power[seen], reference, third)
        if lower.value is None and lowest_hz > grid[0]:
            lower = Figure(None, None, f"below {lowest_hz:.0f} Hz, the lowest that a gate of this length resolves")
        top = upper.value if upper.value is not None else float(grid[-1])
        peak, prominence = tallest_peak(grid, power, float(grid[-1]), twelfth)
        uneven = Figure(unevenness_db(grid, power, 200.0, top, twelfth)) if top > 200.0 else Figure(None)
        figures = (Figure(reference), lower, upper, uneven, peak, prominence, piston)
        out.append(dict(zip(LEVEL_FIGURES, figures, strict=True)))
    return out


def put_levels(sheet: Sheet, spectra: Spectra, gate: Gate, conditions: Conditions) -> None:
    """Write the figures of level, with what noise and the gate's length leave of them as uncertainty."""
    grid, lowest_hz = spectra.grid, 1.0 / gate.length_s
    if lowest_hz > 300.0:
        reason = (
            f"the gate of {1e3 * gate.length_s:.1f} ms resolves nothing below {lowest_hz:.0f} Hz, so the piston band "
            "from 300 Hz has no level; move reflecting surfaces away"
        )
        for key in LEVEL_FIGURES:
            sheet.put(key, None, None, reason)
        return
    if grid[0] > 300.0 or grid[-1] < 1000.0:
        for key in LEVEL_FIGURES:
            sheet.put(key, None, None, "what was played does not cover the piston band, 300 Hz to 1 kHz")
        return
    versions = np.concatenate([spectra.power[None], spectra.shorter, spectra.variants()])
    main, *others = _level_figures(grid, versions, lowest_hz, conditions.rigid)
    gates, noises = others[: len(spectra.shorter)], others[len(spectra.shorter) :]
    for key, figure in main.items():
        u = _spread(figure, [g[key] for g in gates], [n[key] for n in noises])
        if key == "tallest_peak_hz" and u is not None and figure.value is not None:
            u = math.hypot(u, figure.value * PLACED)
        sheet.put_figure(key, figure, u)
    if main["upper_limit_hz"].value is None and main["unevenness_db"].value is not None:
        sheet.reasons["unevenness_db"] = f"read up to {grid[-1]:.0f} Hz, the end of the band"
    sheet.put("unevenness_common_db", None, None, "set once all cones of the campaign are read")
    if conditions.full_scale_pa is None:
        sheet.reasons["level_db"] = "relative: no full_scale_pa is given, so 0 dB is digital full scale"


def _spread(main: Figure, gates: list[Figure], noises: list[Figure]) -> float | None:
    """Root sum of squares of the most that a shorter gate changes and of the noise's mean square."""
    if main.value is None:
        return None
    gate = [abs(g.value - main.value) for g in gates if g.value is not None]
    noise = [(n.value - main.value) ** 2 for n in noises if n.value is not None]
    if not noise:
        return max(gate, default=0.0)
    return math.hypot(max(gate, default=0.0), FEW[len(noise) - 1] * math.sqrt(sum(noise) / len(noise)))


def put_snr(sheet: Sheet, spectra: Spectra) -> None:
    """Write response over noise, median from 200 Hz to 10 kHz, or why it cannot be had."""
    inside = (spectra.grid >= SNR_BAND_HZ[0]) & (spectra.grid <= SNR_BAND_HZ[1])
    if spectra.noise.shape[0] == 0 or not inside.any():
        sheet.put("snr_db", None, None, "nowhere in the take is there room to read its noise")
        return
    noise = np.mean(np.abs(spectra.noise[:, inside]) ** 2, axis=0)
    if not noise.min() > 0.0:
        sheet.put("snr_db", None, None, "the take holds no noise at all: it was made by calculation or gated")
        return
    ratio = 10.0 * np.log10(spectra.power[inside] / noise)
    independent = spectra.noise.shape[0] * max(1.0, spectra.gate.length_s * (SNR_BAND_HZ[1] - SNR_BAND_HZ[0]) / 2.0)
    # noise power in one bin scatters by 5.57 dB (chi-square of two degrees), its median by 1.25 times the mean's
    sheet.put("snr_db", float(np.median(ratio)), 1.25 * 5.57 / math.sqrt(independent))
