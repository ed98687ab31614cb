"""Modes of the cone alone: bell modes of the free rim with the neck held, in air; free modes in vacuo."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from frusta.cone.air_cache import Mounting
from frusta.cone.driver import Bench, Coil, Driver, Joint, Motor
from frusta.cone.elasticity import Elastic
from frusta.cone.medium import Medium
from frusta.cone.poles import Poles, find_poles
from frusta.cone.profile import ConeProfile
from frusta.cone.reduction import reduce_cone
from frusta.cone.structure import structure_modes, structure_of_profile
from frusta.cone.trace import air_of_profile
from frusta.cone.wall import wall_of_profile
from frusta.errors import ParameterError

Floats = NDArray[np.float64]

_MODES = 10
_NO_MOTOR, _NO_COIL = Motor(0.0, 0.0, 0.0), Coil(0.0, 1.0)


def bell_modes(
    profile: ConeProfile,
    material: Elastic,
    order: int,
    medium: Medium,
    mounting: Mounting = "free",
    high_hz: float = 8000.0,
) -> Poles:
    """Return the modes of one circumferential order, neck edge held, even wall, air on both faces.

    Parameters
    ----------
    profile : ConeProfile
    material : Elastic
    order : int
        n ≥ 1; 2, 3, 4 are the bell modes.
    medium : Medium
    mounting : {"free", "baffle"}
    high_hz : float
        Up to where.

    Raises
    ------
    ParameterError
        If the order is below 1.
    """
    if order < 1:
        raise ParameterError(f"order of a bell mode must be at least 1 (got {order})")
    air = air_of_profile(profile, order, mounting)
    cone = reduce_cone(wall_of_profile(profile), material, air, _MODES, neck_moves=False)
    held = Driver(cone, air, medium, _NO_MOTOR, _NO_COIL, Joint(), Bench(mounting, 1.0), float(air.mesh.height_m[-1]))
    return find_poles(held, 20.0, high_hz)


def free_modes_hz(profile: ConeProfile, material: Elastic, count: int) -> Floats:
    """Return the frequencies of the bare cone in vacuo, order 0: neck a massless ring free along the axis.

    Parameters
    ----------
    profile : ConeProfile
    material : Elastic
        Every mode's loss factor is the material's.
    count : int
        Number of modes; the motion as a whole is not one.

    Returns
    -------
    ndarray (count,)
        Hz, ascending.
    """
    structure = structure_of_profile(profile, combination=material.combination)
    return structure_modes(structure, material, count + 1).frequency_hz[1:]
