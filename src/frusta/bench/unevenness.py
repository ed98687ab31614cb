"""A wall that is thicker here than there along the hoop lets bell modes into the response on the axis.

A thickness ``t(1 + ε cos nθ)`` couples the axisymmetric motions of a cone to its bell modes of order n. The
inertial part of that coupling, ``ε·π∫ρ t w_0·w_n r ds`` on the displacement along the normal, is put into the cone's
mass matrix: blips at the bell modes and a pull on the axisymmetric modes near them follow from the same
equations. The elastic part is left out: it is of the same size, so that heights are right within a factor of
about two; nothing else rests on them.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from frusta.cone.driver import Driver
from frusta.cone.elasticity import Elastic
from frusta.cone.profile import ConeProfile
from frusta.cone.reduction import ReducedCone, reduce_cone
from frusta.cone.trace import air_of_profile, normal_displacement
from frusta.cone.wall import Wall, wall_of_profile
from frusta.errors import ParameterError

Floats = NDArray[np.float64]

BELL_MODES = 2  # of each order


def with_uneven_wall(
    driver: Driver, profile: ConeProfile, material: Elastic, unevenness: tuple[tuple[int, float], ...]
) -> Driver:
    """Return the driver with the bell modes of an uneven wall coupled in.

    Parameters
    ----------
    driver : Driver
        Of the even cone.
    profile, material
        What it was built of.
    unevenness : tuple of (order, ε)
        Circumferential order, 1 to 4, and relative amplitude of the thickness.

    Raises
    ------
    ParameterError
        If an order or amplitude is out of range.
    """
    wall = wall_of_profile(profile)
    for order, amount in unevenness:
        if not 1 <= order <= 4 or not abs(amount) < 0.5:
            raise ParameterError(
                f"unevenness must have an order of 1 to 4 and an amplitude below 0.5 (got {order} and {amount:g})"
            )
        driver = replace(driver, cone=_coupled(driver, wall, profile, material, order, amount))
    return driver


def _coupled(
    driver: Driver, wall: Wall, profile: ConeProfile, material: Elastic, order: int, amount: float
) -> ReducedCone:
    cone = driver.cone
    bells, normal = _bell_modes(driver, wall, profile, material, order)
    own = driver.air.points
    even = _normal(cone, own.parameter, own.normal_r, own.normal_z)
    thickness = np.asarray(profile.thickness_m(np.clip(own.parameter, 0.0, 1.0)))
    area = np.pi * material.density_kg_m3 * thickness * own.radius * own.weight
    mutual = amount * even.T @ (normal * area[:, None])
    size, more = len(cone.stiffness), BELL_MODES
    mass = np.eye(size + more)
    mass[:size, :size] = cone.mass
    mass[:size, size:] = mutual
    mass[size:, :size] = mutual.T
    return replace(
        cone,
        stiffness=np.concatenate([cone.stiffness, bells]),
        mass=mass,
        coupling=np.pad(cone.coupling, ((0, 0), (0, more))),
        vectors=np.pad(cone.vectors, ((0, more), (0, 0))),
    )


def _normal(cone: ReducedCone, parameter: Floats, normal_r: Floats, normal_z: Floats) -> Floats:
    if cone.structure is None:
        raise ParameterError("only a cone that bends can have bell modes; build it with build_driver")
    return np.asarray(normal_displacement(cone.structure, cone.vectors, parameter, normal_r, normal_z))


def _bell_modes(
    driver: Driver, wall: Wall, profile: ConeProfile, material: Elastic, order: int
) -> tuple[NDArray[np.complex128], Floats]:
    """Return stiffness (of unit modal mass, the air's share taken into it) and normal motion of the bell modes."""
    air = air_of_profile(profile, order, driver.bench.mounting)
    cone = reduce_cone(wall, material, air, BELL_MODES, neck_moves=False)
    omega = np.sqrt(np.real(cone.stiffness))
    stiffness = np.empty(BELL_MODES, dtype=np.complex128)
    for i in range(BELL_MODES):
        wet = air.mass_matrix(
            float(omega[i]) / driver.medium.sound_speed_m_s, cone.coupling, driver.medium.density_kg_m3
        )
        stiffness[i] = cone.stiffness[i] / (1.0 + wet[i, i])
    q = driver.air.points
    return stiffness, _normal(cone, q.parameter, q.normal_r, q.normal_z)
