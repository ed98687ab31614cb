"""Setting the level with noise: what is played, what the meter reads from it, when it may be accepted.

The noise repeats every half second and has lines of equal power per logarithm of frequency in its band alone. Any
stretch as long as a period then holds exactly the same power: the meter needs no averaging, what it scatters is the
room. Between the lines, over two periods, stands nothing but the room's own noise. The meter reads what the sweep's
`level_db` will be (the room included, since nothing is gated here), at the gain that is set.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from frusta.errors import ParameterError
from frusta.signal.level import PISTON_BAND_HZ, REFERENCE_PA

Floats = NDArray[np.float64]

PERIOD_S = 0.5
UPDATE_S = 0.1
TOLERANCE_DB = 0.5
HOLD_S = 2.0
SETTLE_S = 1.0
"""Not judged before: the ramp, the device's latency and the first period."""

NOISE_RMS_DBFS = -18.0
"""Of the noise at a drive gain of 0 dB: leaves 12 dB for its crest and 6 dB for gain."""


@dataclass(frozen=True)
class LevelNoise:
    """One period of the noise.

    Parameters
    ----------
    samples : ndarray, shape (n,)
    sample_rate_hz : int
    band_hz : tuple of float
    rms : float
        Re digital full scale.
    """

    samples: Floats
    sample_rate_hz: int
    band_hz: tuple[float, float]
    rms: float

    @property
    def crest(self) -> float:
        """Peak over rms."""
        return float(np.max(np.abs(self.samples))) / self.rms


def make_level_noise(
    sample_rate_hz: int, band_hz: tuple[float, float] = PISTON_BAND_HZ, rms_dbfs: float = NOISE_RMS_DBFS
) -> LevelNoise:
    """Return one period of noise with equal power per logarithm of frequency in a band, none outside.

    Parameters
    ----------
    sample_rate_hz : int
    band_hz : tuple of float
        Low and high edge, Hz.
    rms_dbfs : float
        Its rms, dB re digital full scale.

    Raises
    ------
    ParameterError
        If the band is empty, holds fewer than ten lines (2 Hz apart), or leaves what can be played.
    """
    low, high = band_hz
    size = round(PERIOD_S * sample_rate_hz)
    frequency = fft.rfftfreq(size, 1.0 / sample_rate_hz)
    lines = (frequency >= low) & (frequency <= high)
    if not 0.0 < low < high <= 0.45 * sample_rate_hz or np.count_nonzero(lines) < 10:
        raise ParameterError(
            f"the noise must have a band of at least 20 Hz below {0.45 * sample_rate_hz:g} Hz (got {low:g} to "
            f"{high:g} Hz); the default is {PISTON_BAND_HZ[0]:g} to {PISTON_BAND_HZ[1]:g} Hz"
        )
    rng = np.random.default_rng(20)
    spectrum = np.zeros(frequency.size, dtype=np.complex128)
    phase = rng.uniform(0.0, 2.0 * np.pi, np.count_nonzero(lines))
    spectrum[lines] = np.exp(1j * phase) / np.sqrt(frequency[lines])
    samples = fft.irfft(spectrum, size)
    rms = 10.0 ** (rms_dbfs / 20.0)
    samples *= rms / math.sqrt(float(np.mean(samples**2)))
    return LevelNoise(samples, sample_rate_hz, (low, high), rms)


@dataclass(frozen=True)
class LevelReading:
    """What the meter shows.

    Parameters
    ----------
    level_db : float
        What the sweep's level_db would be at this gain: dB re 20 µPa, or relative.
    deficit_db : float or None
        Target less level; None where there is no target.
    steady_s : float
        How long it has stood within the tolerance.
    noise_db : float or None
        Level over the room's own noise in the band; None until two periods were heard.
    peak_dbfs : float
        Of the microphone over the last period.
    accepted : bool
        Whether it stood long enough.
    tolerance_db : float
        How near to the target is near enough.
    """

    level_db: float
    deficit_db: float | None
    steady_s: float
    noise_db: float | None
    peak_dbfs: float
    accepted: bool
    tolerance_db: float = TOLERANCE_DB

    @property
    def order(self) -> str:
        """What to do, in three words."""
        if self.peak_dbfs > -1.0:
            return "microphone too loud: turn its gain down"
        if self.deficit_db is None:
            return "steady" if self.accepted else "hold still"
        if abs(self.deficit_db) <= self.tolerance_db:
            return "on target" if self.accepted else "on target, hold still"
        return f"{'up' if self.deficit_db > 0 else 'down'} {abs(self.deficit_db):.1f} dB"


