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
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import fft
from scipy.optimize import least_squares

from frusta.errors import ParameterError

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

BAND_HZ = (20.0, 600.0)
"""A cone moves as one piece here, and the coil's inductance is one."""

PER_OCTAVE = 24
DOUBTFUL = 0.3
"""Relative standard uncertainty of a constant above which it is none."""

BAD_MISFIT = 0.3
COHERENT = 0.8
"""Share of a band's power that what was played accounts for; the rest is noise, hum, distortion."""

FEWEST_BANDS = 30


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
        Without and with the added mass; of sound, with over without.
    misfit : float
        Relative rms of what is left.
    """

    values: dict[str, float]
    uncertainties: dict[str, float]
    reasons: dict[str, str]
    method: str
    measured: tuple[Impedance, ...]
    fitted: tuple[Impedance, ...]
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
    """Return the sound over what was played, its delay taken out, averaged likewise; bands that noise rules left out.

    Parameters
    ----------
    recording, played : ndarray, shape (n,), (m,)
    sample_rate_hz : float
    """
    count = fft.next_fast_len(recording.size + played.size, real=True)
    cross = np.asarray(fft.rfft(recording, count) * np.conj(fft.rfft(played, count)))
    lag = int(np.argmax(np.abs(fft.irfft(cross, count))))
    hertz = np.arange(cross.size) * sample_rate_hz / count
    cross *= np.exp(2j * np.pi * hertz * lag / sample_rate_hz)
    given, heard = (np.abs(fft.rfft(x, count)) ** 2 for x in (played, recording))
    found = _banded(cross, given, count, sample_rate_hz)
    power = _banded(heard + 0j, given, count, sample_rate_hz).values.real
    clear = np.abs(found.values) ** 2 >= COHERENT * power
    return Impedance(found.frequency_hz[clear], found.values[clear])


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

    measured = ((without, 0.0), (with_mass, added_mass_kg))

    def left(p: Floats) -> Floats:
        gaps = [(model(p, 2.0 * np.pi * c.frequency_hz, m) - c.values) / np.abs(c.values) for c, m in measured]
        return np.concatenate([part for gap in gaps for part in (gap.real, gap.imag)])

    p, covariance, misfit = _fit(left, [start])
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
    fitted = tuple(Impedance(c.frequency_hz, model(p, 2.0 * np.pi * c.frequency_hz, m)) for c, m in measured)
    return _found(values, uncertainties, {}, "impedance", (without, with_mass), fitted, misfit)


def fit_sound(
    without: Impedance, with_mass: Impedance, added_mass_kg: float, added_mass_u_kg: float = 1e-5
) -> RigConstants:
    """Return mass, stiffness and the total damping from two sound responses; for the rest the current is needed.

    Only the ratio of the two is read: room, microphone and how the cone radiates are the same in both and cancel.

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

    hertz, first, second = np.intersect1d(
        np.round(without.frequency_hz, 6), np.round(with_mass.frequency_hz, 6), return_indices=True
    )
    if hertz.size < FEWEST_BANDS:
        raise ParameterError(
            f"the sound must stand over the noise in at least {FEWEST_BANDS} of the {PER_OCTAVE}ths of an octave from "
            f"{BAND_HZ[0]:g} to {BAND_HZ[1]:g} Hz (it does in {hertz.size}); sweep slower or louder, from 20 Hz up"
        )
    omega = 2.0 * np.pi * hertz
    ratio = np.abs(with_mass.values[second]) / np.abs(without.values[first])

    def model(p: Floats) -> Floats:
        damping, stiffness, mass = np.exp(p)
        motion = [stiffness - omega**2 * (mass + more) + 1j * omega * damping for more in (0.0, added_mass_kg)]
        return np.asarray(np.abs(motion[0]) / np.abs(motion[1]), dtype=np.float64)

    mass = added_mass_kg / max(1.0 / float(np.median(ratio[-8:])) - 1.0, 0.02)
    starts = [np.log([w * mass / 1.0, w**2 * mass, mass]) for w in 2.0 * np.pi * np.array([25.0, 50.0, 100.0, 200.0])]
    p, covariance, misfit = _fit(lambda p: np.log(model(p) / ratio), starts)
    damping, stiffness, mass = (float(v) for v in np.exp(p))
    relative = np.hypot(np.sqrt(np.diag(covariance)), added_mass_u_kg / added_mass_kg)
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
    curves = (Impedance(hertz, v.astype(np.complex128)) for v in (ratio, model(p)))
    measured, fitted = curves
    return _found(values, uncertainties, reasons, "sound", (measured,), (fitted,), misfit)


def _fit(left: Callable[[Floats], Floats], starts: Sequence[Floats]) -> tuple[Floats, Floats, float]:
    """Parameters (logarithms), their covariance from what is left, and the relative misfit; the best of all starts."""
    tried = [least_squares(left, start, method="trf", x_scale=1.0, max_nfev=400) for start in starts]
    found = min(tried, key=lambda f: float(f.cost))
    freedom = max(found.fun.size - found.x.size, 1)
    variance = float(found.fun @ found.fun) / freedom
    slope: Floats = np.asarray(found.jac, dtype=np.float64)
    try:
        inverse = np.linalg.inv(slope.T @ slope)
    except np.linalg.LinAlgError:
        inverse = np.full((found.x.size, found.x.size), np.inf)
    covariance = np.asarray(variance * inverse, dtype=np.float64)
    spread = np.sqrt(np.abs(np.diag(covariance)))
    if not np.all(np.isfinite(spread)) or np.max(spread) > DOUBTFUL or math.sqrt(variance) > BAD_MISFIT:
        raise ParameterError(
            f"the fit must tell mass from stiffness (left after it: {100 * math.sqrt(variance):.2g} %, doubt "
            f"{_doubt_words(float(np.max(spread)))}); put on a larger mass, near a third of what moves, and sweep again"
        )
    return np.asarray(found.x), covariance, math.sqrt(variance)


def _doubt_words(spread: float) -> str:
    """A relative uncertainty in words; far beyond 100 % its digits say nothing."""
    return f"up to {100.0 * spread:.0f} %" if spread < 1.0 else "more than 100 %"


def _found(
    values: dict[str, float],
    uncertainties: dict[str, float],
    reasons: dict[str, str],
    method: str,
    measured: tuple[Impedance, ...],
    fitted: tuple[Impedance, ...],
    misfit: float,
) -> RigConstants:
    lines = [
        f"{key} {values[key]:.4g}" + (f" ± {uncertainties[f'{key}_u']:.2g}" if f"{key}_u" in uncertainties else "")
        for key in values
    ]
    lines += [f"{key}: none; {why}" for key, why in reasons.items()]
    lines.append(f"what is left after the fit: {100 * misfit:.2g} % rms; ± is one standard uncertainty of the fit:")
    lines.append("errors of the added mass, the shunt and the volts come on top, in proportion")
    return RigConstants(values, uncertainties, reasons, method, measured, fitted, misfit, tuple(lines))


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
