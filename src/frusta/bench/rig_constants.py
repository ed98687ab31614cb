"""The rig's constants from an added mass: with the coil's current, all of them; from sound alone, mass and suspension.

The motor on its suspension with whatever cone is on: ``Z = R_e + jωL_e + (Bl)²/(R + jωM + K/jω)``. One curve gives the
ratios only; a second one with a known mass more gives the scale. Fitting both curves whole is the added-mass method
of Small without its approximations (there only resonances and widths are read).

References
----------
R. H. Small, Direct-Radiator Loudspeaker System Analysis, J. Audio Eng. Soc. 20(5), 1972: f_s, Q_ms, Q_es.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from frusta.errors import ParameterError

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

BAND_HZ = (20.0, 600.0)
"""A cone moves as one piece here, and the coil's inductance is one."""

PER_OCTAVE = 24


@dataclass(frozen=True)
class Impedance:
    """A curve of the coil's impedance, or of the sound at the microphone.

    Parameters
    ----------
    frequency_hz : ndarray, shape (n,)
    values : ndarray of complex, shape (n,)
        Ω; of sound only the magnitude is used.
    """

    frequency_hz: Floats
    values: Complexes


@dataclass(frozen=True)
class RigConstants:
    """What was found, SI, each with its standard uncertainty; None where it cannot be had, with the reason.

    Parameters
    ----------
    values, uncertainties : dict of str to float
        Keys as in rigs.csv: force_factor_tm, suspension_stiffness_n_mm, suspension_resistance_ns_m,
        coil_resistance_ohm, coil_inductance_mh; besides total_mass_g (all that moves, the air with it),
        resonance_hz, q_mechanical, q_electrical, q_total.
    reasons : dict of str to str
        Why a key is missing.
    method : {"impedance", "sound"}
    measured, fitted : tuple of Impedance
        Without and with the added mass.
    misfit : float
        Relative rms of what is left.
    """

    values: dict[str, float]
    uncertainties: dict[str, float]
    reasons: dict[str, str]
    method: str
    measured: tuple[Impedance, Impedance]
    fitted: tuple[Impedance, Impedance]
    misfit: float
    lines: tuple[str, ...] = field(default=())


def impedance_of(voltage: Floats, current: Floats, sample_rate_hz: float) -> Impedance:
    """Return the impedance from voltage and current of one sweep, averaged over 1/24 octaves.

    Parameters
    ----------
    voltage, current : ndarray, shape (n,)
        V and A, recorded at the same time.
    sample_rate_hz : float

    Raises
    ------
    ParameterError
        If they do not match or the current is silent.
    """
    if voltage.shape != current.shape or voltage.ndim != 1:
        raise ParameterError(f"voltage and current must be rows alike (got {voltage.shape} and {current.shape})")
    if not np.any(current):
        raise ParameterError("the current channel must carry a current (it is silent); check shunt and cable")
    volts, amps = np.fft.rfft(voltage), np.fft.rfft(current)
    return _banded(volts * amps.conj(), np.abs(amps) ** 2, voltage.size, sample_rate_hz)


def sound_of(recording: Floats, played: Floats, sample_rate_hz: float) -> Impedance:
    """Return the magnitude of the sound over what was played, averaged likewise."""
    count = max(recording.size, played.size)
    heard, given = np.fft.rfft(recording, count), np.fft.rfft(played, count)
    power = np.abs(given) ** 2
    found = _banded(np.abs(heard) ** 2 + 0j, power, count, sample_rate_hz)
    return Impedance(found.frequency_hz, np.sqrt(np.abs(found.values)).astype(np.complex128))


