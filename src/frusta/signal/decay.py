"""How fast a cone falls silent: envelope, decay times, decay map."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from frusta.errors import ParameterError
from frusta.signal.transfer import Deconvolved, bins_hz, stretch

Floats = NDArray[np.float64]

HIGHEST_HZ = 20000.0
# Neighbouring modes beat. Those of a cone lie 1 kHz apart or farther, so a crossing that is followed by less than
# this of reflection-free response may not be the last one.
BEAT_S = 0.001


@dataclass(frozen=True)
class Decay:
    """Time from the envelope's peak to the last time it exceeds a share of it.

    Attributes
    ----------
    time_s : float or None
        None where it cannot be had.
    time_u : float or None
        Standard uncertainty, s, from the noise at the crossing and the tick of the envelope.
    reason : str or None
        Why not.
    """

    time_s: float | None
    time_u: float | None
    reason: str | None


@dataclass(frozen=True)
class Envelope:
    """Hilbert envelope of the band-limited impulse response.

    Attributes
    ----------
    time_s : ndarray
        From the onset, s.
    envelope : ndarray
        Same unit as the response.
    peak : int
        Index of its peak.
    noise : float
        What noise alone leaves in the envelope, rms.
    """

    time_s: Floats
    envelope: Floats
    peak: int
    noise: float


def band_filter(frequency_hz: Floats, stop_hz: float) -> Floats:
    """Return the filter of the decay figures: raised cosines 160 to 240 Hz and 0.9 to 1.1 x min(stop, 20 kHz)."""
    top = min(stop_hz, HIGHEST_HZ)
    low = np.clip((frequency_hz - 160.0) / 80.0, 0.0, 1.0)
    high = np.clip((1.1 * top - frequency_hz) / (0.2 * top), 0.0, 1.0)
    return np.asarray((0.5 - 0.5 * np.cos(np.pi * low)) * (0.5 - 0.5 * np.cos(np.pi * high)))


def envelope_of(
    response: Deconvolved, onset: int, stop_hz: float, *, before_s: float = 0.005, after_s: float = 0.2
) -> Envelope:
    """Return the Hilbert envelope round the direct sound, band limited (see `band_filter`).

    Parameters
    ----------
    response : Deconvolved
    onset : int
        Sample of the onset.
    stop_hz : float
        Last frequency of the sweep, Hz.
    before_s, after_s : float
        How much to return, s.
    """
    rate_hz = response.sample_rate_hz
    # a filter as narrow as 80 Hz rings for 25 ms: give it room on both sides
    margin_s = 0.05
    before, after = round((before_s + margin_s) * rate_hz), round((after_s + margin_s) * rate_hz)
    segment = stretch(response.impulse, before, after, onset)
    analytic = analytic_band(segment, rate_hz, stop_hz)
    margin = round(margin_s * rate_hz)
    envelope = np.abs(analytic)[margin : segment.size - margin]
    time_s = (np.arange(envelope.size) - (before - margin)) / rate_hz
    quiet = np.abs(analytic[round(0.002 * rate_hz) : round(0.02 * rate_hz)])  # before the filter rings ahead
    noise = float(np.sqrt(np.mean(quiet**2)))
    return Envelope(time_s, envelope, int(np.argmax(envelope)), noise)


def analytic_band(segment: Floats, sample_rate_hz: float, stop_hz: float) -> NDArray[np.complex128]:
    """Return the analytic signal of a segment through `band_filter`."""
    size = fft.next_fast_len(segment.size)
    spectrum = fft.fft(segment, size)
    half = size // 2 + 1
    spectrum[:half] *= 2.0 * band_filter(bins_hz(size, sample_rate_hz), stop_hz)
    spectrum[half:] = 0.0
    return np.asarray(fft.ifft(spectrum)[: segment.size])


@dataclass(frozen=True)
class Echo:
    """The first reflection, whose low frequencies the filter lets ring ahead of it.

    Attributes
    ----------
    delay_s : float
        After the direct sound.
    level : float
        Re the direct sound, as a ratio.
    perfect : ndarray, shape (2k,)
        What the filter makes of a perfect cone (`perfect_envelope`), with its direct sound in the middle.
    """

    delay_s: float
    level: float
    perfect: Floats

    def ahead(self, before_s: float, step_s: float) -> float:
        """Return what stands that long before the reflection, re the direct sound's peak."""
        middle = self.perfect.size // 2
        at = middle - round(before_s / step_s)
        return self.level * float(self.perfect[max(at, 0) : middle + 1][0]) / float(self.perfect.max())


