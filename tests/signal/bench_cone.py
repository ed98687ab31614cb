"""A make-believe cone for the tests of the signal core: modes in closed form, a reflection, distortion, noise.

Minimum phase by construction: every factor is a ratio of polynomials with roots in the left half plane.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frusta.signal.sweep import Sweep, make_sweep


@dataclass(frozen=True)
class Cone:
    """Suspension at `low_hz`, pairs of resonance and antiresonance, a delayed copy, distortion."""

    low_hz: float = 90.0
    modes: tuple[tuple[float, float], ...] = (
        (3800.0, 4300.0),
        (5600.0, 6200.0),
        (7700.0, 8500.0),
        (11000.0, 12300.0),
    )
    loss_factor: float = 0.03
    reflection_s: float = 0.0057
    reflection: float = 0.1
    delay_s: float = 0.02
    second: float = 0.002
    third: float = 0.001

    def response(self, frequency_hz: NDArray[np.float64]) -> NDArray[np.complex128]:
        """Complex response, e^{+jwt}."""
        f = frequency_hz
        total = -(f**2) / (self.low_hz**2 - f**2 + 0.5j * f * self.low_hz) + 0j
        for pole, zero in self.modes:
            # viscous, so that the impulse response is real and causal
            top = zero**2 - f**2 + 1j * f * zero * self.loss_factor
            total *= top / (pole**2 - f**2 + 1j * f * pole * self.loss_factor) * (pole / zero) ** 2
        total *= 1.0 + self.reflection * np.exp(-2j * np.pi * f * self.reflection_s)
        return np.asarray(total * np.exp(-2j * np.pi * f * self.delay_s))


def record(
    sweep: Sweep, cone: Cone, *, ppm: float = 0.0, noise_db: float | None = None, seed: int = 0
) -> NDArray[np.float64]:
    """What a recorder whose clock is fast by ``ppm`` writes; noise in dB re the peak."""
    played = make_sweep(sweep, ppm)
    rate_hz = sweep.sample_rate_hz * (1.0 + 1e-6 * ppm)
    driven = played + cone.second * played**2 / sweep.amplitude + cone.third * played**3 / sweep.amplitude**2
    size = 1 << (driven.size + sweep.sample_rate_hz // 4).bit_length()
    frequency = np.fft.rfftfreq(size, 1.0 / rate_hz)
    heard = 0.2 * np.fft.irfft(np.fft.rfft(driven, size) * cone.response(frequency), size)[: driven.size]
    if noise_db is not None:
        level = np.abs(heard).max() * 10.0 ** (noise_db / 20.0)
        heard = heard + level * np.random.default_rng(seed).standard_normal(heard.size)
    return np.asarray(heard)
