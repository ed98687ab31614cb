"""When each third-octave band of the sweep arrives: is it there, is it whole, does its delay jump or drift?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from frusta.signal.transfer import Deconvolved

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

HEARD_DB = 18.0
"""Peak over mean power of a band from which the sweep is in it. Noise alone reaches ln(samples), 10 dB for a band of
7000; 18 dB it would exceed once in 1e24 takes."""


MOST_VALUES = 1000


@dataclass(frozen=True)
class BandArrivals:
    """Per band: middle frequency, lag of the strongest arrival, width of a cell of that lag, peak over mean noise."""

    frequency_hz: Floats
    lag_s: Floats
    cell_s: Floats
    clear_db: Floats

    @property
    def heard(self) -> Flags:
        """Bands in which the sweep stands clear of noise."""
        return np.asarray(self.clear_db >= HEARD_DB)


def band_arrivals(deconvolved: Deconvolved) -> BandArrivals:
    """Return when each third-octave band of a deconvolved recording arrives.

    Parameters
    ----------
    deconvolved : Deconvolved
        The whole periodic response.

    Returns
    -------
    BandArrivals
        Lags between minus and plus half the period, s.
    """
    n = deconvolved.impulse.size
    period_s = n / deconvolved.sample_rate_hz
    low_hz, high_hz = deconvolved.band.full_low_hz, 1.03 * deconvolved.band.full_high_hz
    count = max(3, round(3 * math.log2(high_hz / low_hz)))
    edges = np.geomspace(low_hz, high_hz, count + 1)
    rows = [_arrival(deconvolved, period_s, a, b) for a, b in pairwise(edges)]
    table = np.array(rows)
    return BandArrivals(np.sqrt(edges[1:] * edges[:-1]), table[:, 0], table[:, 1], table[:, 2])


@lru_cache(maxsize=128)
def _bell(size: int) -> NDArray[np.float32]:
    """Raised cosine over a band, without its zeros at the ends; shared, so not writable."""
    bell = np.hanning(size + 2)[1:-1].astype(np.float32)
    bell.flags.writeable = False
    return bell


def _arrival(deconvolved: Deconvolved, period_s: float, low_hz: float, high_hz: float) -> tuple[float, float, float]:
    first, last = math.ceil(low_hz * period_s), max(math.ceil(high_hz * period_s), math.ceil(low_hz * period_s) + 8)
    part = deconvolved.spectrum[first:last]
    scale = 1.0 / max(float(np.abs(part.real).max()), float(np.abs(part.imag).max()), 1e-300)
    band = (part * scale).astype(np.complex64)  # precise enough to time a peak
    band *= _bell(part.size)
    analytic = fft.ifft(band, fft.next_fast_len(part.size))
    power = analytic.real**2 + analytic.imag**2
    at = int(np.argmax(power))
    cell_s = period_s / power.size
    near = [math.log(max(float(power[k % power.size]), 1e-300)) for k in (at - 1, at, at + 1)]
    bend = near[0] - 2.0 * near[1] + near[2]
    finer = 0.5 * (near[0] - near[2]) / bend if bend < 0.0 else 0.0
    lag_s = ((at if at <= power.size // 2 else at - power.size) + finer) * cell_s
    some = np.sort(power[:: max(1, power.size // MOST_VALUES)])  # a median of more is no better known
    # the median of an exponential law is ln 2 of its mean
    mean = max(float(some[some.size // 2]) / math.log(2.0), 1e-300)
    return lag_s, cell_s, 10.0 * math.log10(max(float(power[at]), 1e-300) / mean)
