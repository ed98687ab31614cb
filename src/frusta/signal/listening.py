"""Music as two cones would play it: through their linear responses, equally loud, neither clipped."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from frusta.errors import ParameterError
from frusta.signal.loudness import loudness_lkfs

Floats = NDArray[np.float64]

PEAK_DBFS = -1.0
"""No sample goes above this; both pieces are lowered alike where one would."""

TARGET_LKFS = -23.0
FADE_SHARE = 0.25
"""The end of the reflection-free part is faded over this share of it."""

EDGE_S = 0.02
"""The excerpt itself is faded in and out so fast."""


@dataclass(frozen=True)
class Matched:
    """Two pieces of equal loudness.

    Parameters
    ----------
    a, b : ndarray, shape (n, channels)
        Alike in length.
    gain_a_db, gain_b_db : float
        What was put on each; their difference is how much louder one cone plays this music.
    loudness_lkfs : float
        Of both.
    """

    a: Floats
    b: Floats
    gain_a_db: float
    gain_b_db: float
    loudness_lkfs: float


def free_impulse(impulse: Floats, before_s: float, free_s: float, sample_rate_hz: float) -> Floats:
    """Return the reflection-free part of an impulse response, faded at both ends.

    Parameters
    ----------
    impulse : ndarray, shape (n,)
        From `before_s` before the direct sound.
    before_s, free_s : float
        Seconds before the direct sound, and after it until the first reflection.
    sample_rate_hz : float

    Raises
    ------
    ParameterError
        If nothing is free of reflections.
    """
    before = round(before_s * sample_rate_hz)
    after = min(round(free_s * sample_rate_hz), impulse.size - before) if math.isfinite(free_s) else 0
    if after < 8:
        raise ParameterError("the take must have a reflection-free part (it has none); choose another take")
    part = np.array(impulse[: before + after], dtype=np.float64)
    fall = max(2, round(FADE_SHARE * after))
    part[part.size - fall :] *= 0.5 + 0.5 * np.cos(np.pi * (np.arange(fall) + 0.5) / fall)
    rise = before // 2
    part[:rise] *= 0.5 - 0.5 * np.cos(np.pi * (np.arange(rise) + 0.5) / max(rise, 1))
    return part


def played_through(music: Floats, music_rate_hz: int, impulse: Floats, impulse_rate_hz: int) -> Floats:
    """Return music as it sounds through an impulse response, at the music's own rate.

    Parameters
    ----------
    music : ndarray, shape (n, channels)
        Each channel goes through the same cone.
    music_rate_hz : int
    impulse : ndarray, shape (m,)
        Brought to the music's rate; what lies above half of either rate is lost.
    impulse_rate_hz : int

    Returns
    -------
    ndarray, shape (n, channels)
        As long as the music: what rings on after its end is cut.
    """
    kernel = np.asarray(impulse, dtype=np.float64)
    if music_rate_hz != impulse_rate_hz:
        ratio = Fraction(music_rate_hz, impulse_rate_hz)
        # an impulse response is per sample: at a higher rate each sample carries less
        kernel = signal.resample_poly(kernel, ratio.numerator, ratio.denominator) / float(ratio)
    heard = signal.oaconvolve(music, kernel[:, None], axes=0)
    return np.asarray(heard[: len(music)], dtype=np.float64)


def match_loudness(a: Floats, b: Floats, sample_rate_hz: int, target_lkfs: float = TARGET_LKFS) -> Matched:
    """Return two pieces brought to the same loudness (ITU-R BS.1770), quieter than asked where one would clip.

    Parameters
    ----------
    a, b : ndarray, shape (n, channels)
    sample_rate_hz : int
    target_lkfs : float

    Raises
    ------
    ParameterError
        If one of them is silent or too short.
    """
    pieces = [_faded(piece, sample_rate_hz) for piece in (a, b)]
    loudness = [loudness_lkfs(piece, sample_rate_hz) for piece in pieces]
    if not all(map(math.isfinite, loudness)):
        raise ParameterError("the music must be louder than -70 LKFS there (it is silent); choose another stretch")
    gains = [target_lkfs - value for value in loudness]
    peaks = [20.0 * math.log10(_true_peak(piece)) for piece in pieces]
    over = max(0.0, *(peak + gain - PEAK_DBFS for peak, gain in zip(peaks, gains, strict=True)))
    gains = [gain - over for gain in gains]
    made = [piece * 10.0 ** (gain / 20.0) for piece, gain in zip(pieces, gains, strict=True)]
    return Matched(made[0], made[1], gains[0], gains[1], target_lkfs - over)


def sixteen_bits(samples: Floats, seed: int = 1) -> NDArray[np.int16]:
    """Return samples as 16-bit numbers, dithered by the sum of two uniform random numbers, the same each time."""
    rng = np.random.default_rng(seed)
    dither = rng.random(samples.shape) - rng.random(samples.shape)
    return np.asarray(np.clip(np.round(samples * 32767.0 + dither), -32768, 32767), dtype=np.int16)


def _true_peak(piece: Floats) -> float:
    """Largest value between the samples, too: four times as many are looked at."""
    return float(np.max(np.abs(signal.resample_poly(piece, 4, 1, axis=0))))


def _faded(piece: Floats, rate: int) -> Floats:
    edge = min(round(EDGE_S * rate), len(piece) // 2)
    ramp = 0.5 - 0.5 * np.cos(np.pi * (np.arange(edge) + 0.5) / edge)
    made = piece.copy()
    made[:edge] *= ramp[:, None]
    made[len(made) - edge :] *= ramp[::-1, None]
    return made
