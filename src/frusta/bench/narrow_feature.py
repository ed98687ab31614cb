"""A narrow feature in the response: a stand that rings, a coil that rocks, a loose joint."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]


@dataclass(frozen=True)
class NarrowFeature:
    """A resonance that adds to what is heard, in proportion to it.

    Parameters
    ----------
    frequency_hz, loss_factor : float
    height : float
        Added at resonance, re the rest, signed: 0.05 makes a blip of about 0.4 dB.
    """

    frequency_hz: float
    loss_factor: float
    height: float


def features_response(features: Sequence[NarrowFeature], frequency_hz: Floats) -> Complexes:
    """Return ``1 + Σ height·jηx/(1 − x² + jηx)``, x = f/f0: each height reached at its own resonance, causal."""
    out = np.ones(frequency_hz.size, dtype=np.complex128)
    for feature in features:
        ratio = frequency_hz / feature.frequency_hz
        damping = 1j * feature.loss_factor * ratio
        out += feature.height * damping / (1.0 - ratio**2 + damping)
    return out
