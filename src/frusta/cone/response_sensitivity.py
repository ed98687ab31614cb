"""How the response of a driver moves with everything that a fit may turn, from the motion and its adjoint.

The pressure is H = −ω² m·x with T x = f. T is symmetric, so one more solve, T y = m, gives every derivative::

    dH = −ω² (y·df − y·dT·x + dm·x)

What the truncated basis lacks enters to second order.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from frusta.cone import banded
from frusta.cone.driver import Driver
from frusta.cone.elasticity import Elastic
from frusta.cone.profile import ConeProfile
from frusta.cone.sensitivity import BENCH_FIELDS, BENCH_PARAMETERS, MATERIAL_PARAMETERS, SMALL_STEPS
from frusta.cone.structure import Structure, build_structure
from frusta.cone.wall import SHAPE_PARAMETERS, wall_of_profile
from frusta.errors import ParameterError

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

RESPONSE_PARAMETERS = (*MATERIAL_PARAMETERS, *SHAPE_PARAMETERS, *BENCH_PARAMETERS, "microphone_distance_m")
_SHAPE_STEP = 1e-4
"""Of a wall's span, and of its taper: the matrices are smooth in both."""


@dataclass(frozen=True)
class ResponseSensitivity:
    """A response and its derivatives.

    Parameters
    ----------
    names : tuple of str
        `RESPONSE_PARAMETERS`.
    pressure : ndarray (frequencies,) of complex
        Pa/V.
    slope : ndarray (frequencies, parameters) of complex
        ∂ ln pressure/∂parameter, per SI unit. For shape parameters the air's matrices are held.
    """

    names: tuple[str, ...]
    pressure: Complexes
    slope: Complexes

    def of(self, name: str) -> Complexes:
        """Return one column.

        Raises
        ------
        ParameterError
            If the name is not known.
        """
        if name not in self.names:
            raise ParameterError(f"a parameter must be one of {', '.join(self.names)} (got {name!r})")
        return np.asarray(self.slope[:, self.names.index(name)])


@dataclass(frozen=True)
class _Motion:
    """Motion x, adjoint y and what else all columns share; one row a frequency."""

    driver: Driver
    omega: Complexes
    x: Complexes
    y: Complexes
    air_mass: Complexes
    received: Complexes

    def pressure_of(self, sources: Complexes) -> Complexes:
        """−ω² of y·df − y·dT·x + dm·x, these summed by the caller."""
        return np.asarray(-(self.omega**2) * sources)

    def between(self, matrix: Floats | Complexes) -> Complexes:
        """y·A·x."""
        return np.asarray(np.sum((self.y @ matrix) * self.x, axis=-1))


def response_sensitivity(
    driver: Driver, profile: ConeProfile, material: Elastic, frequency_hz: Floats
) -> ResponseSensitivity:
    """Return the response of a driver and its derivatives.

    Parameters
    ----------
    driver : Driver
        Flexible, made by `build_driver` from `profile` and `material`.
    profile : ConeProfile
        The one it was made from.
    material : Elastic
    frequency_hz : ndarray (frequencies,)
        Hz, up to `Driver.top_hz`.

    Raises
    ------
    ParameterError
        If the cone is rigid.
    """
    structure = driver.cone.structure
    if structure is None:
        raise ParameterError("a rigid cone's response has no material to derive by; build it with build_driver")
    motion = _motion(driver, frequency_hz)
    columns = [
        *_by_material(motion, structure, material),
        *_by_shape(motion, structure, profile, material),
        *(_by_bench(motion, name) for name in BENCH_PARAMETERS[:-1]),
        _by_air(motion),
        _by_distance(motion),
    ]
    pressure = motion.pressure_of(np.sum(motion.received * motion.x, axis=-1))
    slope = np.stack(columns, axis=-1) / pressure[:, None]
    return ResponseSensitivity(RESPONSE_PARAMETERS, pressure, slope)


def _motion(driver: Driver, frequency_hz: Floats) -> _Motion:
    omega = (2.0 * np.pi * frequency_hz).astype(np.complex128)
    terms = driver.interpolated_air_terms(omega.real / driver.medium.sound_speed_m_s)
    air_mass, received = terms[:, :-1], terms[:, -1]
    force = np.zeros_like(received)
    force[:, 0] = driver.neck_terms(omega)[1]
    both = np.stack([force, received], axis=-1)
    solved = np.asarray(np.linalg.solve(driver.balance(omega, air_mass), both), dtype=np.complex128)
    return _Motion(driver, omega, solved[..., 0], solved[..., 1], air_mass, received)


