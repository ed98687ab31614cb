"""The whole driver: cone, air on both faces, joint, coil, suspension and the motor on a voltage.

Everything is a force balance of the reduced cone, T(ω)·x = f, with e^{jωt} and complex ω allowed::

    T = K(1+jη) − ω²(M + ρ BᵀA(k)⁻¹B) + Z_c/(1 + C·Z_c) on the neck
    Z_c = s + jωR + jω(Bl)²/(R_e + jωL_e) − ω²m        (coil and suspension, N/m)

C is the joint's compliance: the coil hangs on the neck's ring by a spring, C = 0 is rigid.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from frusta.cone.air import ScreenAir
from frusta.cone.air_cache import Mounting
from frusta.cone.air_field import axis_rows, far_power
from frusta.cone.air_inverse import inverse_samples
from frusta.cone.elasticity import Elastic
from frusta.cone.medium import Medium
from frusta.cone.profile import ConeProfile
from frusta.cone.reduction import MODES, ReducedCone, reduce_cone, rigid_cone
from frusta.cone.sampled import Sampled, sample_places, sampled
from frusta.cone.trace import air_of_profile
from frusta.cone.wall import wall_of_profile
from frusta.errors import ParameterError

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

AIR_SAMPLES = 88


def _check_not_negative(item: Motor | Coil | Joint) -> None:
    for field in fields(item):
        value = getattr(item, field.name)
        if not (math.isfinite(value) and value >= 0.0):
            raise ParameterError(f"{field.name} must be a finite number, 0 or more (got {value})")


@dataclass(frozen=True)
class Motor:
    """What stays on the bench: force factor, suspension, and what moves besides coil and cone.

    Parameters
    ----------
    force_factor_tm : float
        Bl, T·m.
    suspension_stiffness_n_m, suspension_resistance_ns_m : float
        At the coil.
    moving_mass_kg : float
        Besides coil and cone.
    """

    force_factor_tm: float
    suspension_stiffness_n_m: float
    suspension_resistance_ns_m: float
    moving_mass_kg: float = 0.0

    def __post_init__(self) -> None:
        _check_not_negative(self)


@dataclass(frozen=True)
class Coil:
    """A voice coil: mass, resistance (> 0) and inductance."""

    mass_kg: float
    resistance_ohm: float
    inductance_h: float = 0.0

    def __post_init__(self) -> None:
        _check_not_negative(self)
        if self.resistance_ohm == 0.0:
            raise ParameterError("resistance_ohm must be positive (got 0)")


@dataclass(frozen=True)
class Joint:
    """The axial spring between coil and neck: compliance in m/N (0: rigid), loss factor of its stiffness."""

    compliance_m_n: float = 0.0
    loss_factor: float = 0.0

    def __post_init__(self) -> None:
        _check_not_negative(self)


@dataclass(frozen=True)
class Bench:
    """Where the driver hangs and where the microphone stands, on the axis, from the plane of the rim."""

    mounting: Mounting
    microphone_distance_m: float

    def __post_init__(self) -> None:
        if self.mounting not in ("free", "baffle"):
            raise ParameterError(f"mounting must be free or baffle (got {self.mounting!r})")
        if not (math.isfinite(self.microphone_distance_m) and self.microphone_distance_m > 0.0):
            raise ParameterError(f"microphone_distance_m must be positive (got {self.microphone_distance_m:g})")


RIGID_JOINT = Joint()


@dataclass(frozen=True)
class Driver:
    """A cone on its bench.

    Parameters
    ----------
    cone : ReducedCone
    air : ScreenAir
    medium : Medium
    motor : Motor
    coil : Coil
    joint : Joint
    bench : Bench
    rim_height_m : float
        Height of the rim in the air's mesh.
    """

    cone: ReducedCone
    air: ScreenAir
    medium: Medium
    motor: Motor
    coil: Coil
    joint: Joint
    bench: Bench
    rim_height_m: float

    @property
    def top_hz(self) -> float:
        """Highest frequency that the air's matrices reach, Hz."""
        return self.air.top_wavenumber * self.medium.sound_speed_m_s / (2.0 * np.pi)

    @property
    def arrival_s(self) -> float:
        """Time of flight from the nearest part of the wall to the microphone, s."""
        gap = self.rim_height_m + self.bench.microphone_distance_m - self.air.mesh.height_m
        return float(np.min(np.hypot(self.air.mesh.radius_m, gap))) / self.medium.sound_speed_m_s

    def coil_stiffness(self, omega: Complexes) -> Complexes:
        """Return Z_c: force per displacement of the coil, the cone taken off, N/m."""
        s = 1j * omega
        mass = self.coil.mass_kg + self.motor.moving_mass_kg
        mechanical = self.motor.suspension_stiffness_n_m + s * self.motor.suspension_resistance_ns_m + s**2 * mass
        return np.asarray(mechanical + s * self.motor.force_factor_tm**2 / self.electrical_impedance(omega))

    def electrical_impedance(self, omega: Complexes) -> Complexes:
        """Return R_e + jωL_e of the coil, held, Ω."""
        return np.asarray(self.coil.resistance_ohm + 1j * omega * self.coil.inductance_h)

    @property
    def joint_compliance(self) -> complex:
        """Compliance of the joint, m/N, its loss included."""
        return self.joint.compliance_m_n / (1.0 + 1j * self.joint.loss_factor)

    def neck_terms(self, omega: Complexes) -> tuple[Complexes, Complexes]:
        """Return what the coil adds to the neck: stiffness (N/m) and force per volt (N/V)."""
        stiffness = self.coil_stiffness(omega)
        through = 1.0 / (1.0 + self.joint_compliance * stiffness)
        force = self.motor.force_factor_tm / self.electrical_impedance(omega)
        return stiffness * through, force * through

    def microphone_rows(self, wavenumber: Complexes) -> Complexes:
        """Return pressure on the axis per pressure jump, shape (wavenumbers, air unknowns)."""
        height = self.rim_height_m + self.bench.microphone_distance_m
        return axis_rows(self.air, wavenumber, height)

    def air_terms(self, wavenumber: ArrayLike) -> Complexes:
        """Return the air's mass matrix and the microphone's row, exactly (a solve a wavenumber).

        Parameters
        ----------
        wavenumber : array_like
            k, 1/m, complex allowed.

        Returns
        -------
        ndarray (*wavenumbers, unknowns + 1, unknowns)
            ρBᵀA⁻¹B, kg; in the last row the pressure per displacement over −ω².
        """
        k = np.asarray(wavenumber, dtype=np.complex128)
        jump = self.air_jump(k)
        return np.concatenate([self.cone.coupling.T @ jump, self.microphone_rows(k)[..., None, :] @ jump], axis=-2)

    def air_jump(self, wavenumber: Complexes) -> Complexes:
        """Return ρA⁻¹B: the pressure jump per displacement over −ω², shape (*wavenumbers, air unknowns, unknowns)."""
        coupling = self.cone.coupling.astype(np.complex128)
        return np.asarray(self.medium.density_kg_m3 * np.linalg.solve(self.air.operator(wavenumber), coupling))

    @property
    def _delay_m(self) -> float:
        """A path about as long as the sound's, taken out before interpolation."""
        return self.bench.microphone_distance_m + 0.5 * float(np.ptp(self.air.mesh.height_m))

    @cached_property
    def air_samples(self) -> Sampled:
        """The same for real k, sampled, the delay taken out."""
        top = self.air.top_wavenumber
        places = sample_places(top, AIR_SAMPLES)
        coupling = self.cone.coupling
        jump = self.medium.density_kg_m3 * (inverse_samples(self.air, AIR_SAMPLES) @ coupling)
        rows = self.microphone_rows(places.astype(np.complex128))
        rows *= np.exp(1j * places * self._delay_m)[:, None]
        return sampled(top, np.concatenate([coupling.T @ jump, rows[:, None, :] @ jump], axis=-2))

    def interpolated_air_terms(self, wavenumber: Floats) -> Complexes:
        """Return what `air_terms` does for real k, from the samples: within 1e-4."""
        terms = self.air_samples.at(wavenumber)
        terms[..., -1, :] *= np.exp(-1j * wavenumber * self._delay_m)[..., None]
        return terms

    def balance(self, omega: Complexes, air_mass: Complexes) -> Complexes:
        """Return T(ω), N/m, shape (*ω, unknowns, unknowns), for an air mass of that shape."""
        square = (omega**2)[..., None, None]
        matrix = -square * (self.cone.mass + air_mass)
        index = np.arange(len(self.cone.stiffness))
        matrix[..., index, index] += self.cone.stiffness
        if self.cone.with_neck:
            matrix[..., 0, 0] += self.neck_terms(omega)[0]
        return np.asarray(matrix)


