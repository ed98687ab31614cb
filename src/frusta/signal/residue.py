"""What neither the linear response nor the harmonics explain of a recording, whitened and laid out in time.

A good take leaves nothing but steady noise. A lost sample leaves a needle at the moment it was lost, a slammed door
a thick one: both are found here long before they show in the response.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from frusta.signal.long_transform import long_irfft_single, long_rfft_single
from frusta.signal.transfer import Deconvolved

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
Singles = NDArray[np.complex64]

BLOCK_S = 128 / 48000
BASELINE_S = 1.0
LOWER_RATE_HZ = 24000.0
BEFORE_S, AFTER_S = 0.03, 0.17
"""What of the linear response counts as explained at least, s round the direct sound."""

FALLS_BY = 0.65
"""A room's tail falls at least by this from one 50 ms to the next (reverberation within 1.6 s); what a burst leaves at
later lags falls more slowly, or rises."""

HIGHEST_ORDER = 20
LOWEST_SHARE = 3.0
"""Above the taper's end: nearer, its own ringing before the direct sound would be left."""

FAINTEST = 1e-8
"""What lies 80 dB under the sound itself does not matter: a recording without noise is taken to have so much."""

HUM_HZ = 1000.0
LINE_OVER, LINE_NEIGHBOURS = 100.0, 31
"""Lines of hum that stand 20 dB over the median of the bins round them are brought down to it: they would hide much."""


@dataclass(frozen=True)
class Residue:
    """The whitened rest of a recording.

    Attributes
    ----------
    signal : ndarray, shape (n,)
        In the recording's time, at ``sample_rate_hz``.
    ratio : ndarray, shape (blocks,)
        Power of each block over the running median of its surroundings.
    block : int
        Samples a block.
    sample_rate_hz : float
        Hz; the recording's, or a whole part of it.
    noise_hz, noise : ndarray, shape (bands,)
        Amplitude spectrum of the recording's own noise, by which it was whitened (any unit).
    """

    signal: Floats
    ratio: Floats
    block: int
    sample_rate_hz: float
    noise_hz: Floats
    noise: Floats


