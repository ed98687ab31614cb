"""Modes of a struck rim or coupon from a plain recording."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frusta.errors import ParameterError
from frusta.signal.modes import Mode, fit_modes

Real = NDArray[np.float64]

CYCLES = 160.0  # of an octave's upper end; with a loss factor of 0.02 its lower end has fallen by 43 dB by then
CONTACT_S = 3e-3  # a finger nail or a small hammer has left by then
ONSET_SHARE = 0.1
BLOCK_S = 2e-3
NEXT_STRIKE_DB = 6.0  # rise from one block to the next that means another strike
WEAKEST_DB = -30.0  # own contribution over the rest; a strike may hit near a node of a mode
OVERLAP = 0.02  # bands reach so far below their octave; a mode on the edge is kept once


@dataclass(frozen=True)
class TapReading:
    """Modes of one strike; ``reason`` says why there are none. ``onset_s`` is where the strike was found."""

    modes: tuple[Mode, ...]
    onset_s: float
    length_s: float
    reason: str | None = None


def read_tap(
    recording: Real,
    sample_rate_hz: float,
    *,
    band_hz: tuple[float, float] = (100.0, 16000.0),
    contact_s: float = CONTACT_S,
) -> TapReading:
    """Find the strongest strike in a recording and the modes of what rings after it.

    Parameters
    ----------
    recording : ndarray, shape (n,)
        Microphone signal, any unit; one strike or several.
    sample_rate_hz : float
        Samples per second.
    band_hz : tuple of float
        Modes between these are given. The band is cut into octaves from its upper end; each is fitted over 160 periods
        of its own upper end, so low and high modes are seen equally long in their own time.
    contact_s : float
        Time after the onset in which the hammer may still touch.

    Returns
    -------
    TapReading
        By rising frequency. Strengths and prominences are those of the sound, which the strike's own spectrum colours.

    Raises
    ------
    ParameterError
        If the recording is not one row of finite numbers.
    """
    if recording.ndim != 1 or not np.all(np.isfinite(recording)):
        raise ParameterError("recording must be one row of finite numbers; look for NaN in the file")
    peak = int(np.argmax(np.abs(recording))) if recording.size else 0
    if not recording.size or recording[peak] == 0.0:
        return TapReading((), float("nan"), 0.0, "the recording is silent")
    onset = _onset(recording, peak, sample_rate_hz)
    length_s = _length(recording, onset, sample_rate_hz)
    onset_s = onset / sample_rate_hz
    before = recording[max(onset - int(0.3 * sample_rate_hz), 0) : max(onset - int(BLOCK_S * sample_rate_hz), 0)]
    modes: list[Mode] = []
    top_hz = min(band_hz[1], 0.45 * sample_rate_hz)
    while top_hz > band_hz[0]:
        bottom_hz = max((1.0 - OVERLAP) * top_hz / 2.0, band_hz[0])
        fit = fit_modes(
            recording,
            sample_rate_hz,
            onset_s=onset_s,
            length_s=min(length_s, contact_s + CYCLES / top_hz),
            noise=before if before.size else None,
            band_hz=(bottom_hz, top_hz),
            direct_s=contact_s,
        )
        found = fit.modes + tuple(m for m in fit.weak if m.prominence_db >= WEAKEST_DB)
        modes = _merged(sorted(found, key=lambda m: m.frequency_hz), modes)
        top_hz = top_hz / 2.0
    reason = None if modes else "nothing rings long enough after the strike; hold it at its nodes and strike it again"
    return TapReading(tuple(modes), onset_s, length_s, reason)


def _merged(low: list[Mode], high: list[Mode]) -> list[Mode]:
    """Join two bands; of a mode seen from both sides of the edge, keep the better known."""
    if low and high and high[0].frequency_hz < (1.0 + OVERLAP / 2.0) * low[-1].frequency_hz:
        best = min(low[-1], high[0], key=lambda m: m.frequency_hz_u)
        return [*low[:-1], best, *high[1:]]
    return low + high


def _onset(recording: Real, peak: int, sample_rate_hz: float) -> int:
    """Return the first sample over a tenth of the peak, searched back from it to where 5 ms were quieter than that."""
    loud = np.flatnonzero(np.abs(recording[: peak + 1]) >= ONSET_SHARE * np.abs(recording[peak]))
    gaps = np.flatnonzero(np.diff(loud) > 5e-3 * sample_rate_hz)
    return int(loud[gaps[-1] + 1] if gaps.size else loud[0])


def _length(recording: Real, onset: int, sample_rate_hz: float) -> float:
    """Return the seconds from the onset to the end or the next strike."""
    block = int(BLOCK_S * sample_rate_hz)
    rest = recording[onset + 5 * block :]  # the first 10 ms belong to the strike itself
    count = rest.size // block
    if count < 3:
        return (recording.size - onset) / sample_rate_hz
    level = np.sqrt(np.mean(rest[: count * block].reshape(count, block) ** 2, axis=1))
    smooth = np.maximum(np.minimum(level[1:-1], np.minimum(level[:-2], level[2:])), np.finfo(float).tiny)
    loud = level[3:] > 10.0 ** (NEXT_STRIKE_DB / 20.0) * smooth[: level[3:].size]
    again = np.flatnonzero(loud & (level[3:] > ONSET_SHARE * level[0]))
    blocks = 5 + (int(again[0]) + 3 if again.size else count)
    return min(blocks * block, recording.size - onset) / sample_rate_hz