def build_driver(
    profile: ConeProfile,
    material: Elastic,
    motor: Motor,
    coil: Coil,
    bench: Bench,
    medium: Medium,
    joint: Joint = RIGID_JOINT,
    air: ScreenAir | None = None,
    modes: int = MODES,
) -> Driver:
    """Return the driver of a flexible cone.

    Parameters
    ----------
    profile : ConeProfile
    material : Elastic
    motor : Motor
    coil : Coil
    bench : Bench
    medium : Medium
    joint : Joint
    air : ScreenAir, optional
        By default the cone's own (cached); a fit whose shape moves by little may keep the first one.
    modes : int
        Modes of the cone with its neck held.
    """
    air = air_of_profile(profile, 0, bench.mounting) if air is None else air
    cone = reduce_cone(wall_of_profile(profile), material, air, modes)
    return Driver(cone, air, medium, motor, coil, joint, bench, float(air.mesh.height_m[-1]))


def build_rigid_driver(
    profile: ConeProfile,
    cone_mass_kg: float,
    motor: Motor,
    coil: Coil,
    bench: Bench,
    medium: Medium,
    joint: Joint = RIGID_JOINT,
    air: ScreenAir | None = None,
) -> Driver:
    """Return the driver of a cone of the same shape and mass that does not bend; else as `build_driver`.

    Parameters
    ----------
    profile : ConeProfile
    cone_mass_kg : float
        Without coil, kg, > 0.
    motor, coil, bench, medium, joint, air
        As of `build_driver`.

    Raises
    ------
    ParameterError
        If the mass is not positive.
    """
    air = air_of_profile(profile, 0, bench.mounting) if air is None else air
    cone = rigid_cone(cone_mass_kg, air)
    return Driver(cone, air, medium, motor, coil, joint, bench, float(air.mesh.height_m[-1]))