def residue(deconvolved: Deconvolved, played: Complexes, onset: int, rate_s: float | None, samples: int) -> Residue:
    """Return what linear response and harmonics leave unexplained, whitened, over the time of the recording.

    Parameters
    ----------
    deconvolved : Deconvolved
        The whole periodic response.
    played : ndarray, shape (n // 2 + 1,)
        Spectrum of what was played, at the same transform length; only its phase is used.
    onset : int
        Index of the direct sound in the impulse response.
    rate_s : float or None
        Rate of an exponential sweep, s; None if it is another signal (then harmonics are not taken out).
    samples : int
        Length of the recording, samples.

    Returns
    -------
    Residue
    """
    n, rate = deconvolved.impulse.size, deconvolved.sample_rate_hz
    # Single precision will do: with the response taken out, what is left is small and of one size.
    rest = deconvolved.impulse.copy()
    _take_out(rest, onset, 0.0, BEFORE_S, _fallen_silent(rest, onset, rate), rate, 0.005)
    for order in range(2, HIGHEST_ORDER + 1) if rate_s else ():
        spacing_s = (rate_s or 0.0) * math.log(order / (order - 1))
        _take_out(rest, onset, -(rate_s or 0.0) * math.log(order), 0.005, min(0.05, spacing_s / 2), rate, 0.005)
    spectrum = long_rfft_single(rest.astype(np.float32), n)
    # at a lower rate, where one divides the transform: what happens shows below 12 kHz too
    thinned = max((k for k in range(1, max(1, round(rate / LOWER_RATE_HZ)) + 1) if n % (2 * k) == 0), default=1)
    white, noise_hz, noise = _whiten(spectrum, deconvolved, n // thinned // 2 + 1)
    nearby = [np.abs(played[max(0, i - 50) : i + 51]).mean() for i in np.rint(noise_hz * n / rate).astype(np.int64)]
    noise *= np.array(nearby)
    inside = slice(int(np.argmax(white != 0.0)), white.size)
    phase = (played[inside] * (1.0 / max(nearby))).astype(np.complex64)
    phase /= np.maximum(np.abs(phase), np.float32(1e-30))
    white[inside] *= phase
    signal = np.asarray(long_irfft_single(white, n // thinned), dtype=np.float64)[: samples // thinned]
    rate /= thinned
    block = max(16, round(BLOCK_S * rate))
    count = signal.size // block
    power = (signal[: count * block].reshape(count, block) ** 2).mean(axis=1)
    size = min(count, round(BASELINE_S / BLOCK_S) | 1)
    # A coarse running median is enough: one value in eight, each itself the median of its neighbours.
    base = ndimage.median_filter(power[::8], max(3, size // 8), mode="nearest")
    base = np.interp(np.arange(count), np.arange(0, count, 8), base)
    # Where a recorder has suppressed noise the surroundings are empty; the take's own median then is the measure.
    unit = 2.0 * np.count_nonzero(white) * (thinned / n) ** 2  # power of noise that is as loud as it was taken to be
    floor = np.maximum(base, 0.1 * max(float(np.median(power)), unit) + 1e-300)
    return Residue(signal, power / floor, block, rate, noise_hz, noise)


def _fallen_silent(impulse: Floats, onset: int, rate: float) -> float:
    """Return how long the linear response takes to sink into the noise, s: in a room, much longer than on a bench."""
    size = round(0.05 * rate)
    count = int(0.4 * impulse.size) // size
    power = np.take(impulse, onset + np.arange(count * size), mode="wrap").reshape(count, size)
    blocks = (power**2).mean(axis=1)
    floor = float(np.median(impulse[::7] ** 2)) / 0.455  # median of a chi-square of one degree
    falling = blocks[1:] < FALLS_BY * blocks[:-1]
    over = np.flatnonzero(~((blocks[1:] > 1.5 * floor) & falling))
    return max(AFTER_S, 0.05 * float(over[0] + 2 if over.size else count))


def _take_out(
    rest: Floats, onset: int, centre_s: float, before_s: float, after_s: float, rate: float, fade_s: float
) -> None:
    start = onset + round((centre_s - before_s) * rate)
    size = max(round((before_s + after_s) * rate), 8)
    edge = max(2, min(round(fade_s * rate), size // 3))
    keep = np.zeros(size)
    fade = 0.5 + 0.5 * np.cos(np.pi * (np.arange(edge) + 0.5) / edge)
    keep[:edge], keep[-edge:] = fade, fade[::-1]
    rest[(start + np.arange(size)) % rest.size] *= keep


def _whiten(spectrum: Singles, deconvolved: Deconvolved, needed: int) -> tuple[Singles, Floats, Floats]:
    """Divide by the median noise of quarter-octave bands, inside the band; return that noise too.

    Of the spectrum only the first ``needed`` bins are whitened.
    """
    n, rate = deconvolved.impulse.size, deconvolved.sample_rate_hz
    low_hz = LOWEST_SHARE * deconvolved.band.full_low_hz
    high_hz = min(1.1 * deconvolved.band.full_high_hz, 0.98 * deconvolved.band.stop_hz)
    edges = np.geomspace(low_hz, high_hz, max(8, round(4 * math.log2(high_hz / low_hz))))
    index = np.ceil(edges * n / rate).astype(np.int64)
    first, last = int(index[0]), int(index[-1])
    whole = deconvolved.spectrum
    # at most some 500 bins a band: a median of more is no better known
    median = np.array(
        [np.median(_power(spectrum[a : max(b, a + 1) : max(1, (b - a) // 500)])) for a, b in pairwise(index)]
    )
    heard = np.array([np.median(_power(whole[a : max(b, a + 1) : max(1, (b - a) // 500)])) for a, b in pairwise(index)])
    median = np.maximum(median, FAINTEST * heard)
    last = min(last, needed)
    log_middle = 0.5 * (np.log(edges[1:]) + np.log(edges[:-1]))
    log_bins = np.log(np.arange(first, last) * (rate / n))
    noise = np.exp(np.interp(log_bins, log_middle, np.log(np.maximum(median / math.log(2.0), 1e-300))))
    white = np.zeros(needed, dtype=np.complex64)
    np.multiply(spectrum[first:last], (1.0 / np.sqrt(noise)).astype(np.float32), out=white[first:last])
    # Lines only, that stand far out of their neighbours: a burst, being short, lifts neighbours alike.
    hum = slice(first, min(last, round(HUM_HZ * n / rate)))
    part = _power(spectrum[hum])
    over = part / np.maximum(ndimage.median_filter(part, LINE_NEIGHBOURS, mode="nearest"), 1e-300)
    white[hum] /= np.sqrt(np.where(over > LINE_OVER, over, 1.0)).astype(np.float32)
    return white, np.exp(log_middle), np.sqrt(np.maximum(median, 1e-300))


def _power(values: Singles | Complexes) -> Floats:
    return np.asarray(values.real, dtype=np.float64) ** 2 + np.asarray(values.imag, dtype=np.float64) ** 2
