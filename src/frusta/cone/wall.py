"""The mesh of a wall: a row of quadratic quadrilaterals along the meridian, one through the thickness.

One element through the thickness carries a shear that is linear, not parabolic, across the wall: it is stiffer
in transverse shear by the factor 6/5. On a cone that raises the first mode by 1e-5, the fifth by 6e-4 and the
eleventh by 5e-3; `layers` = 2 leaves a tenth of that, at about three times the cost.
"""

from __future__ import annotations

import dataclasses
import functools
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from frusta.cone.profile import ConeProfile
from frusta.errors import ParameterError

Floats = NDArray[np.float64]

ELEMENTS = 56
CAP_ELEMENTS = 16
CAP_SHARE = 0.25
"""A cap's part of the parameter that runs from the axis, or from the neck where there is none, to the rim."""
EDGE_GRADING = 0.25
SHAPE_PARAMETERS = ("neck_radius_m", "rim_radius_m", "depth_m", "bow_m", "wall_m", "wall_taper")


@dataclass(frozen=True)
class Wall:
    """A chain of element columns; each one's end face is the next one's beginning.

    Parameters
    ----------
    nodes_m : ndarray (columns, 3, 2·layers + 1, 2)
        Radius and height of the nodes: three stations along the meridian, then through the wall.
    parameter : ndarray (columns + 1,)
        Place along the meridian, 0 to 1, at the columns' ends; linear within a column.
    capped : int
        How many of the first columns are the cap; the neck lies behind them. 0: no cap.
    """

    nodes_m: Floats
    parameter: Floats
    capped: int = 0

    @property
    def columns(self) -> int:
        """Number of elements along the meridian."""
        return int(self.nodes_m.shape[0])

    @property
    def layers(self) -> int:
        """Number of elements through the wall."""
        return int(self.nodes_m.shape[2] // 2)

    @property
    def element_nodes_m(self) -> Floats:
        """Nodes element by element, layers within columns, shape (columns·layers, 9, 2)."""
        return self.nodes_m[:, :, layer_nodes(self.layers)].transpose(0, 2, 1, 3, 4).reshape(-1, 9, 2)


def layer_nodes(layers: int) -> NDArray[np.intp]:
    """Return which of a face's nodes belong to each layer, shape (layers, 3)."""
    return 2 * np.arange(layers)[:, None] + np.arange(3)


def graded(elements: int, grading: float = EDGE_GRADING) -> Floats:
    """Return 2·elements + 1 stations from 0 to 1, `1 − grading` times as far apart at both ends."""
    place = np.linspace(0.0, 1.0, 2 * elements + 1)
    stations = place - grading * np.sin(2.0 * np.pi * place) / (2.0 * np.pi)
    return _centred(stations)


def _finer_outside(elements: int) -> Floats:
    """Stations of a cap: a third as far apart at its edge, where it is clamped, as on the axis."""
    place = np.linspace(0.0, 1.0, 2 * elements + 1)
    return _centred(place + 0.5 * np.sin(np.pi * place) / np.pi)


def _centred(stations: Floats) -> Floats:
    """Put every middle station halfway: an element is then undistorted."""
    stations[1::2] = 0.5 * (stations[:-1:2] + stations[2::2])
    return stations


def wall_from_meridian(
    radius_m: ArrayLike,
    height_m: ArrayLike,
    normal_r: ArrayLike,
    normal_z: ArrayLike,
    thickness_m: ArrayLike,
    layers: int = 1,
) -> Wall:
    """Return the mesh of any axisymmetric wall.

    Parameters
    ----------
    radius_m, height_m, normal_r, normal_z, thickness_m : array_like (2·elements + 1,)
        Mid-surface, its unit normal and the wall's thickness at the ends and middles of the elements.
    layers : int
        Elements through the wall.

    Raises
    ------
    ParameterError
        If the number of stations is even or less than 3, or there is no layer.
    """
    stations = np.broadcast_arrays(radius_m, height_m, normal_r, normal_z, thickness_m)
    radius, height, along, up, thickness = (np.asarray(a, dtype=np.float64) for a in stations)
    if radius.ndim != 1 or len(radius) < 3 or len(radius) % 2 == 0:
        raise ParameterError(
            f"a meridian needs an odd number of stations, at least 3, in one row (got shape {radius.shape})"
        )
    if layers < 1:
        raise ParameterError(f"layers must be at least 1 (got {layers})")
    offset = 0.5 * thickness[:, None] * np.linspace(-1.0, 1.0, 2 * layers + 1)
    nodes = np.stack([radius[:, None] + offset * along[:, None], height[:, None] + offset * up[:, None]], axis=-1)
    place = np.linspace(0.0, 1.0, len(radius) // 2 + 1)
    return Wall(np.stack([nodes[:-1:2], nodes[1::2], nodes[2::2]], axis=1), place)


def wall_of_profile(profile: ConeProfile, elements: int = ELEMENTS, layers: int = 1) -> Wall:
    """Return the mesh of a cone, finer towards both edges, with its cap before it if it has one.

    Parameters
    ----------
    profile : ConeProfile
    elements : int
        Quadratic elements from neck to rim.
    layers : int
        Elements through the wall.
    """
    u = graded(elements)
    cone = wall_from_meridian(*profile.meridian(u), *profile.unit_normal(u), profile.thickness_m(u), layers)
    if profile.cap == "none":
        return dataclasses.replace(cone, parameter=u[::2])
    inside = _finer_outside(CAP_ELEMENTS)
    cap = wall_from_meridian(profile.neck_radius_m * inside, 0.0, 0.0, 1.0, profile.wall_m, layers)
    nodes = np.concatenate([cap.nodes_m, cone.nodes_m])
    place = np.concatenate([CAP_SHARE * inside[:-1:2], CAP_SHARE + (1.0 - CAP_SHARE) * u[::2]])
    return Wall(nodes, place, CAP_ELEMENTS)


@functools.lru_cache(maxsize=4)
def node_velocities(profile: ConeProfile, names: tuple[str, ...], elements: int = ELEMENTS, layers: int = 1) -> Floats:
    """Return how the mesh moves with each shape parameter, shape (names, elements, 9, 2): those of
    `Wall.element_nodes_m`.

    Central differences of closed forms: 1e-9 of the largest.

    Parameters
    ----------
    names : tuple of str
        Any of `SHAPE_PARAMETERS`.

    Raises
    ------
    ParameterError
        If a name is none of them.
    """
    velocities = []
    for name in names:
        if name not in SHAPE_PARAMETERS:
            raise ParameterError(f"a shape parameter must be one of {', '.join(SHAPE_PARAMETERS)} (got {name!r})")
        value = getattr(profile, name)
        step = 1e-5 if name == "wall_taper" else 1e-5 * profile.span_m
        ahead = dataclasses.replace(profile, **{name: value + step})
        behind = dataclasses.replace(profile, **{name: value - step})
        difference = wall_of_profile(ahead, elements, layers).element_nodes_m
        difference -= wall_of_profile(behind, elements, layers).element_nodes_m
        velocities.append(difference / (2.0 * step))
    found = np.array(velocities)
    found.flags.writeable = False  # it is kept: the seatings of one cone ask for the same
    return found
