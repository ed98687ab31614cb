"""Lost or doubled samples, found in a loopback of what was played: its lag against what was played jumps."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

Floats = NDArray[np.float64]

WINDOW_S = 0.1
SMALLEST_SAMPLES = 0.5
OVER_SCATTER = 8.0


@dataclass(frozen=True)
class Slip:
    """A jump of the lag.

    Parameters
    ----------
    time_s : float
        Where, s from the start of the recording, within a tenth of a second.
    samples : float
        Samples lost (positive) or added (negative).
    """

    time_s: float
    samples: float


def find_slip(reference: Floats, played: Floats, sample_rate_hz: float) -> Slip | None:
    """Return the largest jump of a loopback's lag, or None if it runs evenly.

    Parameters
    ----------
    reference : ndarray, shape (n,)
        The loopback as recorded.
    played : ndarray, shape (m,)
        What was played.
    sample_rate_hz : float

    Returns
    -------
    Slip or None
        A jump of at least half a sample that stands eight times over the scatter of the lag; a steady drift,
        as of two clocks, is none. None also where the loopback does not carry what was played.
    """
    lag = _whole_lag(reference, played)
    size = round(WINDOW_S * sample_rate_hz)
    places, lags = [], []
    loud = 0.1 * float(np.max(np.abs(played), initial=0.0))
    for start in range(0, played.size - size, size):
        piece = played[start : start + size]
        other = reference[max(start + lag, 0) : max(start + lag, 0) + size]
        if np.max(np.abs(piece)) < loud or other.size < size or start + lag < 0:
            continue
        places.append(start + 0.5 * size)
        lags.append(lag + _lag_of(piece, other))
    if len(lags) < 8:
        return None
    return _jump(np.asarray(places), np.asarray(lags), lag, sample_rate_hz)


def _jump(places: Floats, lags: Floats, lag: int, rate: float) -> Slip | None:
    """The largest step between two stretches of even lag."""
    drift = float(np.median(np.diff(lags)))
    best, where, height = 0.0, 0, 0.0
    even = lags - drift * np.arange(lags.size)
    for cut in range(3, lags.size - 2):
        before, behind = even[:cut], even[cut:]
        # one window at the cut holds both lags
        step = float(np.median(behind) - np.median(before))
        scatter = float(np.median(np.abs(np.concatenate([before - np.median(before), behind - np.median(behind)]))))
        merit = abs(step) / max(1.4826 * scatter, 1e-3)
        if abs(step) > SMALLEST_SAMPLES and merit > max(best, OVER_SCATTER):
            best, where, height = merit, cut, step
    if best == 0.0:
        return None
    return Slip((places[where] + lag) / rate, -round(height, 1))


def _whole_lag(reference: Floats, played: Floats) -> int:
    """Lag of the best match over the whole signal, samples."""
    count = fft.next_fast_len(reference.size + played.size, real=True)
    both = fft.irfft(fft.rfft(reference, count) * np.conj(fft.rfft(played, count)), count)
    at = int(np.argmax(np.abs(both)))
    return at if at < count // 2 else at - count


def _lag_of(piece: Floats, other: Floats) -> float:
    """Lag of a windowed stretch, samples, by the peak of the cross-correlation, interpolated."""
    window = np.hanning(piece.size)
    count = fft.next_fast_len(4 * piece.size, real=True)
    cross = fft.irfft(fft.rfft(other * window, count) * np.conj(fft.rfft(piece * window, count)), count)
    at = int(np.argmax(np.abs(cross)))
    left, middle, right = np.abs(cross[at - 1]), np.abs(cross[at]), np.abs(cross[(at + 1) % count])
    bend = left - 2.0 * middle + right
    shift = 0.5 * (left - right) / bend if bend < 0.0 else 0.0
    whole = at if at < count // 2 else at - count
    return whole + shift if math.isfinite(shift) else float(whole)
