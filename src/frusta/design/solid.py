"""Closed surfaces of triangles: turned from an outline, or drawn out from a strip."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from frusta.errors import ParameterError

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]

SEGMENTS = 180
"""Round the axis: the chord of 2° keeps a radius of 45 mm within 7 µm and the volume within 2e-4."""


@dataclass(frozen=True, eq=False)
class Solid:
    """A body by its surface.

    Parameters
    ----------
    vertices_m : ndarray (n, 3)
    faces : ndarray (m, 3) of int
        Triangles, anticlockwise seen from outside.
    """

    vertices_m: Floats
    faces: Indices

    @property
    def volume_m3(self) -> float:
        """Volume, m³ (sum of signed tetrahedra; positive where the faces look outwards)."""
        a, b, c = (self.vertices_m[self.faces[:, i]] for i in range(3))
        return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0)

    @property
    def closed(self) -> bool:
        """Whether every edge belongs to two triangles that run along it in opposite ways."""
        edges = np.concatenate([self.faces[:, [i, (i + 1) % 3]] for i in range(3)])
        size = len(self.vertices_m)
        forth, back = edges[:, 0] * size + edges[:, 1], edges[:, 1] * size + edges[:, 0]
        return len(np.unique(forth)) == len(forth) and bool(np.array_equal(np.sort(forth), np.sort(back)))

    def on_the_plate(self) -> Solid:
        """Return the body lifted or lowered until its lowest point is at height 0."""
        return Solid(self.vertices_m - np.array([0.0, 0.0, self.vertices_m[:, 2].min()]), self.faces)


def turned(outline_m: Floats, segments: int = SEGMENTS) -> Solid:
    """Return the body that an outline sweeps round the axis.

    Parameters
    ----------
    outline_m : ndarray (n, 2)
        Radius and height of a polygon that does not cross itself, in any sense of turning; an outline that touches
        the axis begins and ends there, else it is closed from its last point to its first.
    segments : int
        Round the axis, at least 3.

    Raises
    ------
    ParameterError
        If a radius is negative, the axis is touched in between, or there are too few points.
    """
    outline = np.asarray(outline_m, dtype=np.float64)
    if outline.ndim != 2 or outline.shape[1] != 2 or len(outline) < 3 or segments < 3:
        raise ParameterError(f"an outline must have at least 3 points of radius and height (got shape {outline.shape})")
    on_axis = outline[:, 0] == 0.0
    if outline[:, 0].min() < 0.0 or on_axis[1:-1].any() or on_axis[0] != on_axis[-1]:
        raise ParameterError("an outline must not cross the axis, and touch it at both ends or not at all")
    if _turning(outline) < 0.0:
        outline, on_axis = outline[::-1], on_axis[::-1]
    angle = 2.0 * np.pi * np.arange(segments) / segments
    vertices: list[Floats] = []
    rings: list[Indices] = []
    start = 0
    for (radius, height), axial in zip(outline, on_axis, strict=True):
        count = 1 if axial else segments
        at = angle[:count]
        vertices.append(np.stack([radius * np.cos(at), radius * np.sin(at), np.full(count, height)], axis=-1))
        ring = start + np.arange(count)
        rings.append(np.broadcast_to(ring, (segments,)))
        start += count
    pairs = list(pairwise(rings))
    if not on_axis[0]:
        pairs.append((rings[-1], rings[0]))
    faces = np.concatenate([_band(low, high) for low, high in pairs])
    return Solid(np.concatenate(vertices), faces)


def _band(first: Indices, second: Indices) -> Indices:
    """Triangles between two rings; those without area, at the axis, are left out."""
    a, b, c, d = first, np.roll(first, -1), np.roll(second, -1), second
    both = np.concatenate([np.stack([a, b, c], axis=-1), np.stack([a, c, d], axis=-1)])
    return np.asarray(both[(both[:, 0] != both[:, 1]) & (both[:, 1] != both[:, 2]) & (both[:, 2] != both[:, 0])])


def _turning(outline: Floats) -> float:
    """Twice the area that a polygon runs round anticlockwise (radius to the right, height up)."""
    x, y = outline.T
    return float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def drawn_out(left_m: Floats, right_m: Floats, width_m: float) -> Solid:
    """Return a strip given by the ends of its cuts, drawn out along y.

    Parameters
    ----------
    left_m, right_m : ndarray (n, 2)
        x and z of the two ends of each cut, from below upwards, left of one another.
    width_m : float
        Along y, centred.

    Raises
    ------
    ParameterError
        If there are fewer than two cuts or the width is not positive.
    """
    left, right = np.asarray(left_m, dtype=np.float64), np.asarray(right_m, dtype=np.float64)
    if left.shape != right.shape or len(left) < 2 or not width_m > 0.0:
        raise ParameterError(
            f"a strip must have two cuts or more and a positive width (got {len(left)}, {width_m:g} m)"
        )
    n = len(left)
    corners = []
    for y in (-0.5 * width_m, 0.5 * width_m):
        for side in (left, right):
            corners.append(np.stack([side[:, 0], np.full(n, y), side[:, 1]], axis=-1))
    i = np.arange(n - 1)
    front_left, front_right, back_left, back_right = (k * n + i for k in range(4))

    def quads(a: Indices, b: Indices, c: Indices, d: Indices) -> Indices:
        return np.concatenate([np.stack([a, b, c], axis=-1), np.stack([a, c, d], axis=-1)])

    faces = [
        quads(front_left, front_right, front_right + 1, front_left + 1),
        quads(back_right, back_left, back_left + 1, back_right + 1),
        quads(front_right, back_right, back_right + 1, front_right + 1),
        quads(back_left, front_left, front_left + 1, back_left + 1),
        quads(*(np.array([k * n]) for k in (2, 3, 1, 0))),
        quads(*(np.array([k * n + n - 1]) for k in (0, 1, 3, 2))),
    ]
    return Solid(np.concatenate(corners), np.concatenate(faces))
