"""What a sweep does to a voice coil: its power against a stated limit, its temperature from its resistance."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frusta.errors import ParameterError

Floats = NDArray[np.float64]

RESISTANCE_BAND_HZ = (200.0, 500.0)
"""Where a coil's impedance is mostly its resistance: above the resonance, below the inductance."""


@dataclass(frozen=True)
class SweepPower:
    """Power into the coil over a sweep.

    Parameters
    ----------
    volts_rms : float
    watts : float
        Mean over the sounding part, the impedance taken as the coil's resistance: never less than the true power.
    """

    volts_rms: float
    watts: float


def sweep_power(amplitude: float, drive_gain_db: float, drive_full_scale_v: float, resistance_ohm: float) -> SweepPower:
    """Return the power of a sweep into a coil.

    Parameters
    ----------
    amplitude : float
        Peak re digital full scale.
    drive_gain_db : float
    drive_full_scale_v : float
        Peak volts at the coil at digital full scale and 0 dB.
    resistance_ohm : float
        Of the coil, > 0.

    Raises
    ------
    ParameterError
        If the resistance is not positive.

    Examples
    --------
    >>> sweep_power(0.5, 0.0, 4.0, 4.0).watts
    0.5
    """
    if resistance_ohm <= 0.0:
        raise ParameterError(f"resistance_ohm must be above 0 (got {resistance_ohm:g}); measure the coil")
    volts = amplitude * 10.0 ** (drive_gain_db / 20.0) * drive_full_scale_v / math.sqrt(2.0)
    return SweepPower(volts, round(volts**2 / resistance_ohm, 12))


def gain_within_power_db(watts: float, amplitude: float, drive_full_scale_v: float, resistance_ohm: float) -> float:
    """Return the largest drive gain, dB, at which a sweep stays within a power."""
    at_zero = sweep_power(amplitude, 0.0, drive_full_scale_v, resistance_ohm).watts
    return 10.0 * math.log10(watts / at_zero)


def coil_resistance(voltage: Floats, current: Floats, sample_rate_hz: float) -> tuple[float, float]:
    """Return a coil's resistance and its standard uncertainty from voltage and current of a sweep.

    Parameters
    ----------
    voltage, current : ndarray, shape (n,)
        V and A.
    sample_rate_hz : float

    Returns
    -------
    resistance_ohm, resistance_u_ohm : float
        Smallest real part of the impedance between 200 and 500 Hz, where motion and inductance add least (the
        average over a sixth octave); u is the scatter within it. A motor's motion still adds a little: compare
        with a cold sweep, not with an ohmmeter.

    Raises
    ------
    ParameterError
        If the band holds no current.
    """
    if voltage.shape != current.shape or voltage.ndim != 1:
        raise ParameterError(f"voltage and current must be rows alike (got {voltage.shape} and {current.shape})")
    frequency = np.fft.rfftfreq(voltage.size, 1.0 / sample_rate_hz)
    inside = (frequency >= RESISTANCE_BAND_HZ[0]) & (frequency <= RESISTANCE_BAND_HZ[1])
    amps = np.fft.rfft(current)[inside]
    if not np.any(np.abs(amps) > 0.0):
        raise ParameterError("the current channel must carry a current (it is silent); check shunt and cable")
    cross = np.fft.rfft(voltage)[inside] * amps.conj()
    power = np.abs(amps) ** 2
    sixth = np.floor(6.0 * np.log2(frequency[inside] / RESISTANCE_BAND_HZ[0])).astype(int)
    best = (math.inf, math.inf)
    for band in range(int(sixth.max()) + 1):
        use = sixth == band
        weight = float(np.sum(power[use]))
        if np.count_nonzero(use) < 8 or weight <= 0.0:
            continue
        mean = float(np.sum(cross[use].real)) / weight
        spread = float(np.sum(power[use] * (cross[use].real / power[use] - mean) ** 2)) / weight
        best = min(best, (mean, math.sqrt(spread / np.count_nonzero(use))))
    return best
