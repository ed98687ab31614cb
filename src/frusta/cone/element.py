"""The quadratic solid of revolution: a nine-node quadrilateral with Fourier order n around the axis.

Displacements are u_r = U cos nθ, u_z = W cos nθ, u_θ = V sin nθ. All matrices of every order are sums of
one table per element: the products of ∂N/∂r, ∂N/∂z and N/r, integrated over the cross-section.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from frusta.cone.elasticity import ORTHOTROPIC

Floats = NDArray[np.float64]

NODES = 9
PLACES = np.array([-1.0, 0.0, 1.0])
"""Reference places of the nodes: station by station along the meridian, three through the wall at each."""


def _lagrange(place: Floats) -> tuple[Floats, Floats]:
    """The three quadratics of one direction and their derivatives, each (points, 3)."""
    x = place
    values = np.stack([0.5 * x * (x - 1.0), 1.0 - x**2, 0.5 * x * (x + 1.0)], axis=-1)
    slopes = np.stack([x - 0.5, -2.0 * x, x + 0.5], axis=-1)
    return values, slopes


def shape_functions(along: Floats, across: Floats) -> tuple[Floats, Floats]:
    """Return the nine biquadratic shape functions and their derivatives in the reference square.

    Parameters
    ----------
    along, across : ndarray (points,)
        Places from −1 to 1 along the meridian and through the wall.

    Returns
    -------
    values : ndarray (points, 9)
    gradients : ndarray (points, 2, 9)
        Along, across.
    """
    (a, da), (b, db) = _lagrange(along), _lagrange(across)

    def product(first: Floats, second: Floats) -> Floats:
        return (first[:, :, None] * second[:, None, :]).reshape(-1, NODES)

    return product(a, b), np.stack([product(da, b), product(a, db)], axis=1)


@lru_cache(maxsize=1)
def _gauss() -> tuple[Floats, Floats, Floats]:
    """Shape functions (9, 9), reference gradients (9, 2, 9) and weights (9,) of the 3 × 3 Gauss rule."""
    point, weight = np.polynomial.legendre.leggauss(3)
    along, across = np.repeat(point, 3), np.tile(point, 3)
    values, gradients = shape_functions(along, across)
    return values, gradients, np.outer(weight, weight).ravel()


@dataclass(frozen=True)
class Quadrature:
    """Everything the integrals over a row of elements need, at its Gauss points.

    Parameters
    ----------
    operators : ndarray (elements, 9 points, 3, 9 nodes)
        ∂N/∂r, ∂N/∂z and N/r.
    values : ndarray (9 points, 9 nodes)
        Shape functions.
    weights : ndarray (elements, 9)
        Gauss weight × determinant × radius; times 2π (order 0) or π it integrates over the body.
    """

    operators: Floats
    values: Floats
    weights: Floats


def quadrature(nodes_m: Floats) -> Quadrature:
    """Return the quadrature of a row of elements.

    Parameters
    ----------
    nodes_m : ndarray (elements, 9, 2)
        Radius and height of every element's nodes, in the order of `PLACES`, m.
    """
    values, reference, weight = _gauss()
    jacobian = reference.reshape(18, NODES) @ nodes_m  # (elements, 18, 2)
    j = jacobian.reshape(-1, 9, 2, 2)
    determinant = j[..., 0, 0] * j[..., 1, 1] - j[..., 0, 1] * j[..., 1, 0]
    radius = nodes_m[..., 0] @ values.T
    inverse = np.empty_like(j)  # rows r, z; columns along, across
    inverse[..., 0, 0], inverse[..., 0, 1] = j[..., 1, 1], -j[..., 0, 1]
    inverse[..., 1, 0], inverse[..., 1, 1] = -j[..., 1, 0], j[..., 0, 0]
    inverse /= determinant[..., None, None]
    operators = np.empty((nodes_m.shape[0], 9, 3, NODES))
    operators[..., :2, :] = inverse @ reference
    operators[..., 2, :] = values / radius[..., None]
    return Quadrature(operators, values, weight * np.abs(determinant) * radius)


@lru_cache(maxsize=32)
def strain_table(order: int) -> Floats:
    """Return strain = table · (operator applied to component), shape (6 strains, 3 operators, components).

    Strains rr, θθ, zz, θz, rz, rθ (engineering shear); components U, W and, from order 1 on, V.
    """
    table = np.zeros((6, 3, 3))
    table[0, 0, 0] = 1.0
    table[1, 2, 0], table[1, 2, 2] = 1.0, order
    table[2, 1, 1] = 1.0
    table[3, 1, 2], table[3, 2, 1] = 1.0, -order
    table[4, 1, 0], table[4, 0, 1] = 1.0, 1.0
    table[5, 0, 2], table[5, 2, 2], table[5, 2, 0] = 1.0, -1.0, -order
    return table[:, :, : components(order)]


STRAIN_PAIRS = ((0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2), (3, 3), (4, 4), (5, 5))
"""The strains that each of the nine orthotropic constants couples, in the order of `ORTHOTROPIC`."""


def components(order: int) -> int:
    """Number of displacement components: 2 without torsion (order 0), else 3."""
    return 2 if order == 0 else 3


def turn(order: int) -> float:
    """Integral of cos² nθ (or sin²) over the turn: 2π or π."""
    return 2.0 * np.pi if order == 0 else np.pi


def stiffness_parts(points: Quadrature, order: int, combination: Floats) -> Floats:
    """Return element stiffness per constant, shape (parts, elements, 9c, 9c), c components.

    Parameters
    ----------
    points : Quadrature
    order : int
        Fourier order n ≥ 0.
    combination : ndarray (parts, 9)
        Each part as a sum over the constants of `ORTHOTROPIC`; the stiffness is Σ constant × part.
    """
    elements, size = points.operators.shape[0], components(order)
    stacked = points.operators.reshape(elements, 9, 3 * NODES)
    weighted = stacked * (turn(order) * points.weights)[..., None]
    products = np.matmul(weighted.transpose(0, 2, 1), stacked).reshape(elements, 3, NODES, 3, NODES)
    rules = (combination @ _pair_rules(order)).reshape(-1, 9, size * size)
    flat = products.transpose(0, 2, 4, 1, 3).reshape(-1, 9)
    parts = flat @ rules  # (parts, elements·9·9, c·c)
    shape = (len(rules), elements, NODES, NODES, size, size)
    ordered = parts.reshape(shape).transpose(0, 1, 2, 4, 3, 5)
    return np.asarray(ordered.reshape(-1, elements, NODES * size, NODES * size))


@lru_cache(maxsize=32)
def _pair_rules(order: int) -> Floats:
    """For each orthotropic constant: weights of (operator, operator, component, component), flat."""
    table = strain_table(order)
    rules = []
    for p, q in STRAIN_PAIRS:
        rule = np.einsum("ac,bd->abcd", table[p], table[q])
        rules.append(rule if p == q else rule + np.einsum("ac,bd->abcd", table[q], table[p]))
    return np.array(rules).reshape(len(ORTHOTROPIC), -1)


def mass_matrices(points: Quadrature, order: int) -> Floats:
    """Return element mass per unit density, shape (elements, 9c, 9c)."""
    size = components(order)
    weighted = points.values.T * (turn(order) * points.weights)[:, None, :]
    scalar = weighted @ points.values
    full = np.einsum("eij,cd->eicjd", scalar, np.eye(size))
    return np.asarray(full.reshape(-1, NODES * size, NODES * size))