def decay_time(shape: Envelope, share: float, free_s: float, echo: Echo | None = None) -> Decay:
    """Return how long the envelope takes to fall below ``share`` of its peak for good.

    Parameters
    ----------
    shape : Envelope
    share : float
        0.05 or 0.02, above 0 and below 1.
    free_s : float
        End of the reflection-free part, s from the onset.
    echo : Echo, optional
        What ends it: its sound ahead of itself counts in the uncertainty.

    Raises
    ------
    ParameterError
        If the share is not between 0 and 1.
    """
    if not 0.0 < share < 1.0:
        raise ParameterError(f"share must be between 0 and 1 (got {share})")
    step_s = float(shape.time_s[1] - shape.time_s[0])
    last = int(np.searchsorted(shape.time_s, free_s, side="right"))
    top = float(shape.envelope[shape.peak])
    limit = share * top
    peak_s = float(shape.time_s[shape.peak])
    if last <= shape.peak + 1:
        return Decay(None, None, "the reflection-free part ends before the peak of the envelope")
    if shape.noise > 0.5 * limit:
        return Decay(None, None, f"the noise stands at {100 * shape.noise / top:.1f} % of the peak")
    over = np.flatnonzero(shape.envelope[shape.peak : last] > limit)
    crossing = shape.peak + int(over[-1])
    if crossing >= last - 1 or float(shape.time_s[crossing]) > free_s - BEAT_S:
        return Decay(None, None, _longer(float(shape.time_s[crossing]) - peak_s, free_s - peak_s))
    here, after = float(shape.envelope[crossing]), float(shape.envelope[crossing + 1])
    part = (here - limit) / (here - after)
    slope = max((here - after) / step_s, 1e-30)
    ahead = 0.0 if echo is None else top * echo.ahead(echo.delay_s - float(shape.time_s[crossing]), step_s)
    u = math.hypot(math.hypot(shape.noise, ahead) / math.sqrt(2.0) / slope, step_s / math.sqrt(12.0))
    return Decay(float(shape.time_s[crossing]) - peak_s + part * step_s, u, None)


def _longer(seen_s: float, free_s: float) -> str:
    """Why a decay time is null although something is known of it."""
    return (
        f"longer than {1e3 * seen_s:.2f} ms: less than {1e3 * BEAT_S:g} ms after that the reflection-free part "
        f"ends ({1e3 * free_s:.2f} ms after the peak); move reflecting surfaces away to see more"
    )


@lru_cache(maxsize=8)
def perfect_envelope(stop_hz: float, taper_low_hz: float, sample_rate_hz: float) -> Floats:
    """Return the envelope that the filter makes of a perfect cone, 0.1 s on either side of its direct sound.

    Parameters
    ----------
    stop_hz : float
        Last frequency of the sweep, Hz.
    taper_low_hz : float
        Where the division by the sweep begins to be whole, Hz; counts where it lies above 160 Hz.
    sample_rate_hz : float
        Samples a second.

    Returns
    -------
    ndarray, shape (2k,)
        Shared, so not writable.
    """
    count = round(0.1 * sample_rate_hz)
    segment = np.zeros(2 * count)
    segment[count] = 1.0
    if taper_low_hz > 160.0:
        spectrum = fft.rfft(segment)
        f = bins_hz(segment.size, sample_rate_hz)
        spectrum *= 0.5 - 0.5 * np.cos(np.pi * np.clip(f / taper_low_hz, 0.0, 1.0))
        segment = fft.irfft(spectrum, segment.size)
    envelope = np.abs(analytic_band(segment, sample_rate_hz, stop_hz))
    envelope.flags.writeable = False
    return envelope


def bandlimit_decay_s(stop_hz: float, taper_low_hz: float, sample_rate_hz: float) -> float:
    """Return the 2 % decay time that a perfect cone would read through the same filter and upper limit, s.

    Parameters
    ----------
    stop_hz, taper_low_hz, sample_rate_hz : float
        As for `perfect_envelope`.
    """
    perfect = perfect_envelope(stop_hz, taper_low_hz, sample_rate_hz)
    peak = int(np.argmax(perfect))
    last = int(np.flatnonzero(perfect > 0.02 * perfect[peak])[-1])
    return (last - peak) / sample_rate_hz


def decay_map(
    response: Deconvolved, onset: int, frequency_hz: Floats, time_s: Floats, rise_s: float = 0.0005
) -> Floats:
    """Return the level left after each time: the spectrum of the response from that time on, dB.

    Parameters
    ----------
    response : Deconvolved
    onset : int
        Sample of the onset.
    frequency_hz : ndarray, shape (m,)
        Hz.
    time_s : ndarray, shape (k,)
        Start of the window, s after the onset; its end is 30 ms after the onset.
    rise_s : float
        Raised-cosine rise of the window, s.

    Returns
    -------
    ndarray, shape (k, m)
        dB, unit of the response.
    """
    rate_hz = response.sample_rate_hz
    before, after = round(0.002 * rate_hz), round(0.03 * rate_hz)
    segment = stretch(response.impulse, before, after, onset)
    at = (np.arange(segment.size) - before) / rate_hz
    ramp = np.clip((at[None, :] - np.asarray(time_s)[:, None]) / rise_s + 1.0, 0.0, 1.0)
    windows = (0.5 - 0.5 * np.cos(np.pi * ramp)) * segment
    windows[:, -(after // 4) :] *= 0.5 + 0.5 * np.cos(np.pi * np.arange(after // 4) / (after // 4))
    size = fft.next_fast_len(2 * segment.size, real=True)
    level = 10.0 * np.log10(np.abs(fft.rfft(windows, size, axis=1)) ** 2 + 1e-30)
    f = bins_hz(size, rate_hz)
    return np.array([np.interp(frequency_hz, f, row) for row in level])
