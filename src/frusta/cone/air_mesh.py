"""The meridian of a thin shell as the air sees it: straight elements, graded towards free edges."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from frusta.errors import ParameterError

FloatArray = NDArray[np.float64]
Curve = Callable[[FloatArray], tuple[FloatArray, FloatArray]]

ELEMENTS = 56


@dataclass(frozen=True)
class AirMesh:
    """Nodes of a meridian polygon, from the neck (or the axis) to the rim.

    Parameters
    ----------
    parameter : ndarray, shape (nodes,)
        The meridian's own parameter u at the nodes, rising; elements are traversed linearly in u.
    radius_m, height_m : ndarray, shape (nodes,)
        Mid-surface, m. A radius of 0 at an end closes the shell at the axis there.
    """

    parameter: FloatArray
    radius_m: FloatArray
    height_m: FloatArray

    def __post_init__(self) -> None:
        shape = self.parameter.shape
        if len(shape) != 1 or shape[0] < 4 or self.radius_m.shape != shape or self.height_m.shape != shape:
            raise ParameterError(
                "parameter, radius_m and height_m must be equally long rows of at least 4 nodes "
                f"(got shapes {shape}, {self.radius_m.shape}, {self.height_m.shape})"
            )
        if np.any(np.diff(self.parameter) <= 0.0):
            raise ParameterError("parameter must rise from node to node; sort the nodes from neck to rim")
        if np.any(self.radius_m[1:-1] <= 0.0) or np.any(self.radius_m < 0.0):
            raise ParameterError("radius_m must be positive (the first and last node may lie on the axis, at 0)")

    @property
    def closed(self) -> bool:
        """Whether the shell is closed at the axis."""
        return bool(self.radius_m[0] == 0.0)

    @property
    def closed_at_end(self) -> bool:
        """Whether the last node lies on the axis too: a shell all round, such as a sphere."""
        return bool(self.radius_m[-1] == 0.0)

    @property
    def scale_m(self) -> float:
        """The largest radius, m: the length by which matrices are made dimensionless."""
        return float(np.max(self.radius_m))


def graded_parameter(
    elements: int, *, start_free: bool = True, stop_free: bool = True, power: float = 2.5
) -> FloatArray:
    """Return ``elements`` + 1 values from 0 to 1, gathered towards the free ends.

    Near a free edge the pressure jump goes as √distance; elements that shrink as distance^(1 − 1/power)
    restore the convergence (h² in the added mass from power 2 on).

    Parameters
    ----------
    elements : int
        At least 2.
    start_free, stop_free : bool
        Which ends are free edges.
    power : float
        Grading, ≥ 1.

    Returns
    -------
    ndarray, shape (elements + 1,)

    Examples
    --------
    >>> graded_parameter(4, start_free=False, power=2.0)
    array([0.    , 0.4375, 0.75  , 0.9375, 1.    ])
    """
    x = np.linspace(0.0, 1.0, elements + 1)
    if start_free and stop_free:
        out = np.where(x < 0.5, 0.5 * (2.0 * x) ** power, 1.0 - 0.5 * (2.0 - 2.0 * x) ** power)
    elif start_free:
        out = x**power
    elif stop_free:
        out = 1.0 - (1.0 - x) ** power
    else:
        out = x
    out[0], out[-1] = 0.0, 1.0
    return np.asarray(out)


def air_mesh(curve: Curve, *, elements: int = ELEMENTS, breaks: Sequence[float] = (), power: float = 2.5) -> AirMesh:
    """Mesh a meridian given as a curve over u in [0, 1].

    Parameters
    ----------
    curve : callable
        u (n,) -> (radius_m (n,), height_m (n,)); radius 0 at u = 0 means closed at the axis.
    elements : int
        Total number, shared among the pieces by their length.
    breaks : sequence of float
        Corners in (0, 1) that must be nodes (the edge of a flat cap).
    power : float
        Grading towards free edges.

    Returns
    -------
    AirMesh

    Raises
    ------
    ParameterError
        If the pieces cannot be meshed.
    """
    ends = np.array([0.0, *sorted(breaks), 1.0])
    if np.any(np.diff(ends) <= 0.0):
        raise ParameterError(f"breaks must lie strictly between 0 and 1, without repeats (got {list(breaks)})")
    radius, _ = curve(np.array([0.0]))
    start_free = bool(radius[0] > 0.0)
    lengths = [_length(curve, a, b) for a, b in pairwise(ends)]
    pieces = []
    last = len(lengths) - 1
    for i, (a, b) in enumerate(pairwise(ends)):
        count = max(4, round(elements * lengths[i] / sum(lengths)))
        piece = graded_parameter(count, start_free=start_free and i == 0, stop_free=i == last, power=power)
        pieces.append(a + (b - a) * (piece if i == 0 else piece[1:]))
    parameter = np.concatenate(pieces)
    radius, height = curve(parameter)
    return AirMesh(parameter, np.asarray(radius, dtype=np.float64), np.asarray(height, dtype=np.float64))


def _length(curve: Curve, start: float, stop: float) -> float:
    radius, height = curve(np.linspace(start, stop, 33))
    return float(np.sum(np.hypot(np.diff(radius), np.diff(height))))
