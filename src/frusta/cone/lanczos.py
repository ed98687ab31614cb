"""The lowest eigenpairs of a banded pencil K x = λ M x, by shift-and-invert Lanczos."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import eigh_tridiagonal

from frusta.cone import banded
from frusta.errors import ParameterError

Floats = NDArray[np.float64]

_TOLERANCE = 1e-7  # of the vector; the eigenvalue's error is its square
_MARGIN = 3


def lowest_eigenpairs(stiffness: Floats, mass: Floats, shift: float, count: int) -> tuple[Floats, Floats]:
    """Return the lowest eigenvalues and mass-normalised vectors of a banded pencil.

    Parameters
    ----------
    stiffness, mass : ndarray (width, n)
        Lower bands; stiffness + shift·mass must be positive definite, mass positive semi-definite.
    shift : float
        > 0 where the body is free to move as a whole; of the order of the lowest eigenvalues.
    count : int
        Number of pairs.

    Returns
    -------
    values : ndarray (count,)
        Ascending; a rigid motion reads 0 within about 1e-13 of `shift`.
    vectors : ndarray (count, n)
        x M xᵀ = 1, one per row.

    Raises
    ------
    ParameterError
        If the pencil is not definite or there are fewer than `count` pairs.

    References
    ----------
    T. Ericsson, A. Ruhe, Math. Comp. 35, 1980, 1251; here with full reorthogonalisation (twice), which
    a chain of a few hundred unknowns affords, and a fixed start vector, so results repeat to the byte.
    """
    unknowns = stiffness.shape[1]
    mass = np.asfortranarray(mass)  # as BLAS reads it: no copy in every step
    factored = banded.factor(stiffness + shift * mass)
    limit = min(unknowns, 6 * count + 60)
    basis, massed = np.zeros((limit + 1, unknowns)), np.zeros((limit + 1, unknowns))
    diagonal, below = np.zeros(limit), np.zeros(limit)
    vector = banded.solve(factored, banded.multiply(mass, _start(unknowns)))
    target = banded.multiply(mass, vector)
    size = float(np.sqrt(vector @ target))
    check = 2 * count + _MARGIN
    for step in range(limit):
        basis[step], massed[step] = vector / size, target / size
        vector = banded.solve(factored, massed[step])
        along = massed[: step + 1] @ vector
        vector -= along @ basis[: step + 1]
        again = massed[: step + 1] @ vector
        vector -= again @ basis[: step + 1]
        target = banded.multiply(mass, vector)
        diagonal[step] = along[step] + again[step]
        size = float(np.sqrt(max(float(vector @ target), 0.0)))
        below[step] = size
        exhausted = size <= 1e-14 * diagonal[0]
        if step + 1 >= min(check, limit) or exhausted:
            theta, local = eigh_tridiagonal(diagonal[: step + 1], below[:step], lapack_driver="stev")
            best = np.arange(step, max(step - count, -1), -1)
            residual = size * np.abs(local[-1, best])
            if len(best) == count and (exhausted or bool(np.all(residual <= _TOLERANCE * theta[best]))):
                return np.asarray(1.0 / theta[best] - shift), np.asarray(local[:, best].T @ basis[: step + 1])
            if exhausted:
                break
            check = step + 1 + max(4, count // 3)
    raise ParameterError(
        f"count must not exceed what the mesh can carry (asked {count} modes of {unknowns} unknowns); refine it"
    )


def _start(unknowns: int) -> Floats:
    """A fixed vector that is rich in every mode: the golden ratio's equidistributed fractions."""
    return np.asarray(np.modf(np.arange(1, unknowns + 1) * 0.6180339887498949)[0] - 0.5)
