"""The gated response of a take, and what it would be with a shorter gate or with other noise."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from frusta.signal.gate import Gate, gate_window, spectrum_at
from frusta.signal.level import REFERENCE_PA
from frusta.signal.modes import ModeFit
from frusta.signal.ring_on import ring_on
from frusta.signal.smoothing import log_grid
from frusta.signal.source import Source
from frusta.signal.take import Conditions
from frusta.signal.transfer import Deconvolved, stretch

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

LEAD_S = 0.003  # kept before the onset: the tapers of the band ring ahead


def grid_of(response: Deconvolved) -> Floats:
    """The grid of the curves: where the taper leaves at least a tenth."""
    band = response.band
    grid = log_grid(band.start_hz, band.stop_hz)
    return np.asarray(grid[taper_at(grid, response) >= 0.1])


def taper_at(grid: Floats, response: Deconvolved) -> Floats:
    """Return what the tapers of the division leave at the frequencies of a grid, 0 to 1."""
    step_hz = response.sample_rate_hz / response.impulse.size
    return np.asarray(np.interp(grid, np.arange(response.taper.size) * step_hz, response.taper))


def gain_at(grid: Floats, conditions: Conditions) -> Complexes:
    """Return the gain of the microphone at the frequencies of a grid; 1 without a calibration."""
    if conditions.calibration is None:
        return np.ones(grid.size, dtype=np.complex128)
    return conditions.calibration.gain_at(grid)


def pascals(source: Source, conditions: Conditions) -> float:
    """From digital full scale per digital full scale to rms pressure re 20 uPa at the sweep's level and 0 dB gain."""
    full_scale = REFERENCE_PA if conditions.full_scale_pa is None else conditions.full_scale_pa
    gain = float(10.0 ** (-conditions.drive_gain_db / 20.0))
    return source.amplitude / math.sqrt(2.0) * full_scale / REFERENCE_PA * gain


def quiet_before(response: Deconvolved, source: Source, gate: Gate, onset: int) -> Floats:
    """A stretch that holds only noise: between the linear response and its second harmonic, else before the onset."""
    rate_hz = response.sample_rate_hz
    longest = 0.25
    if source.rate_s is not None:
        longest = min(longest, 0.6 * source.rate_s * math.log(2.0))
    elif onset > 0:
        longest = min(longest, onset / rate_hz)
    rest_s = 0.004
    before = round(max(longest, 2.0 * rest_s) * rate_hz)
    return stretch(response.impulse, before, -round(rest_s * rate_hz), onset)


class Spectra:
    """The gated response, ringing on as its modes do, and what it would be with a shorter gate or with other noise."""

    def __init__(
        self,
        response: Deconvolved,
        onset: int,
        gate: Gate,
        grid: Floats,
        scale: Complexes,
        quiet: Floats,
        modes: ModeFit,
    ) -> None:
        rate_hz = response.sample_rate_hz
        before, after = round(LEAD_S * rate_hz), max(8, round(gate.length_s * rate_hz))
        rise = 0.5 - 0.5 * np.cos(np.pi * (np.arange(before) + 0.5) / before)
        segment = stretch(response.impulse, before, after, onset)
        window = np.concatenate([rise, gate_window(after)])

        def at(samples: Floats, shape: Floats) -> Complexes:
            return np.asarray(scale * spectrum_at(samples[: shape.size] * shape, before, rate_hz, grid))

        self.grid = grid
        self.gate = gate
        noise_rms = float(np.std(quiet)) if quiet.size else 0.0

        def behind(length_s: float) -> Complexes:
            tail = ring_on(response, replace(gate, length_s=length_s), modes, noise_rms)
            return np.asarray(scale * spectrum_at(tail, 0, rate_hz, grid)) if tail.size else 0.0 * scale

        self.gated = at(segment, window) + behind(gate.length_s)
        self.power = np.abs(self.gated) ** 2
        short = at(segment, np.concatenate([rise, gate_window(max(8, round(0.8 * after)))]))
        self.shorter = np.abs(short + behind(0.8 * gate.length_s)) ** 2
        pieces = min(6, quiet.size // segment.size)
        noise = [at(quiet[k * segment.size : (k + 1) * segment.size], window) for k in range(pieces)]
        self.noise = np.array(noise) if noise else np.zeros((0, grid.size), dtype=np.complex128)
        long_before, long_after = round(0.02 * rate_hz), round(0.2 * rate_hz)
        fade = np.concatenate(
            [0.5 - 0.5 * np.cos(np.pi * np.arange(long_before) / long_before), gate_window(long_after)]
        )
        whole = stretch(response.impulse, long_before, long_after, onset) * fade
        self.ungated = np.asarray(scale * spectrum_at(whole, long_before, rate_hz, grid))

    def variants(self) -> list[Floats]:
        """Power of the response as it would be with other noise on it: pairs with the noise added and taken off."""
        return [np.abs(self.gated + noise) ** 2 for noise in self.noise[:2]]
