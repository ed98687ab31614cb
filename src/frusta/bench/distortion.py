"""Where a virtual take's harmonics come from: the motor before the cone, and a cone that buckles.

Both act on what drives the cone, so that the cone's own response shapes the harmonics as it does on a real bench.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from frusta.bench.resampling import lower_rate, raise_rate

Floats = NDArray[np.float64]

_OVERSAMPLING = 4  # orders up to 3 of anything below Nyquist stay below the raised Nyquist


@dataclass(frozen=True)
class MotorDistortion:
    """``x + quadratic·x² + cubic·x³``, x in digital full scale at drive gain 0 dB."""

    quadratic: float = 0.0
    cubic: float = 0.0


@dataclass(frozen=True)
class Buckle:
    """A place of the cone that snaps: nonlinear in the motion of one resonance.

    Parameters
    ----------
    frequency_hz, loss_factor : float
        The resonance whose motion makes it snap.
    quadratic, cubic : float
        Added drive per (peak-normalised motion)², ³; motion 1 is the resonance driven at full scale.
    """

    frequency_hz: float
    loss_factor: float
    quadratic: float
    cubic: float = 0.0


def distort(
    drive: Floats, sample_rate_hz: float, motor: MotorDistortion | None, buckle: Buckle | None = None
) -> Floats:
    """Return the drive after the motor's and the cone's own nonlinearity.

    Parameters
    ----------
    drive : ndarray, shape (n,)
        In digital full scale at drive gain 0 dB.
    sample_rate_hz : float
    motor : MotorDistortion, optional
    buckle : Buckle, optional

    Returns
    -------
    ndarray, shape (n,)
        Free of aliases: the products are formed at four times the rate and what lies above half the sample
        rate is dropped, as an anti-alias filter does.
    """
    if motor is None and buckle is None:
        return drive
    fast = raise_rate(drive, _OVERSAMPLING)
    out = fast.copy()
    if motor is not None:
        out += fast**2 * (motor.quadratic + motor.cubic * fast)
    if buckle is not None:
        motion = _resonance_motion(fast, sample_rate_hz * _OVERSAMPLING, buckle)
        out += motion**2 * (buckle.quadratic + buckle.cubic * motion)
    return lower_rate(out, _OVERSAMPLING)


def _resonance_motion(drive: Floats, sample_rate_hz: float, buckle: Buckle) -> Floats:
    frequency = fft.rfftfreq(drive.size, 1.0 / sample_rate_hz)
    ratio = frequency / buckle.frequency_hz
    receptance = 1j * buckle.loss_factor / (1.0 - ratio**2 + 1j * buckle.loss_factor * np.minimum(ratio, 1.0))
    receptance[0] = 0.0
    return np.asarray(fft.irfft(fft.rfft(drive) * receptance, drive.size))
