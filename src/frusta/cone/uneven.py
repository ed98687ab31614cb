"""What an uneven wall couples: the n = 0 motions of a cone with its bell modes.

A thickness t(1 + ε cos nφ) leaves a share of every energy integral over the product of a motion of order 0 and one
of order n. To first order in ε, with the motions of the even wall (straight normals), membrane energy and inertia go
with the thickness, bending energy with its cube.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from frusta.cone.elasticity import Elastic
from frusta.cone.element import STRAIN_PAIRS, components, strain_table
from frusta.cone.structure import Structure
from frusta.cone.wall import layer_nodes
from frusta.errors import ParameterError

Floats = NDArray[np.float64]

_ACROSS = np.array([5.0, 8.0, 5.0]) / 18.0
"""Gauss weights through the wall, summing to 1."""
_MEMBRANE, _BENDING = 1.0, 3.0
_COUPLED = [i for i, (p, q) in enumerate(STRAIN_PAIRS) if p not in (3, 5) and q not in (3, 5)]
"""Constants whose strains go with cos nφ: torsion's have no partner in order 0."""


def uneven_coupling(
    even: Structure, even_vectors: Floats, bell: Structure, bell_vectors: Floats, material: Elastic
) -> tuple[Floats, Floats]:
    """Return stiffness (N/m) and mass (kg) between motions of order 0 and of order n, per unit of ε.

    Parameters
    ----------
    even, bell : Structure
        Of order 0 and n > 0, of one wall with one layer of elements.
    even_vectors : ndarray (a, unknowns)
    bell_vectors : ndarray (b, unknowns)
    material : Elastic

    Returns
    -------
    stiffness, mass : ndarray (a, b)

    Raises
    ------
    ParameterError
        If the orders or walls do not fit.
    """
    if even.order != 0 or bell.order == 0 or even.wall.layers != 1 or bell.wall.columns != even.wall.columns:
        raise ParameterError(
            "an uneven wall couples order 0 with an order n > 0 of the same wall, one layer of elements thick "
            f"(got orders {even.order} and {bell.order})"
        )
    first, first_place = _strains(even, even_vectors)
    second, second_place = _strains(bell, bell_vectors)
    weights = np.pi * even.points.weights
    nine = material.constants_pa() @ even.combination
    stiffness = np.zeros((len(first), len(second)))
    for share, a, b in zip((_MEMBRANE, _BENDING), _split(first), _split(second), strict=True):
        for i in _COUPLED:
            p, q = STRAIN_PAIRS[i]
            stiffness += share * nine[i] * _product(a[..., p] * weights, b[..., q])
            if p != q:
                stiffness += share * nine[i] * _product(a[..., q] * weights, b[..., p])
    mass = np.zeros_like(stiffness)
    for component in range(2):
        mass += material.density_kg_m3 * _product(first_place[..., component] * weights, second_place[..., component])
    return stiffness, mass


def _strains(structure: Structure, vectors: Floats) -> tuple[Floats, Floats]:
    """Strains (vectors, elements, points, 6) and displacements (vectors, elements, points, components)."""
    order = structure.order
    nodes = structure.displacements(vectors)[:, :, :, layer_nodes(1)]
    nodes = nodes.transpose(0, 1, 3, 2, 4, 5).reshape(len(nodes), -1, 9, components(order))
    gradient = np.einsum("egai,meic->megac", structure.points.operators, nodes, optimize=True)
    table = strain_table(order).reshape(6, -1)
    strain = gradient.reshape(*gradient.shape[:3], -1) @ table.T
    place = np.einsum("gi,meic->megc", structure.points.values, nodes, optimize=True)
    return np.asarray(strain), np.asarray(place)


def _split(strain: Floats) -> tuple[Floats, Floats]:
    """The mean through the wall, and what is left."""
    layered = strain.reshape(*strain.shape[:2], 3, 3, 6)
    mean = np.einsum("w,mealw->meal", _ACROSS, layered.transpose(0, 1, 2, 4, 3))[:, :, :, None]
    mean = np.broadcast_to(mean, layered.shape)
    return mean.reshape(strain.shape), (layered - mean).reshape(strain.shape)


def _product(first: Floats, second: Floats) -> Floats:
    return first.reshape(len(first), -1) @ second.reshape(len(second), -1).T
