"""The curves kept beside a reading: response, harmonics, impulse response, decay map."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from frusta.signal.decay import decay_map
from frusta.signal.harmonics import Harmonics
from frusta.signal.level import level_db
from frusta.signal.sheet import Sheet
from frusta.signal.smoothing import log_grid
from frusta.signal.source import Source
from frusta.signal.spectra import Spectra
from frusta.signal.take import Conditions
from frusta.signal.transfer import Deconvolved, stretch

Floats = NDArray[np.float64]

IMPULSE_BEFORE_S, IMPULSE_AFTER_S = 0.005, 0.25
MAP_TIMES_S = np.arange(0.0, 0.0201, 0.0005)


@dataclass(frozen=True)
class Curves:
    """Curves on one frequency grid of 96 points an octave; names as in the files. NaN where nothing can be read.

    Attributes
    ----------
    frequency_hz : ndarray, shape (m,)
    level_db : ndarray, shape (m,)
        Gated, corrected response, same reference as the figure of that name.
    phase_deg : ndarray, shape (m,)
        Its phase, referred to the onset of the direct sound, -180 to 180.
    ungated_db : ndarray, shape (m,)
        The response with the room in it.
    rigid_db : ndarray, shape (m,)
        The rigid cone's, brought to the same level.
    harmonics : dict of str to ndarray, shape (m,)
        h2_db ... buzz_input_db, dB re the fundamental at the drive frequency; also to be had as attributes.
    """

    frequency_hz: Floats
    level_db: Floats
    phase_deg: Floats
    ungated_db: Floats
    rigid_db: Floats
    harmonics: dict[str, Floats] = field(default_factory=dict)

    def __getattr__(self, name: str) -> Floats:
        """Return a harmonic's curve by its column name."""
        harmonics: dict[str, Floats] = self.__dict__.get("harmonics", {})
        if name in harmonics:
            return harmonics[name]
        raise AttributeError(name)


@dataclass(frozen=True)
class DecayMap:
    """Level left after each time, dB; `level_db` has one row a time and one column a frequency."""

    time_s: Floats
    frequency_hz: Floats
    level_db: Floats


def curves_of(spectra: Spectra, harmonics: Harmonics, conditions: Conditions, sheet: Sheet) -> Curves:
    """Return the curves of a take; the rigid cone brought to the level that the sheet holds."""
    grid = spectra.grid
    rigid = np.full(grid.size, np.nan)
    if conditions.rigid is not None and sheet.figures["level_db"] is not None:
        power = conditions.rigid.power_at(grid)
        known = np.isfinite(power)
        if known.any() and grid[known][0] <= 300.0 and grid[known][-1] >= 1000.0:
            shift = sheet.figures["level_db"] - level_db(grid[known], power[known])
            rigid[known] = 10.0 * np.log10(power[known] + 1e-300) + shift
    return Curves(
        grid,
        10.0 * np.log10(spectra.power + 1e-300),
        np.degrees(np.angle(spectra.gated)),
        20.0 * np.log10(np.abs(spectra.ungated) + 1e-300),
        rigid,
        harmonics.columns(),
    )


def impulse_of(response: Deconvolved, onset: int, nominal_hz: float) -> Floats:
    """The impulse response round the direct sound at the nominal sample rate."""
    rate_hz = response.sample_rate_hz
    before, after = round(IMPULSE_BEFORE_S * nominal_hz), round(IMPULSE_AFTER_S * nominal_hz)
    if rate_hz == nominal_hz:
        return stretch(response.impulse, before, after, onset)
    margin = 64 + math.ceil(abs(rate_hz / nominal_hz - 1.0) * after)
    raw = stretch(response.impulse, before + margin, after + margin, onset)
    place = np.arange(-before, after) * (rate_hz / nominal_hz) + before + margin
    return interpolate(raw, np.asarray(place, dtype=np.float64))


def interpolate(signal: Floats, place: Floats, half_width: int = 24) -> Floats:
    """Return a signal between its samples, by a sinc under a raised-cosine-squared window.

    Parameters
    ----------
    signal : ndarray, shape (n,)
        Band limited to 0.9 of half its sample rate for an error below -80 dB.
    place : ndarray, shape (m,)
        Where, in samples; at least ``half_width`` from both ends.
    half_width : int
        Samples on either side that count.
    """
    whole = np.floor(place).astype(np.int64)
    part = place - whole
    total = np.zeros(place.size)
    weight = np.zeros(place.size)
    # sin(pi (step - part)) changes its sign only, and cos² turns by a fixed angle from one step to the next: neither
    # is computed anew. On a sample, 1 / distance is not; there the sample counts alone.
    turn = np.pi / half_width
    cosine, sine = np.cos(turn * part), np.sin(turn * part)
    on = part == 0.0
    apart = np.where(on, 0.5, part)
    for step in range(1 - half_width, half_width + 1):
        window = 1.0 + math.cos(turn * step) * cosine + math.sin(turn * step) * sine
        kernel = (1.0 if step % 2 else -1.0) * window / (step - apart)
        total += kernel * signal[whole + step]
        weight += kernel
    return np.where(on, signal[whole], total / weight)


def polarity_of(response: Deconvolved, onset: int) -> int:
    """Sign of the first swing of the direct sound that reaches half of the largest in its first half millisecond."""
    early = stretch(response.impulse, 2, max(8, round(0.0005 * response.sample_rate_hz)), onset)
    over = np.flatnonzero(np.abs(early) >= 0.5 * np.abs(early).max())
    return int(np.sign(early[over[0]]))


def map_of(response: Deconvolved, onset: int, source: Source) -> DecayMap:
    """Return the decay map of a take, 24 frequencies an octave from 200 Hz, every 0.5 ms."""
    top = min(0.95 * source.band.stop_hz, 20000.0)
    frequency = log_grid(max(200.0, source.band.full_low_hz), top, 24)
    return DecayMap(MAP_TIMES_S, frequency, decay_map(response, onset, frequency, MAP_TIMES_S))
