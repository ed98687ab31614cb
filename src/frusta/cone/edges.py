"""How an edge of the wall is held: which motions of its nodes remain."""

from __future__ import annotations

from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from frusta.cone.element import components
from frusta.errors import ParameterError

Floats = NDArray[np.float64]
Edge = Literal["free", "clamped", "ring", "diaphragm", "supported", "axis"]
"""free; clamped; ring: a rigid massless ring that only moves along the axis (order 0) or rocks about its
centre (order 1), and cannot move in higher orders; diaphragm: no hoop motion and no motion normal to the
wall at mid-surface, the rest free; supported: no axial motion at mid-surface; axis: closed at r = 0."""


def edge_motions(edge: Edge, nodes_m: Floats, order: int) -> tuple[Floats, NDArray[np.bool_]]:
    """Return the motions that an edge leaves.

    Parameters
    ----------
    edge : Edge
    nodes_m : ndarray (nodes, 2)
        Radius and height of the edge's nodes through the wall; the middle one is the mid-surface.
    order : int
        Fourier order.

    Returns
    -------
    motions : ndarray (nodes·c, nodes·c)
        Displacements of the nodes (node by node, c components each) = motions · unknowns.
    kept : ndarray of bool (nodes·c,)
        Which unknowns are there. A ring's only one is the axial motion of the middle node.

    Raises
    ------
    ParameterError
        If the word is not known.
    """
    if edge not in get_args(Edge):
        raise ParameterError(f"an edge must be one of {', '.join(get_args(Edge))} (got {edge!r})")
    size, count = components(order), len(nodes_m)
    motions, kept = np.eye(count * size), np.ones(count * size, dtype=bool)
    centre = count // 2 * size
    middle = slice(centre, centre + size)
    if edge == "clamped" or (edge == "ring" and order > 1):
        kept[:] = False
    elif edge == "ring":
        kept[:] = False
        kept[centre + 1] = True
        motions[:, centre + 1] = _ring_motion(nodes_m, order)
    elif edge == "supported":
        kept[centre + 1] = False
    elif edge == "diaphragm":
        direction = nodes_m[-1] - nodes_m[0]
        normal = direction / np.hypot(*direction)
        turned = np.eye(size)
        turned[:2, :2] = [[normal[1], normal[0]], [-normal[0], normal[1]]]  # along the wall; normal to it
        motions[middle, middle] = turned
        kept[centre + 1] = False
        if order > 0:
            kept[2::size] = False
    elif edge == "axis":
        _close_axis(order, motions, kept)
    return motions * kept, kept


def _ring_motion(nodes_m: Floats, order: int) -> Floats:
    """Displacements per axial motion of the ring's middle (order 0) or its cosine amplitude (order 1)."""
    if order == 0:
        return np.tile([0.0, 1.0], len(nodes_m))
    (radius, height), centre = nodes_m.T, nodes_m[len(nodes_m) // 2]
    turning = np.stack([centre[1] - height, radius, height - centre[1]], axis=-1) / centre[0]
    return np.asarray(turning.ravel())


def _close_axis(order: int, motions: Floats, kept: NDArray[np.bool_]) -> None:
    """Keep only what is single-valued at r = 0: axial motion (order 0), motion across (order 1)."""
    size = components(order)
    if order == 0:
        kept[0::size] = False
    elif order == 1:
        kept[1::size] = kept[2::size] = False
        first = np.arange(0, len(kept), size)
        motions[first + 2, first] = -1.0  # u_θ = −u_r
    else:
        kept[:] = False
