"""A made-up good take for the tests of faults: a cone-like response, a far reflection, motor distortion, noise."""

from __future__ import annotations

import math

import numpy as np
from scipy.signal import fftconvolve, lfilter

from frusta.signal.fault import SweepPlace
from frusta.signal.sweep import Sweep, make_sweep

RATE = 48000
SWEEP = Sweep(20.0, 20000.0, 4.0, lead_in_s=0.4, tail_s=0.8)
PLAYED = make_sweep(SWEEP)
PLACE = SweepPlace(SWEEP.lead_in_s, SWEEP.lead_in_s + SWEEP.sounding_s, SWEEP.start_hz, SWEEP.stop_hz, SWEEP.rate_s)


def cone(reflection_s: float = 0.0062, reflection: float = 0.08) -> np.ndarray:
    """Impulse response: high-pass of the suspension, five modes, one reflection; peak about 0.5 for the sweep."""
    t = np.arange(round(0.08 * RATE)) / RATE
    h = np.zeros(t.size)
    h[0] = 1.0
    for f, eta, strength in ((95.0, 0.5, 0.01), (2900.0, 0.03, 0.05), (4400.0, 0.025, 0.06), (7100.0, 0.03, 0.05)):
        h += strength * np.exp(-math.pi * eta * f * t) * np.sin(2.0 * math.pi * f * t + 0.3)
    h = lfilter([0.995, -0.995], [1.0, -0.99], h)
    copy = np.zeros(h.size)
    k = round(reflection_s * RATE)
    copy[k:] = reflection * h[:-k]
    return 0.25 * (h + copy)


def take(seed: int = 0, noise: float = 3e-4, delay: int = 900, h: np.ndarray | None = None) -> np.ndarray:
    """A recording of the sweep, same length, 24 bit."""
    rng = np.random.default_rng(seed)
    driven = PLAYED + 0.004 * PLAYED**2 + 0.004 * PLAYED**3
    sound = fftconvolve(driven, cone() if h is None else h)[: PLAYED.size]
    sound = np.concatenate([np.zeros(delay), sound])[: PLAYED.size]
    pink = lfilter([0.05], [1.0, -0.95], rng.standard_normal(sound.size)) * 1.6
    hum = 2e-4 * np.sin(2.0 * math.pi * 50.0 * np.arange(sound.size) / RATE)
    return quantise(sound + noise * (0.7 * rng.standard_normal(sound.size) + pink) + hum)


def quantise(signal: np.ndarray, bits: int = 24) -> np.ndarray:
    """Round and clip as a converter does."""
    steps = 2.0 ** (bits - 1)
    return np.clip(np.rint(signal * steps), -steps, steps - 1.0) / steps
