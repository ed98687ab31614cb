"""Change the rate of a signal: by whole factors, or by the few parts per million of another clock."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import fft

Floats = NDArray[np.float64]

_OVERSAMPLING = 4
_POINTS = 8  # Lagrange interpolation at four times the rate: -100 dB at 20 kHz of 48 kHz


def raise_rate(signal: Floats, factor: int) -> Floats:
    """Return the band-limited signal at ``factor`` times the rate, shape (n·factor,)."""
    spectrum = fft.rfft(signal)
    wide = np.zeros(signal.size * factor // 2 + 1, dtype=np.complex128)
    wide[: spectrum.size] = spectrum * factor
    if signal.size % 2 == 0:
        wide[spectrum.size - 1] *= 0.5
    return np.asarray(fft.irfft(wide, signal.size * factor))


def lower_rate(signal: Floats, factor: int) -> Floats:
    """Return the signal at 1/``factor`` of the rate, what lies above the new half rate dropped."""
    size = signal.size // factor
    spectrum = fft.rfft(signal)[: size // 2 + 1] / factor
    if size % 2 == 0:
        spectrum[-1] = 0.0
    return np.asarray(fft.irfft(spectrum, size))


def as_other_clock(signal: Floats, ppm: float) -> Floats:
    """Return what a recorder writes whose clock is fast by ``ppm``: samples at n/(1 + ppm·1e-6).

    Parameters
    ----------
    signal : ndarray, shape (n,)
        On the player's clock, near silence at both ends.
    ppm : float
        Fast is positive: the same sound then takes more samples.

    Returns
    -------
    ndarray, shape (n,)
        Interpolated by 8-point Lagrange polynomials on the four times oversampled signal.
    """
    if ppm == 0.0:
        return signal
    size = fft.next_fast_len(signal.size + 64, real=True)
    fast = np.pad(raise_rate(np.pad(signal, (0, size - signal.size)), _OVERSAMPLING), _POINTS)
    place = np.arange(signal.size) * (_OVERSAMPLING / (1.0 + 1e-6 * ppm))
    first = np.minimum(np.floor(place).astype(np.int64), _OVERSAMPLING * size - 1)
    node = np.arange(_POINTS) - (_POINTS // 2 - 1)
    gaps = (place - first) - node[:, None]
    out = np.zeros(signal.size)
    for i, k in enumerate(node):
        others = np.delete(np.arange(_POINTS), i)
        weight = np.multiply.reduce(gaps[others], axis=0) / np.prod(k - node[others])
        out += weight * fast[first + k + _POINTS]
    return out