def _by_material(motion: _Motion, structure: Structure, material: Elastic) -> list[Complexes]:
    cone = motion.driver.cone
    lossy = 1.0 + 1j * material.loss_factor
    by_constant = np.stack(
        [motion.between(_projected(cone.vectors, _unheld(part, structure))) for part in structure.parts], axis=-1
    )
    moduli = -lossy * (by_constant @ material.constants_gradient())
    inertia = motion.omega**2 * motion.between(cone.mass) / material.density_kg_m3
    strain = motion.between(np.diag(cone.stiffness / lossy))
    return [motion.pressure_of(c) for c in (*moduli.T, inertia, -1j * strain)]


def _by_shape(motion: _Motion, structure: Structure, profile: ConeProfile, material: Elastic) -> list[Complexes]:
    """Central differences of the wall's matrices in the basis that stays."""
    vectors, columns = motion.driver.cone.vectors, []
    lossy = 1.0 + 1j * material.loss_factor
    for name in SHAPE_PARAMETERS:
        step = _SHAPE_STEP * (1.0 if name == "wall_taper" else profile.wall_m if name == "wall_m" else profile.span_m)
        stiffness, mass = np.zeros((2, len(vectors), len(vectors)))
        for sign in (1.0, -1.0):
            moved = replace(profile, **{name: getattr(profile, name) + sign * step})
            there = build_structure(wall_of_profile(moved), structure.order, "ring", combination=structure.combination)
            share = sign / (2.0 * step)
            elastic = np.tensordot(material.constants_pa(), there.parts, axes=1)
            stiffness += share * _projected(vectors, _unheld(elastic, structure))
            mass += share * _projected(vectors, there.mass(material.density_kg_m3))
        changed = lossy * motion.between(stiffness) - motion.omega**2 * motion.between(mass)
        columns.append(motion.pressure_of(-changed))
    return columns


def _unheld(band: Floats, structure: Structure) -> Floats:
    """A band without what stands for unknowns that are held: no vector moves them."""
    cleared = np.array(band)
    cleared[0, structure.held] = 0.0
    return cleared


def _projected(vectors: Floats, band: Floats) -> Floats:
    """V A Vᵀ for a banded A."""
    return np.asarray(vectors @ np.stack([banded.multiply(band, v) for v in vectors]).T)


def _by_bench(motion: _Motion, name: str) -> Complexes:
    """Central difference of the neck's two scalars."""
    driver = motion.driver
    part, field = BENCH_FIELDS[name]
    item = getattr(driver, part)
    value = getattr(item, field)
    step = 1e-4 * value if value > 0.0 else SMALL_STEPS[name]
    low = max(value - step, 0.0)
    ahead = replace(driver, **{part: replace(item, **{field: value + step})}).neck_terms(motion.omega)
    behind = replace(driver, **{part: replace(item, **{field: low})}).neck_terms(motion.omega)
    stiffness, force = ((a - b) / (value + step - low) for a, b in zip(ahead, behind, strict=True))
    return motion.pressure_of(motion.y[:, 0] * (force - stiffness * motion.x[:, 0]))


def _by_air(motion: _Motion) -> Complexes:
    """By the scale of the air's density."""
    heard = np.sum(motion.received * motion.x, axis=-1)
    pushed = np.sum((motion.air_mass @ motion.x[..., None])[..., 0] * motion.y, axis=-1)
    return motion.pressure_of(heard + motion.omega**2 * pushed)


def _by_distance(motion: _Motion) -> Complexes:
    """One-sided difference: the rows are smooth, and the nearer ones are known."""
    driver = motion.driver
    step = 1e-6 * driver.bench.microphone_distance_m
    there = replace(driver.bench, microphone_distance_m=driver.bench.microphone_distance_m + step)
    k = motion.omega.real / driver.medium.sound_speed_m_s
    change = (replace(driver, bench=there).interpolated_air_terms(k)[:, -1] - motion.received) / step
    return motion.pressure_of(np.sum(change * motion.x, axis=-1))
