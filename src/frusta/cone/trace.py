"""Where wall and air meet: the mid-surface, its motion along the normal, and the air's mesh of a cone."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from frusta.cone.air import ScreenAir
from frusta.cone.air_cache import Mounting, screen_air
from frusta.cone.air_mesh import ELEMENTS, air_mesh
from frusta.cone.profile import ConeProfile
from frusta.cone.structure import Structure
from frusta.cone.wall import CAP_SHARE

Floats = NDArray[np.float64]


def air_of_profile(
    profile: ConeProfile, order: int = 0, mounting: Mounting = "free", elements: int = ELEMENTS
) -> ScreenAir:
    """Return the air of a cone, its cap included; cached.

    Parameters
    ----------
    profile : ConeProfile
        The wall's thickness does not matter to the air.
    order : int
        Fourier order.
    mounting : {"free", "baffle"}
    elements : int
        Of the air's mesh; a response with 24 is within 0.1 dB to 10 kHz.
    """
    if profile.cap == "none":
        return screen_air(air_mesh(profile.meridian, elements=elements), order, mounting=mounting)

    def curve(place: Floats) -> tuple[Floats, Floats]:
        radius, height = profile.meridian(np.maximum(place - CAP_SHARE, 0.0) / (1.0 - CAP_SHARE))
        return np.where(place < CAP_SHARE, profile.neck_radius_m * place / CAP_SHARE, radius), height

    return screen_air(air_mesh(curve, elements=elements, breaks=(CAP_SHARE,)), order, mounting=mounting)


def normal_displacement(
    structure: Structure, vectors: NDArray[Any], parameter: Floats, normal_r: Floats, normal_z: Floats
) -> NDArray[Any]:
    """Return the mid-surface's displacement along a normal, shape (places, vectors).

    Parameters
    ----------
    structure : Structure
    vectors : ndarray (vectors, unknowns)
    parameter : ndarray (places,)
        Along the meridian, as `Wall.parameter`.
    normal_r, normal_z : ndarray (places,)
        Unit normal to take the displacement along.
    """
    wall = structure.wall
    column = np.clip(np.searchsorted(wall.parameter, parameter, side="right") - 1, 0, wall.columns - 1)
    start, stop = wall.parameter[column], wall.parameter[column + 1]
    x = 2.0 * (parameter - start) / (stop - start) - 1.0
    hats = np.stack([0.5 * x * (x - 1.0), 1.0 - x**2, 0.5 * x * (x + 1.0)], axis=-1)
    middle = structure.displacements(vectors)[:, :, :, wall.nodes_m.shape[2] // 2, :2]
    normal = np.stack([normal_r, normal_z], axis=-1)
    return np.asarray(np.einsum("vqsc,qs,qc->qv", middle[:, column], hats, normal, optimize=True))
