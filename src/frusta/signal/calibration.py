"""A microphone's deviation, as arrays: what it reads too high, taken out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frusta.errors import ParameterError

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Calibration:
    """How much a microphone reads too high.

    Attributes
    ----------
    frequency_hz : ndarray, shape (n,)
        Rising, Hz.
    deviation_db : ndarray, shape (n,)
        dB to take off the reading.
    phase_deg : ndarray, shape (n,), or None
        Degrees to take off.

    Raises
    ------
    ParameterError
        If frequencies do not rise, are not positive, or a value is missing.
    """

    frequency_hz: Floats
    deviation_db: Floats
    phase_deg: Floats | None = None

    def __post_init__(self) -> None:
        """Refuse tables with holes or out of order."""
        f = np.asarray(self.frequency_hz)
        columns = [f, np.asarray(self.deviation_db)]
        if self.phase_deg is not None:
            columns.append(np.asarray(self.phase_deg))
        if f.ndim != 1 or f.size < 2 or any(c.shape != f.shape for c in columns):
            raise ParameterError("a microphone calibration needs at least two rows of equal columns")
        if not all(np.isfinite(c).all() for c in columns):
            raise ParameterError("a microphone calibration must hold finite numbers only; fill its holes")
        if f[0] <= 0.0 or np.any(np.diff(f) <= 0.0):
            row = int(np.argmax(np.diff(f, prepend=0.0) <= 0.0)) + 1
            raise ParameterError(
                f"frequencies of a microphone calibration must be positive and rise (row {row}: {f[row - 1]:g} Hz)"
            )

    def gain_at(self, frequency_hz: Floats) -> NDArray[np.complex128]:
        """Return the microphone's complex gain, linear in dB and degrees over log f, held at the ends."""
        x, at = np.log(self.frequency_hz), np.log(np.maximum(frequency_hz, 1e-3))
        level = np.interp(at, x, self.deviation_db)
        phase = np.zeros_like(level) if self.phase_deg is None else np.interp(at, x, self.phase_deg)
        return np.asarray(10.0 ** (level / 20.0) * np.exp(1j * np.deg2rad(phase)))