def response(driver: Driver, frequency_hz: ArrayLike) -> Complexes:
    """Return the pressure at the microphone per volt at the coil.

    Parameters
    ----------
    driver : Driver
    frequency_hz : array_like
        Hz, > 0, up to `Driver.top_hz`.

    Returns
    -------
    ndarray of complex
        Pa/V, e^{jωt}; a positive voltage moves the cone to the listener.

    Raises
    ------
    ParameterError
        If a frequency is out of range.
    """
    omega = _angular(driver, frequency_hz)
    terms = driver.interpolated_air_terms(omega.real / driver.medium.sound_speed_m_s)
    motion = _motion(driver, omega, terms[..., :-1, :])
    return np.asarray(-(omega**2) * (terms[..., -1, :] * motion).sum(axis=-1))


@dataclass(frozen=True)
class EnergyBalance:
    """Mean powers per squared peak volt, W/V²: what the amplifier gives, and where it goes.

    `sound_w_v2` is the power through a far sphere, found without the motion's losses: the sum of all
    parts and the amplifier's power agree only if air, structure and motor are all right.
    """

    amplifier_w_v2: float
    coil_heat_w_v2: float
    suspension_w_v2: float
    joint_w_v2: float
    wall_w_v2: float
    sound_w_v2: float

    @property
    def residual(self) -> float:
        """What is missing, as a part of the amplifier's power."""
        spent = self.coil_heat_w_v2 + self.suspension_w_v2 + self.joint_w_v2 + self.wall_w_v2 + self.sound_w_v2
        return 1.0 - spent / self.amplifier_w_v2


def energy_balance(driver: Driver, frequency_hz: float) -> EnergyBalance:
    """Return the powers at one frequency, with the air's exact matrices.

    Parameters
    ----------
    driver : Driver
    frequency_hz : float
        Hz, > 0, up to `Driver.top_hz`.

    Returns
    -------
    EnergyBalance
        W per V² at the coil.
    """
    omega = _angular(driver, frequency_hz)
    k = omega / driver.medium.sound_speed_m_s
    cone, motor = driver.cone, driver.motor
    motion = _motion(driver, omega, driver.air_terms(k)[:-1])
    impedance = driver.electrical_impedance(omega)
    compliance = driver.joint_compliance
    drive = motor.force_factor_tm / impedance
    coil_motion = (motion[0] + compliance * drive) / (1.0 + compliance * driver.coil_stiffness(omega))
    current = (1.0 - motor.force_factor_tm * 1j * omega * coil_motion) / impedance
    through = drive - driver.coil_stiffness(omega) * coil_motion  # the force that the joint hands to the cone
    rate = 0.5 * float(omega.real)
    jump = -(omega**2) * (driver.air_jump(k) @ motion)
    return EnergyBalance(
        amplifier_w_v2=0.5 * float(current.real),
        coil_heat_w_v2=0.5 * driver.coil.resistance_ohm * float(abs(current) ** 2),
        suspension_w_v2=rate * float(omega.real * motor.suspension_resistance_ns_m * abs(coil_motion) ** 2),
        joint_w_v2=-rate * float(compliance.imag * abs(through) ** 2),
        wall_w_v2=rate * float(cone.stiffness.imag @ np.abs(motion) ** 2),
        sound_w_v2=far_power(driver.air, float(k.real), jump, driver.medium.impedance_pa_s_m),
    )


def _angular(driver: Driver, frequency_hz: ArrayLike) -> Complexes:
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    if frequency.size and not (np.min(frequency) > 0.0 and np.max(frequency) <= driver.top_hz):
        raise ParameterError(
            f"frequency_hz must be above 0 and at most {driver.top_hz:.0f} Hz "
            f"(got {np.min(frequency):g} to {np.max(frequency):g})"
        )
    return (2.0 * np.pi * frequency).astype(np.complex128)


def _motion(driver: Driver, omega: Complexes, air_mass: Complexes) -> Complexes:
    """Displacement of the unknowns per volt."""
    force = np.zeros((*omega.shape, len(driver.cone.stiffness), 1), dtype=np.complex128)
    force[..., 0, 0] = driver.neck_terms(omega)[1]
    return np.asarray(np.linalg.solve(driver.balance(omega, air_mass), force)[..., 0])