def fit_impedance(
    without: Impedance, with_mass: Impedance, added_mass_kg: float, added_mass_u_kg: float = 1e-5
) -> RigConstants:
    """Return all constants from two impedance curves.

    Parameters
    ----------
    without, with_mass : Impedance
        The same cone, seated once, without and with the mass.
    added_mass_kg, added_mass_u_kg : float
        Known mass put on (near the neck, so that the cone carries it as one piece), and its standard uncertainty.

    Raises
    ------
    ParameterError
        If the mass is not positive, or no resonance shows.
    """
    _check_mass(added_mass_kg)
    start = _start_of_impedance(without, with_mass, added_mass_kg)

    def model(p: Floats, omega: Floats, more_kg: float) -> Complexes:
        resistance, inductance, force, damping, stiffness, mass = np.exp(p)
        motion = damping + 1j * omega * (mass + more_kg) + stiffness / (1j * omega)
        return np.asarray(resistance + 1j * omega * inductance + force**2 / motion)

    p, covariance, misfit = _fit(model, start, without, with_mass, added_mass_kg, lambda z: z / np.abs(z))
    resistance, inductance, force, damping, stiffness, mass = np.exp(p)
    relative = np.sqrt(np.diag(covariance))
    scale = added_mass_u_kg / added_mass_kg
    relative = np.hypot(relative, scale * np.array([0.0, 0.0, 0.5, 1.0, 1.0, 1.0]))
    keys = (
        ("coil_resistance_ohm", resistance),
        ("coil_inductance_mh", 1e3 * inductance),
        ("force_factor_tm", force),
        ("suspension_resistance_ns_m", damping),
        ("suspension_stiffness_n_mm", 1e-3 * stiffness),
        ("total_mass_g", 1e3 * mass),
    )
    values = {k: float(v) for k, v in keys}
    uncertainties = {f"{k}_u": float(v * r) for (k, v), r in zip(keys, relative, strict=True)}
    root = math.sqrt(stiffness * mass)
    q_mechanical, q_electrical = root / damping, root * resistance / force**2
    values |= {
        "resonance_hz": math.sqrt(stiffness / mass) / (2.0 * math.pi),
        "q_mechanical": q_mechanical,
        "q_electrical": q_electrical,
        "q_total": 1.0 / (1.0 / q_mechanical + 1.0 / q_electrical),
    }
    return _found(values, uncertainties, {}, "impedance", model, p, (without, with_mass), added_mass_kg, misfit)


def fit_sound(
    without: Impedance, with_mass: Impedance, added_mass_kg: float, added_mass_u_kg: float = 1e-5
) -> RigConstants:
    """Return mass, stiffness and the total damping from two sound responses; for the rest the current is needed.

    Parameters
    ----------
    without, with_mass : Impedance
        From `sound_of`, at the same drive and microphone.
    added_mass_kg, added_mass_u_kg : float

    Raises
    ------
    ParameterError
        If the mass is not positive.
    """
    _check_mass(added_mass_kg)

    def model(p: Floats, omega: Floats, more_kg: float) -> Complexes:
        gain, damping, stiffness, mass = np.exp(p)
        return np.asarray(gain * omega**2 / np.abs(stiffness - omega**2 * (mass + more_kg) + 1j * omega * damping) + 0j)

    top = float(np.median(np.abs(without.values[-5:])))
    ratio = top / float(np.median(np.abs(with_mass.values[-5:])))
    mass = added_mass_kg / max(ratio - 1.0, 0.02)
    resonance = 2.0 * math.pi * 60.0
    start = np.log([top * mass, resonance * mass / 0.7, resonance**2 * mass, mass])
    p, covariance, misfit = _fit(model, start, without, with_mass, added_mass_kg, lambda z: np.log(np.abs(z)) + 0j)
    _, damping, stiffness, mass = (float(v) for v in np.exp(p))
    relative = np.hypot(np.sqrt(np.diag(covariance))[1:], added_mass_u_kg / added_mass_kg)
    values = {
        "suspension_stiffness_n_mm": 1e-3 * stiffness,
        "total_mass_g": 1e3 * mass,
        "resonance_hz": math.sqrt(stiffness / mass) / (2.0 * math.pi),
        "q_total": math.sqrt(stiffness * mass) / damping,
    }
    uncertainties = {
        "suspension_stiffness_n_mm_u": 1e-3 * stiffness * float(relative[1]),
        "total_mass_g_u": 1e3 * mass * float(relative[2]),
    }
    why = "sound alone tells motor from suspension by nothing: record the coil's current over a shunt"
    missing = ("force_factor_tm", "suspension_resistance_ns_m", "coil_resistance_ohm", "coil_inductance_mh")
    reasons = dict.fromkeys(missing, why)
    return _found(values, uncertainties, reasons, "sound", model, p, (without, with_mass), added_mass_kg, misfit)


