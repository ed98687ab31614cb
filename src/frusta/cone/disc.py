"""A free disc in bending, as a tapped coupon printed flat rings."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from frusta.cone.elasticity import Elastic
from frusta.cone.structure import build_structure, structure_modes
from frusta.cone.wall import graded, wall_from_meridian
from frusta.errors import ParameterError

Floats = NDArray[np.float64]

_ELEMENTS, _LAYERS = 24, 2


def disc_frequencies_hz(material: Elastic, radius_m: float, thickness_m: float, order: int, count: int = 1) -> Floats:
    """Return the bending frequencies of a free disc printed flat, of one circumferential order.

    Parameters
    ----------
    material : Elastic
        Its axis of isotropy is the disc's.
    radius_m, thickness_m : float
    order : int
        n = 0 or 2, 3, 4: two of them pin Poisson's ratio, as n = 2 falls with it and n = 0 rises.
    count : int
        How many.

    Returns
    -------
    ndarray, shape (count,)
        Hz, rising, rigid motions and motions within the plane left out; in vacuo.

    Raises
    ------
    ParameterError
        If the disc is not flatter than it is wide.
    """
    if not 0.0 < thickness_m < radius_m:
        raise ParameterError(f"thickness_m must be positive and below radius_m (got {thickness_m:g} and {radius_m:g})")
    wall = wall_from_meridian(radius_m * graded(_ELEMENTS), 0.0, 0.0, 1.0, thickness_m, _LAYERS)
    structure = build_structure(wall, order, "axis")
    modes = structure_modes(structure, material, 2 * count + 4)
    floor = 0.05 * thickness_m / radius_m**2 * np.sqrt(material.hoop_pa / material.density_kg_m3)
    motion = structure.displacements(modes.vectors)[..., wall.nodes_m.shape[2] // 2, :]
    axial = np.sum(motion[..., 1] ** 2, axis=(1, 2)) > 0.5 * np.sum(motion**2, axis=(1, 2, 3))
    keep = axial & (2.0 * np.pi * modes.frequency_hz > floor)
    return np.asarray(modes.frequency_hz[keep][:count])
