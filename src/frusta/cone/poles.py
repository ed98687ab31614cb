"""The poles of a cone on its bench: frequencies and losses as a recording holds them.

T(ω)·x = 0 depends on ω through the air, the coil and the motor. Each pole starts from the problem with these
frozen near it and is then followed by the nonlinear Rayleigh quotient with the air's own matrices at complex ω.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import eig

from frusta.cone.driver import Driver, response
from frusta.errors import ParameterError

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

_STEPS = 12
_SETTLED = 1e-7  # of the step that would come next
_CONTRACTED = 1e-2  # steps that shrink like this go on to shrink as fast or faster
_SAME = 1e-6
_DIFFERENCE = 1e-4


@dataclass(frozen=True)
class Poles:
    """Poles in order of frequency.

    Parameters
    ----------
    omega : ndarray (poles,) of complex
        rad/s; time runs as e^{jωt}, so losses make the imaginary part positive.
    vectors : ndarray (poles, unknowns) of complex
        Motions in the reduced cone's unknowns, scaled to xᵀ T'(ω) x = −2ω (unit modal mass).
    residues : ndarray (poles,) of complex
        Pressure at the microphone per volt is Σ residue/(ω − pole) − conj(…) and a smooth rest; Pa·rad/(V·s).
        Zero where no coil drives.
    arrival_s : float
        When a pulse at the coil is first heard: a mode's own part starts then.
    air_mass : ndarray (poles,) of complex
        The air's share of the unit modal mass, xᵀ ρBᵀA⁻¹B x.
    """

    omega: Complexes
    vectors: Complexes
    residues: Complexes
    arrival_s: float
    air_mass: Complexes

    @property
    def squared(self) -> Complexes:
        """λ = ω² = ω0²(1 + jη)."""
        return np.asarray(self.omega**2)

    @property
    def frequency_hz(self) -> Floats:
        """√(Re λ)/2π; 0 where a pole is damped past ringing (Re λ ≤ 0)."""
        return np.asarray(np.sqrt(np.maximum(self.squared.real, 0.0)) / (2.0 * np.pi))

    @property
    def loss_factor(self) -> Floats:
        """Im λ/Re λ."""
        return np.asarray(self.squared.imag / self.squared.real)

    def contributions(self, frequency_hz: ArrayLike) -> Complexes:
        """Return each pole's own part of the response, decaying from the arrival on, (poles, frequencies), Pa/V."""
        omega = 2.0 * np.pi * np.asarray(frequency_hz, dtype=np.float64)
        started = (self.residues * np.exp(1j * self.omega * self.arrival_s))[:, None]
        own = started / (omega - self.omega[:, None]) - started.conj() / (omega + self.omega.conj()[:, None])
        return np.asarray(own * np.exp(-1j * omega * self.arrival_s))


def find_poles(driver: Driver, low_hz: float = 200.0, high_hz: float = 20e3, near: Poles | None = None) -> Poles:
    """Return the poles of the cone between two frequencies.

    Parameters
    ----------
    driver : Driver
        Of any order; without a moving neck these are the modes of the held cone in air.
    low_hz, high_hz : float
        Range of frequency; broad resonances of the air alone are not among the poles.
    near : Poles, optional
        Of a driver that differs a little, found in the same range: where to start from.

    Returns
    -------
    Poles

    Raises
    ------
    ParameterError
        If the range is empty or beyond the air's matrices, or a pole does not settle.

    References
    ----------
    P. Lancaster, Lambda-Matrices and Vibrating Systems (1966), section 5.4: the generalised Rayleigh quotient,
    of third order for a symmetric T.
    """
    if not 0.0 <= low_hz < high_hz <= driver.top_hz:
        raise ParameterError(
            f"the range must rise and end at most at {driver.top_hz:.0f} Hz (got {low_hz:g} to {high_hz:g} Hz)"
        )
    if near is None:
        starts, shapes = _frozen_poles(driver, 2.0 * np.pi * np.sqrt(max(low_hz, 100.0) * high_hz))
        inside = (starts.real > 1.6 * np.pi * low_hz) & (starts.real < 2.2 * np.pi * high_hz)
        inside &= starts.real < 2.0 * np.pi * driver.top_hz
        starts, shapes = starts[inside], shapes[inside]
    else:
        starts, shapes = near.omega, near.vectors
    omega, vectors = _follow(driver, starts, shapes)
    order = np.argsort(omega.real)
    omega, vectors = omega[order], vectors[order]
    hertz = np.sqrt(np.maximum((omega**2).real, 0.0)) / (2.0 * np.pi)
    keep = (hertz >= low_hz) & (hertz <= high_hz)
    keep[1:] &= np.abs(np.diff(omega)) > _SAME * np.abs(omega[1:])
    omega, vectors = omega[keep], vectors[keep]
    residues, air_mass = _heard(driver, omega, vectors)
    return Poles(omega, vectors, residues, driver.arrival_s, air_mass)


def prominences_db(driver: Driver, poles: Poles) -> Floats:
    """Return each pole's own contribution over all the rest (total minus its own) at its frequency, dB.

    Parameters
    ----------
    driver : Driver
    poles : Poles
        Of this driver, with a coil that drives.
    """
    hertz = poles.frequency_hz
    own = np.diagonal(poles.contributions(hertz))
    return np.asarray(20.0 * np.log10(np.abs(own) / np.abs(response(driver, hertz) - own)))


