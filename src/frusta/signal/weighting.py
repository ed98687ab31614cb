"""A and C frequency weightings."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# Pole frequencies of IEC 61672-1, Hz, from its approximations fL = 10**1.5, fH = 10**3.9, fA = 10**2.45,
# fR = 1 kHz with a fall of sqrt(1/2) at fL and fH.
F1_HZ, F2_HZ, F3_HZ, F4_HZ = 20.598997, 107.65265, 737.86223, 12194.217


def c_weighting_db(frequency_hz: Floats) -> Floats:
    """Return the C weighting, dB, 0 at 1 kHz.

    References
    ----------
    IEC 61672-1:2013, annex E.
    """
    return np.asarray(_raw_c(frequency_hz) - _raw_c(np.array([1000.0])))


def a_weighting_db(frequency_hz: Floats) -> Floats:
    """Return the A weighting, dB, 0 at 1 kHz.

    References
    ----------
    IEC 61672-1:2013, annex E.
    """
    return np.asarray(_raw_a(frequency_hz) - _raw_a(np.array([1000.0])))


def _raw_c(frequency_hz: Floats) -> Floats:
    s = np.asarray(frequency_hz, dtype=np.float64) ** 2
    return np.asarray(20.0 * np.log10(F4_HZ**2 * s / ((s + F1_HZ**2) * (s + F4_HZ**2))))


def _raw_a(frequency_hz: Floats) -> Floats:
    s = np.asarray(frequency_hz, dtype=np.float64) ** 2
    return np.asarray(_raw_c(frequency_hz) + 10.0 * np.log10(s**2 / ((s + F2_HZ**2) * (s + F3_HZ**2))))
