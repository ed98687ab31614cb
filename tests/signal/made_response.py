"""A diaphragm's impulse response by closed form: modes, a piston part, an air resonance, all through a band limit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft


@dataclass(frozen=True)
class MadeResponse:
    impulse: np.ndarray
    sample_rate_hz: float
    onset_s: float
    prominence_db: np.ndarray


def make_response(
    frequency_hz: np.ndarray,
    loss_factor: np.ndarray,
    gain: np.ndarray,
    *,
    sample_rate_hz: float = 48000.0,
    noise_db: float = -80.0,
    reflection: tuple[float, float] | None = None,
    seed: int = 0,
) -> MadeResponse:
    """Poles −s² = ω0²(1 + jη) with residues gain·(−Re s), in parallel with a piston and a heavily damped cavity."""
    rng = np.random.default_rng(seed)
    size = 1 << 15
    f = scipy.fft.rfftfreq(size, 1.0 / sample_rate_hz)
    jw = 2j * np.pi * f
    s = 2j * np.pi * frequency_hz * np.sqrt(1.0 + 1j * loss_factor)
    residue = gain * -s.real * np.exp(1j * rng.uniform(0.0, 2.0 * np.pi, s.size))

    def own(at: np.ndarray, k: int) -> np.ndarray:
        return residue[k] / (at - s[k]) + np.conj(residue[k]) / (at - np.conj(s[k]))

    def total(at: np.ndarray) -> np.ndarray:
        air = 2j * np.pi * 6500.0 * np.sqrt(1.0 + 0.3j)
        piston = at / (at + 2.0 * np.pi * 110.0) / (1.0 + at / (2.0 * np.pi * 9000.0))
        cavity = 0.3 * -air.real * (1.0 / (at - air) + 1.0 / (at - np.conj(air)))
        return piston + cavity + sum(own(at, k) for k in range(s.size))

    at_modes = 2j * np.pi * frequency_hz
    alone = np.array([own(at_modes[k : k + 1], k)[0] for k in range(s.size)])
    prominence_db = 20.0 * np.log10(np.abs(alone / (total(at_modes) - alone)))
    low, high = np.clip((f - 20.0) / 40.0, 0, 1), np.clip((20000.0 - f) / 4500.0, 0, 1)
    taper = (0.5 - 0.5 * np.cos(np.pi * low)) * (0.5 - 0.5 * np.cos(np.pi * high))
    delay_s = 0.2 + 0.37 / sample_rate_hz
    spectrum = total(jw) * taper * np.exp(-jw * delay_s)
    if reflection:
        spectrum = spectrum * (1.0 + reflection[1] * np.exp(-jw * reflection[0]))
    impulse = scipy.fft.irfft(spectrum, size)
    noise = scipy.fft.irfft(scipy.fft.rfft(rng.standard_normal(size)) * taper * np.sqrt(np.maximum(f, 20.0)), size)
    peak = np.max(np.abs(impulse))
    impulse = impulse + noise / noise.std() * peak * 10.0 ** (noise_db / 20.0)
    onset = int(np.argmax(np.abs(impulse) > 0.1 * np.max(np.abs(impulse))))
    return MadeResponse(impulse, sample_rate_hz, onset / sample_rate_hz, prominence_db)