def break_up(driver: Driver, poles: Poles, above_hz: float = 1000.0, least_db: float = -12.0) -> int | None:
    """Return which pole is the break-up: the lowest above the piston band that stands out enough, or None.

    Parameters
    ----------
    driver : Driver
    poles : Poles
        Of this driver.
    above_hz, least_db : float
        The piston band's end and the least prominence, as the reading defines them.
    """
    found = np.nonzero((poles.frequency_hz > above_hz) & (prominences_db(driver, poles) >= least_db))[0]
    return int(found[0]) if len(found) else None


def _frozen_poles(driver: Driver, omega: float) -> tuple[Complexes, Complexes]:
    """Poles and vectors of the linear problem whose air and motor are taken at one frequency."""
    cone, motor, coil = driver.cone, driver.motor, driver.coil
    stiffness = np.diag(cone.stiffness)
    mass = cone.mass + driver.air_terms(omega / driver.medium.sound_speed_m_s)[:-1]
    if cone.with_neck:
        at = np.asarray(omega, dtype=np.complex128)
        moving = coil.mass_kg + motor.moving_mass_kg
        held = driver.coil_stiffness(at) + omega**2 * moving
        if driver.joint.compliance_m_n == 0.0:
            stiffness[0, 0] += held
            mass[0, 0] += moving
        else:  # the coil as an unknown of its own
            spring = 1.0 / driver.joint_compliance
            stiffness, mass = np.pad(stiffness, (0, 1)), np.pad(mass, (0, 1))
            stiffness[0, 0] += spring
            stiffness[0, -1] = stiffness[-1, 0] = -spring
            stiffness[-1, -1] = spring + held
            mass[-1, -1] = moving
    squared, right = eig(stiffness, mass)
    root = np.sqrt(squared.astype(np.complex128))
    return np.asarray(root), np.asarray(right.T[:, : len(cone.stiffness)])


def _follow(driver: Driver, starts: Complexes, shapes: Complexes) -> tuple[Complexes, Complexes]:
    """Follow all poles at once to where T(ω)·x = 0, each until it rests."""
    omega, vectors = starts.copy(), shapes.copy()
    last = np.full(len(omega), np.inf)
    active = np.arange(len(omega))
    for _ in range(_STEPS):
        if len(active) == 0:
            break
        at = omega[active]
        matrix, slope = _balance_and_slope(driver, at)
        closer = np.linalg.solve(matrix, slope)
        x = np.asarray((closer @ (closer @ vectors[active][..., None]))[..., 0], dtype=np.complex128)
        by_slope = _form(x, slope)
        moved = _form(x, matrix) / by_slope
        omega[active], vectors[active] = at - moved, x * np.sqrt(-2.0 * at / by_slope)[:, None]
        size = np.abs(moved) / np.abs(at)
        follows = size * np.where(size < _CONTRACTED * last[active], _CONTRACTED, 1.0)
        last[active] = size
        active = active[follows > _SETTLED]
    if len(active):
        raise ParameterError(
            f"every pole must settle in {_STEPS} steps (the one near {omega[active[0]].real / (2.0 * np.pi):.0f} Hz "
            "does not); look at the joint and the motor there, or narrow the range"
        )
    return omega, vectors


def _heard(driver: Driver, omega: Complexes, vectors: Complexes) -> tuple[Complexes, Complexes]:
    """Residues at the microphone, per volt, and the air's share of each pole's mass."""
    k = omega / driver.medium.sound_speed_m_s
    pushed = np.asarray(vectors @ driver.cone.coupling.T, dtype=np.complex128)
    jump = driver.medium.density_kg_m3 * np.linalg.solve(driver.air.operator(k), pushed[..., None])[..., 0]
    air_mass = np.asarray(np.sum(pushed * jump, axis=-1))
    if not driver.cone.with_neck:
        return np.zeros(len(omega), dtype=np.complex128), air_mass
    heard = np.sum(driver.microphone_rows(k) * jump, axis=-1)
    return np.asarray(0.5 * omega * heard * vectors[:, 0] * driver.neck_terms(omega)[1]), air_mass


def _form(vectors: Complexes, matrices: Complexes) -> Complexes:
    """xᵀ A x of every pole, not conjugated."""
    return np.asarray(np.sum((matrices @ vectors[..., None])[..., 0] * vectors, axis=-1))


def _balance_and_slope(driver: Driver, omega: Complexes) -> tuple[Complexes, Complexes]:
    """T(ω) and T'(ω), a pole each; (A⁻¹)' = −A⁻¹A'A⁻¹."""
    speed, density = driver.medium.sound_speed_m_s, driver.medium.density_kg_m3
    coupling, cone = driver.cone.coupling, driver.cone
    operator, change = driver.air.operator_and_slope(omega / speed)
    jump = np.linalg.solve(operator, coupling.astype(np.complex128))
    air_mass = np.asarray(density * (coupling.T @ jump), dtype=np.complex128)
    air_change = (-density / speed) * (np.swapaxes(jump, -1, -2) @ (change @ jump))
    once, square = omega[:, None, None], (omega**2)[:, None, None]
    slope = -2.0 * once * (cone.mass + air_mass) - square * air_change
    if cone.with_neck:
        step = _DIFFERENCE * omega
        ahead, behind = driver.neck_terms(omega + step)[0], driver.neck_terms(omega - step)[0]
        slope[:, 0, 0] += (ahead - behind) / (2.0 * step)
    return driver.balance(omega, air_mass), slope
