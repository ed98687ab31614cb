"""Spoil a virtual take on demand, once for each fault that a verdict can name."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from frusta.bench.surroundings import Noise, Reflection
from frusta.errors import ParameterError
from frusta.signal.fault import FAULT_WORDS

Floats = NDArray[np.float64]

MISHAPS = FAULT_WORDS
"""One for each fault."""

CLOCK_FAULT_PPM = 900.0
LEVEL_FAULT_DB = -50.0  # the gain stands at its lowest stop
_CLIP_BY = 2.0  # the peak would be twice full scale
_NOISY_DB = -22.0  # rms of noise re peak


def check_mishap(name: str | None) -> None:
    """Refuse a name that is no mishap; None is fine.

    Raises
    ------
    ParameterError
        If it is none of `MISHAPS`.
    """
    if name is not None and name not in MISHAPS:
        raise ParameterError(f"a mishap must be one of {', '.join(MISHAPS)} (got {name!r})")


def early_reflection(rng: np.random.Generator) -> Reflection:
    """Return a reflection that leaves too little before it: something stands beside the cone."""
    return Reflection(float(rng.uniform(0.0019, 0.0026)), 0.55, 9000.0)


def noise_of(noise: Noise, mishap: str | None) -> Noise:
    """Return the noise of a take, far too high where the take is to be noisy."""
    if mishap != "noisy":
        return noise
    return Noise(_NOISY_DB, noise.white_db, noise.hum_db, noise.mains_hz)


def spoil(
    recording: Floats, mishap: str | None, sounding: tuple[int, int], sample_rate_hz: float, rng: np.random.Generator
) -> Floats:
    """Return a recording after the mishap; those that happen earlier leave it as it is.

    Samples that are lost or not yet recorded are missing from every channel; what happens before the converter
    happens to the microphone alone.

    Parameters
    ----------
    recording : ndarray, shape (n, channels)
        Microphone first, before the converter, ±1 full scale.
    mishap : str or None
    sounding : tuple of int
        First and last sample of the sweep.
    sample_rate_hz : float
    rng : numpy.random.Generator

    Returns
    -------
    ndarray, shape (m, channels)
        Shorter where the take was cut.
    """
    name = mishap or ""
    if name in _STREAM:
        return _STREAM[name](recording, sounding, sample_rate_hz, rng)
    if name in _MICROPHONE:
        changed = _MICROPHONE[name](recording[:, 0], sounding, sample_rate_hz, rng)
        return np.column_stack([changed, recording[:, 1:]])
    return recording


def _clip(x: Floats, _: tuple[int, int], __: float, ___: np.random.Generator) -> Floats:
    return np.asarray(np.clip(x * (_CLIP_BY / np.max(np.abs(x))), -1.0, 1.0))


def _drop(x: Floats, sounding: tuple[int, int], rate: float, rng: np.random.Generator) -> Floats:
    lost = round(rate * float(rng.uniform(0.004, 0.012)))
    at = sounding[0] + int((sounding[1] - sounding[0]) * rng.uniform(0.45, 0.7))
    return np.concatenate([x[:at], x[at + lost :], x[-lost:]])


def _silence(x: Floats, _: tuple[int, int], __: float, rng: np.random.Generator) -> Floats:
    return 3e-5 * rng.standard_normal(x.size)


def _burst(x: Floats, sounding: tuple[int, int], rate: float, rng: np.random.Generator) -> Floats:
    length = round(rate * float(rng.uniform(0.03, 0.08)))
    at = sounding[0] + int((sounding[1] - sounding[0]) * rng.uniform(0.3, 0.8))
    decay = np.exp(-np.arange(length) / (0.25 * length))
    out = x.copy()
    out[at : at + length] += 0.5 * np.max(np.abs(x)) * decay * rng.standard_normal(length)
    return np.clip(out, -1.0, 1.0)


def _truncate(x: Floats, sounding: tuple[int, int], _: float, rng: np.random.Generator) -> Floats:
    return x[: sounding[0] + int((sounding[1] - sounding[0]) * rng.uniform(0.55, 0.8))]


def _misalign(x: Floats, sounding: tuple[int, int], _: float, rng: np.random.Generator) -> Floats:
    """The recorder starts late: the sweep is whole, but earlier than in what was played."""
    return x[int(sounding[0] * rng.uniform(0.5, 0.9)) :]


_Change = Callable[[Floats, tuple[int, int], float, np.random.Generator], Floats]
_MICROPHONE: dict[str, _Change] = {"clipped": _clip, "silent": _silence, "burst": _burst}
_STREAM: dict[str, _Change] = {"dropout": _drop, "truncated": _truncate, "misaligned": _misalign}
