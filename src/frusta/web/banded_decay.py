"""Falling silent within a band: the envelope of the impulse response through a filter as wide as the closer look."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from frusta.publish.charts import Curve
from frusta.publish.curves_of import MOST_POINTS, Shown

Floats = NDArray[np.float64]

EDGE = 0.1
"""Half width of the raised cosines at both ends of the band, relative."""
MARGIN_S = 0.05
SILENT = 0.02
"""Of the peak: what a filter's own ringing is counted to."""
ANCHOR = 0.1
"""Of the peak: where the name of a curve is tied."""
NAMED_BEFORE = 0.85
"""Of what is seen: a name is tied no later, so that it stands inside."""


def band_weights(frequency_hz: Floats, band_hz: tuple[float, float]) -> Floats:
    """Return a filter for a band: 1 inside, raised cosines of a tenth around its ends.

    Parameters
    ----------
    frequency_hz : ndarray
    band_hz : (float, float)
    """
    low, high = band_hz
    up = np.clip((frequency_hz - (1 - EDGE) * low) / (2 * EDGE * low), 0.0, 1.0)
    down = np.clip(((1 + EDGE) * high - frequency_hz) / (2 * EDGE * high), 0.0, 1.0)
    return np.asarray((0.5 - 0.5 * np.cos(np.pi * up)) * (0.5 - 0.5 * np.cos(np.pi * down)))


def ringing_s(band_hz: tuple[float, float], sample_rate_hz: float) -> float:
    """Return how long the filter itself rings, s: from its peak to the last time it exceeds 2 % of it."""
    size = fft.next_fast_len(round(2 * MARGIN_S * sample_rate_hz))
    envelope = np.abs(fft.ifft(band_weights(np.arange(size) * sample_rate_hz / size, band_hz)))[: size // 2]
    return float(np.flatnonzero(envelope > SILENT * envelope[0])[-1] / sample_rate_hz)


def banded_decay(shown: Shown, band_hz: tuple[float, float]) -> Curve | None:
    """Return the envelope of a take within a band, percent of its peak over ms after it; None where there is none.

    It ends before the first reflection by as long as the filter rings, since that lets the reflection leak ahead.

    Parameters
    ----------
    shown : Shown
    band_hz : (float, float)
    """
    curves, rate = shown.curves, float(shown.curves.sample_rate_hz)
    if curves.impulse.size < 2 or not math.isfinite(curves.reflection_free_s):
        return None
    margin = round(MARGIN_S * rate)
    size = fft.next_fast_len(curves.impulse.size + 2 * margin)
    frequency_hz = np.arange(size // 2 + 1) * rate / size
    spectrum = fft.rfft(curves.impulse, size) * band_weights(frequency_hz, band_hz)
    whole = np.zeros(size, complex)
    whole[: spectrum.size] = 2.0 * spectrum
    envelope = np.abs(fft.ifft(whole))[: curves.impulse.size]
    onset = round(curves.impulse_before_s * rate)
    end = onset + math.floor((curves.reflection_free_s - ringing_s(band_hz, rate)) * rate)
    if end <= onset + 2:
        return None
    peak = onset + int(np.argmax(envelope[onset:end]))
    falling = 100.0 * envelope[peak:end] / envelope[peak]
    time_ms = 1e3 * np.arange(falling.size) / rate
    loud = np.flatnonzero(falling > 100.0 * ANCHOR)
    every = max(1, -(-falling.size // MOST_POINTS))
    return Curve(
        shown.group.name,
        shown.group.style,
        time_ms[::every],
        falling[::every],
        anchor=float(min(time_ms[loud[-1]], NAMED_BEFORE * time_ms[-1])),
        marked=False,
    )
