"""The gated response of a take, and what it would be with a shorter gate or with other noise."""

from __future__ import annotations

import math

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
GATE_SHARES = (1.0, 0.9, 0.8, 0.7)
"""The gate, and shorter ones that show what its length does."""

MOST_PIECES = 6


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
    """The gated response, ringing on as its modes do, and what it would be with shorter gates or with other noise.

    Attributes
    ----------
    grid : ndarray, shape (m,)
        Hz.
    gate : Gate
    gated : ndarray, shape (m,)
        Complex, scaled to the unit of the curves.
    power : ndarray, shape (m,)
        Its squared magnitude.
    shorter : ndarray, shape (3, m)
        The same with the gate a tenth to three tenths shorter.
    noise : ndarray, shape (pieces, m)
        Complex: what other stretches of noise leave behind the same window.
    ungated : ndarray, shape (m,)
        Complex, with the room in it.
    """

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
        lengths = tuple(max(8, round(share * after)) for share in GATE_SHARES)
        rise = 0.5 - 0.5 * np.cos(np.pi * (np.arange(before) + 0.5) / before)
        size = before + after
        pieces = min(MOST_PIECES, quiet.size // size)
        windowed = np.zeros((len(lengths) + pieces, size))
        segment = stretch(response.impulse, before, after, onset)
        for row, length in zip(windowed, lengths, strict=False):
            row[:before] = segment[:before] * rise
            row[before : before + length] = segment[before : before + length] * gate_window(length)
        windowed[len(lengths) :] = quiet[: pieces * size].reshape(pieces, size)
        windowed[len(lengths) :, :before] *= rise
        windowed[len(lengths) :, before:] *= gate_window(after)
        spectra = spectrum_at(windowed, before, rate_hz, grid)
        noise_rms = float(np.std(quiet)) if quiet.size else 0.0
        behind = ring_on(response, onset, lengths, modes, noise_rms)
        known = [k for k, tail in enumerate(behind) if tail is not None]
        if known:
            spectra[known] += spectrum_at(np.array([t for t in behind if t is not None]), 0, rate_hz, grid)
        spectra *= scale
        self.grid = grid
        self.gate = gate
        self.gated = spectra[0]
        self.power = np.abs(self.gated) ** 2
        self.shorter = np.abs(spectra[1 : len(lengths)]) ** 2
        self.noise = spectra[len(lengths) :]
        long_before, long_after = round(0.02 * rate_hz), round(0.2 * rate_hz)
        fade = np.concatenate(
            [0.5 - 0.5 * np.cos(np.pi * np.arange(long_before) / long_before), gate_window(long_after)]
        )
        whole = stretch(response.impulse, long_before, long_after, onset) * fade
        self.ungated = np.asarray(scale * spectrum_at(whole, long_before, rate_hz, grid))

    def variants(self) -> Floats:
        """Power of the response with other noise on it, shape (pieces, m): added and taken off in turn."""
        with_noise = self.gated + self.noise * np.where(np.arange(len(self.noise)) % 2, -1.0, 1.0)[:, None]
        return np.asarray(with_noise.real**2 + with_noise.imag**2)