class LevelMeter:
    """Reads blocks of the microphone while the noise plays.

    Parameters
    ----------
    noise : LevelNoise
    sweep_amplitude : float
        Of the sweep that will follow, at a drive gain of 0 dB, re digital full scale.
    full_scale_pa : float or None
    target_db : float or None
        None: accepts any level that stands still.
    tolerance_db : float
    hold_s : float
        How long it must stand.
    """

    def __init__(
        self,
        noise: LevelNoise,
        sweep_amplitude: float,
        full_scale_pa: float | None,
        target_db: float | None,
        tolerance_db: float = TOLERANCE_DB,
        hold_s: float = HOLD_S,
    ) -> None:
        self._noise = noise
        pascal = REFERENCE_PA if full_scale_pa is None else full_scale_pa
        self._scale_db = 20.0 * math.log10(sweep_amplitude / math.sqrt(2.0) / noise.rms * pascal / REFERENCE_PA)
        self._target = target_db
        self._tolerance = tolerance_db
        self._hold = hold_s
        self._period = noise.samples.size
        self._last = np.zeros(2 * self._period)
        self._heard = 0
        self._due = round(SETTLE_S * noise.sample_rate_hz)
        self._levels: deque[float] = deque(maxlen=1 + round(hold_s / UPDATE_S))

    def restart(self) -> None:
        """Forget the past: the gain was changed."""
        self._levels.clear()
        self._due = self._heard + 2 * self._period

    def feed(self, block: Floats) -> LevelReading | None:
        """Take samples of the microphone, shape (n,); returns a reading every tenth of a second, else None."""
        block = np.asarray(block, dtype=np.float64)[-self._last.size :]
        self._last = np.concatenate([self._last[block.size :], block])
        self._heard += block.size
        if self._heard < self._due:
            return None
        self._due = self._heard + round(UPDATE_S * self._noise.sample_rate_hz)
        return self._read()

    def _read(self) -> LevelReading:
        power, noise_db = self._band()
        level = 10.0 * math.log10(power + 1e-20) + self._scale_db
        deficit = None if self._target is None else self._target - level
        near = level if self._target is None else self._target
        if abs(level - near) > self._tolerance:
            self._levels.clear()
        else:
            self._levels.append(level)
        steady = max(self._levels, default=level) - min(self._levels, default=level) <= self._tolerance
        if not steady:
            self._levels.popleft()
        held = UPDATE_S * (len(self._levels) - 1) if self._levels else 0.0
        peak = 20.0 * math.log10(float(np.max(np.abs(self._last[-self._period :]))) + 1e-10)
        loud = noise_db is None or noise_db > 6.0
        accepted = held >= self._hold - 1e-9 and peak < -1.0 and loud
        return LevelReading(level, deficit, held, noise_db, peak, accepted, self._tolerance)

    def _band(self) -> tuple[float, float | None]:
        """Power of the lines, re digital full scale, and how far they stand over what is between them."""
        low, high = self._noise.band_hz
        spectrum = np.abs(fft.rfft(self._last)) ** 2 * 2.0 / self._last.size**2
        bins = np.arange(spectrum.size)
        hz = bins / (2.0 * PERIOD_S)
        inside = (hz >= low - 1.0) & (hz <= high + 1.0)
        lines = float(np.sum(spectrum[inside & (bins % 2 == 0)]))
        between = float(np.sum(spectrum[inside & (bins % 2 == 1)]))
        power = max(lines - between, 1e-20)
        return power, 10.0 * math.log10(power / (between + 1e-20))


def largest_gain_db(limit_dbfs: float, sweep_amplitude: float, noise: LevelNoise) -> float:
    """Return the gain at which sweep or noise would reach the limit of the output."""
    peak = max(sweep_amplitude, noise.rms * noise.crest)
    return limit_dbfs - 20.0 * math.log10(peak)
