"""A cone in few unknowns: its rigid motion with the neck and its lowest modes with the neck held.

Both together span every motion that the neck's ring can impose (Craig & Bampton, AIAA J. 6, 1968, 1313); the
ring's own static shape is a rigid translation, so nothing is lost at low frequency.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frusta.cone import banded
from frusta.cone.air import ScreenAir
from frusta.cone.edges import Edge
from frusta.cone.elasticity import Elastic
from frusta.cone.structure import Structure, build_structure, clamp_ring, structure_modes
from frusta.cone.trace import normal_displacement
from frusta.cone.wall import Wall
from frusta.errors import ParameterError

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

MODES = 24


@dataclass(frozen=True)
class ReducedCone:
    """Matrices of a cone in modal unknowns; where `with_neck`, the first is the neck's axial motion.

    Parameters
    ----------
    stiffness : ndarray (unknowns,) of complex
        Diagonal, N/m, loss included.
    mass : ndarray (unknowns, unknowns)
        kg.
    coupling : ndarray (air unknowns, unknowns)
        The air's ∫ φ w_n dS, m².
    with_neck : bool
        Whether the neck moves.
    vectors : ndarray (unknowns, structure's unknowns)
        The motions themselves; empty for a rigid cone.
    structure : Structure or None
        What they belong to.
    """

    stiffness: Complexes
    mass: Floats
    coupling: Floats
    with_neck: bool
    vectors: Floats
    structure: Structure | None


def rigid_cone(mass_kg: float, air: ScreenAir) -> ReducedCone:
    """Return a cone that only moves as a whole.

    Raises
    ------
    ParameterError
        If the mass is not positive.
    """
    if not mass_kg > 0.0:
        raise ParameterError(f"mass_kg of a cone must be positive (got {mass_kg:g})")
    return ReducedCone(
        np.zeros(1, dtype=np.complex128),
        np.array([[mass_kg]]),
        air.axial_coupling()[:, None],
        True,
        np.empty((1, 0)),
        None,
    )


def reduce_cone(
    wall: Wall, material: Elastic, air: ScreenAir, modes: int = MODES, neck_moves: bool = True
) -> ReducedCone:
    """Return a flexible cone of the air's Fourier order.

    Parameters
    ----------
    wall : Wall
    material : Elastic
    air : ScreenAir
        May belong to a neighbouring shape: only the meridian's parameter is shared.
    modes : int
        Modes with the neck held.
    neck_moves : bool
        Whether the neck's ring moves along the axis (order 0 only).

    Raises
    ------
    ParameterError
        If the neck is to move in another order than 0.
    """
    order = air.order
    if neck_moves and order != 0:
        raise ParameterError(f"the neck moves along the axis in order 0 only (got order {order})")
    loss = 1.0 + 1j * material.loss_factor
    neck: Edge = "ring" if neck_moves else "clamped"
    structure = build_structure(wall, order, neck, combination=material.combination)
    held = clamp_ring(structure) if neck_moves else structure
    found = structure_modes(held, material, modes)
    vectors, stiffness, mass = found.vectors, found.squared_rad_s, np.eye(modes)
    if neck_moves:
        axial = rigid_translation(structure)
        weighed = banded.multiply(structure.mass(material.density_kg_m3), axial)
        vectors = np.concatenate([axial[None], vectors])
        stiffness = np.concatenate([[0.0], stiffness])
        mass = np.eye(modes + 1)
        mass[0] = mass[:, 0] = vectors @ weighed
    q = air.points
    normal = normal_displacement(structure, vectors, q.parameter, q.normal_r, q.normal_z)
    return ReducedCone(
        np.asarray(loss * stiffness, dtype=np.complex128), mass, air.coupling(normal), neck_moves, vectors, structure
    )


def rigid_translation(structure: Structure) -> Floats:
    """Return the unknowns of a unit motion of the whole wall along the axis (order 0)."""
    axial = np.zeros(structure.unknowns)
    axial[1::2] = 1.0
    axial[structure.held] = 0.0
    return axial
