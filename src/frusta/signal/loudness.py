"""Loudness after Recommendation ITU-R BS.1770: K-weighting, blocks of 400 ms, two gates.

The standard gives its two filters as coefficients at 48 kHz. Any other rate gets the filters of the same analogue
sections: both are brought to the variable ``tan(pi f / rate)`` and back (the bilinear transform, frequencies kept).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from frusta.errors import ParameterError

Floats = NDArray[np.float64]

STANDARD_RATE_HZ = 48000.0
HEAD_48K = (1.53512485958697, -2.69169618940638, 1.19839281085285, 1.0, -1.69065929318241, 0.73248077421585)
"""The head's effect, a high shelf: b0, b1, b2, a0, a1, a2 of table 1 (from memory; held by the 997 Hz conformance)."""

LOW_CUT_48K = (1.0, -2.0, 1.0, 1.0, -1.99004745483398, 0.99007225036621)
"""The revised low-frequency B curve, of table 2 (likewise)."""

LOWEST_RATE_HZ = 16000.0
OFFSET_DB = -0.691
BLOCK_S, STEP_S = 0.4, 0.1
ABSOLUTE_GATE_DB = -70.0
RELATIVE_GATE_DB = -10.0
MOST_CHANNELS = 2
"""Left, right or one alone: the channels whose weight is 1."""


def k_weighting(sample_rate_hz: float) -> Floats:
    """Return the K-weighting as second-order sections, shape (2, 6).

    Parameters
    ----------
    sample_rate_hz : float
        From 16 kHz: there the curve is within 0.07 dB of that at 48 kHz, at 44.1 kHz and above within 0.01 dB.

    Raises
    ------
    ParameterError
        If the rate is too low.
    """
    if not sample_rate_hz >= LOWEST_RATE_HZ:
        raise ParameterError(
            f"loudness needs a sample rate of at least {LOWEST_RATE_HZ:g} Hz (got {sample_rate_hz:g} Hz); resample"
        )
    return np.array([_at_rate(section, sample_rate_hz) for section in (HEAD_48K, LOW_CUT_48K)])


def loudness_lkfs(samples: Floats, sample_rate_hz: float) -> float:
    """Return the gated loudness of a programme.

    Parameters
    ----------
    samples : ndarray, shape (n,) or (n, channels)
        One or two channels, ±1; at least 0.4 s.
    sample_rate_hz : float

    Returns
    -------
    float
        LKFS; −inf where all blocks are below the absolute gate of −70.

    Raises
    ------
    ParameterError
        If it is too short, has more than two channels, or the rate is too low.
    """
    columns = samples[:, None] if samples.ndim == 1 else samples
    size, step = round(BLOCK_S * sample_rate_hz), round(STEP_S * sample_rate_hz)
    if columns.ndim != 2 or not 1 <= columns.shape[1] <= MOST_CHANNELS or len(columns) < size:
        raise ParameterError(
            f"loudness needs at least {BLOCK_S:g} s of one or two channels (got {len(columns) / sample_rate_hz:.2f} s, "
            f"shape {samples.shape}); choose a longer stretch, or mix it down to two"
        )
    weighted = signal.sosfilt(k_weighting(sample_rate_hz), columns, axis=0)
    summed = np.concatenate([np.zeros((1, columns.shape[1])), np.cumsum(weighted**2, axis=0)])
    starts = np.arange(0, len(columns) - size + 1, step)
    power = np.sum((summed[starts + size] - summed[starts]) / size, axis=1)
    level = OFFSET_DB + 10.0 * np.log10(np.maximum(power, 1e-30))
    loud = level > ABSOLUTE_GATE_DB
    if not np.any(loud):
        return -math.inf
    gate = OFFSET_DB + 10.0 * math.log10(float(np.mean(power[loud]))) + RELATIVE_GATE_DB
    kept = power[loud & (level > gate)]
    return OFFSET_DB + 10.0 * math.log10(float(np.mean(kept)))


def _at_rate(section: tuple[float, ...], rate: float) -> Floats:
    """Return a section of the 48 kHz table at another rate.

    With K = tan(pi f0 / rate), numerator and denominator are each made of three parts: their values at zero frequency
    and at half the rate, and b0 − b2; these go with K², 1 and K.
    """
    b0, b1, b2, a0, a1, a2 = section
    zero = (a0 + a1 + a2, b0 + b1 + b2)
    top = (a0 - a1 + a2, b0 - b1 + b2)
    middle = (a0 - a2, b0 - b2)
    square = zero[0] / top[0]
    k_48 = math.sqrt(square)
    ratio = math.tan(math.atan(k_48) * STANDARD_RATE_HZ / rate) / k_48
    rows = []
    for low, mid, high in zip((zero[1], zero[0]), (middle[1], middle[0]), (top[1], top[0]), strict=True):
        low_, mid_ = low * ratio**2, mid * ratio
        rows += [0.25 * (low_ + high) + 0.5 * mid_, 0.5 * (low_ - high), 0.25 * (low_ + high) - 0.5 * mid_]
    scaled = np.array(rows)
    return np.asarray(scaled / scaled[3])