def _fit(
    model: Callable[[Floats, Floats, float], Complexes],
    start: Floats,
    without: Impedance,
    with_mass: Impedance,
    added_kg: float,
    form: Callable[[Complexes], Complexes],
) -> tuple[Floats, Floats, float]:
    """Parameters (logarithms), their covariance from what is left, and the relative misfit."""
    curves = ((without, 0.0), (with_mass, added_kg))

    def left(p: Floats) -> Floats:
        parts = []
        for curve, more in curves:
            computed = model(p, 2.0 * np.pi * curve.frequency_hz, more)
            if np.iscomplexobj(form(curve.values)) and np.any(form(curve.values).imag):
                gap = (computed - curve.values) / np.abs(curve.values)
                parts += [gap.real, gap.imag]
            else:
                parts.append((form(computed) - form(curve.values)).real)
        return np.concatenate(parts)

    found = least_squares(left, start, method="trf", x_scale=1.0, max_nfev=400)
    freedom = max(found.fun.size - start.size, 1)
    variance = float(found.fun @ found.fun) / freedom
    slope: Floats = np.asarray(found.jac, dtype=np.float64)
    covariance = np.asarray(variance * np.linalg.inv(slope.T @ slope), dtype=np.float64)
    return np.asarray(found.x), covariance, math.sqrt(variance)


def _found(
    values: dict[str, float],
    uncertainties: dict[str, float],
    reasons: dict[str, str],
    method: str,
    model: Callable[[Floats, Floats, float], Complexes],
    p: Floats,
    measured: tuple[Impedance, Impedance],
    added_kg: float,
    misfit: float,
) -> RigConstants:
    fitted = tuple(
        Impedance(c.frequency_hz, model(p, 2.0 * np.pi * c.frequency_hz, more))
        for c, more in zip(measured, (0.0, added_kg), strict=True)
    )
    lines = [
        f"{key} {values[key]:.4g}" + (f" ± {uncertainties[f'{key}_u']:.2g}" if f"{key}_u" in uncertainties else "")
        for key in values
    ]
    lines += [f"{key}: none; {why}" for key, why in reasons.items()]
    lines.append(f"what is left after the fit: {100 * misfit:.2g} % rms; ± is one standard uncertainty")
    return RigConstants(values, uncertainties, reasons, method, measured, (fitted[0], fitted[1]), misfit, tuple(lines))


def _start_of_impedance(without: Impedance, with_mass: Impedance, added_kg: float) -> Floats:
    """Rough values from the two peaks: Small's added-mass formulas."""
    f0, z0 = _peak(without)
    f1, _ = _peak(with_mass)
    resistance = float(np.min(np.abs(without.values)))
    if z0 < 1.02 * resistance:
        raise ParameterError(
            "the impedance must show a resonance (its peak is less than 2 % high); check that voltage and current are "
            "not the same channel"
        )
    mass = added_kg / max((f0 / f1) ** 2 - 1.0, 0.01)
    omega = 2.0 * math.pi * f0
    rise = np.abs(without.values) >= math.sqrt(resistance * z0)
    wide = without.frequency_hz[rise]
    q_mechanical = max(f0 / max(float(np.ptp(wide)), 1e-3 * f0) * math.sqrt(z0 / resistance), 0.2)
    damping = omega * mass / q_mechanical
    force = math.sqrt(max(z0 - resistance, 1e-6) * damping)
    top = without.values[-1]
    inductance = max(float(top.imag) / (2.0 * math.pi * float(without.frequency_hz[-1])), 1e-5)
    return np.log([resistance, inductance, force, damping, omega**2 * mass, mass])


def _peak(curve: Impedance) -> tuple[float, float]:
    """The highest place below 300 Hz: higher up the inductance rises."""
    use = curve.frequency_hz < 300.0
    at = int(np.argmax(np.abs(curve.values[use])))
    return float(curve.frequency_hz[use][at]), float(np.abs(curve.values[use][at]))


def _banded(cross: Complexes, power: Floats, size: int, rate: float) -> Impedance:
    """Ratio of band sums over 1/24 octaves, at the band's power-weighted frequency."""
    frequency = np.fft.rfftfreq(size, 1.0 / rate)
    inside = (frequency >= BAND_HZ[0]) & (frequency <= BAND_HZ[1])
    f, cross, power = frequency[inside], cross[inside], power[inside]
    band = np.floor(PER_OCTAVE * np.log2(f / BAND_HZ[0])).astype(int)
    count = int(band.max()) + 1
    weight = np.bincount(band, power, count)
    full = weight > 0.0
    real, imaginary = np.bincount(band, cross.real, count), np.bincount(band, cross.imag, count)
    middle = np.bincount(band, power * f, count)
    values = np.asarray((real[full] + 1j * imaginary[full]) / weight[full], dtype=np.complex128)
    return Impedance(middle[full] / weight[full], values)


def _check_mass(added_kg: float) -> None:
    if not added_kg > 0.0:
        raise ParameterError(f"the added mass must be above 0 (got {1e3 * added_kg:g} g); weigh it")
