"""Symmetric banded matrices: the storage and the few operations that the structure needs."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import blas, lapack

from frusta.errors import ParameterError

Floats = NDArray[np.float64]


def assemble(blocks: Floats, overlap: int) -> Floats:
    """Return the lower band of a chain of square blocks, each overlapping the next.

    Parameters
    ----------
    blocks : ndarray (..., blocks, size, size)
        Symmetric blocks along the diagonal.
    overlap : int
        Rows that a block shares with the next one; at most half of a block.

    Returns
    -------
    ndarray (..., size, unknowns)
        Row k holds the k-th subdiagonal, as LAPACK's lower band storage.
    """
    *lead, count, size, _ = blocks.shape
    step = size - overlap
    column = np.arange(size)
    row = column[None, :] + column[:, None]  # subdiagonal k, column j -> row j + k
    inside = row < size
    local = blocks[..., np.minimum(row, size - 1), column[None, :]] * inside  # (..., count, size, size)
    local = np.moveaxis(local, -3, -2)  # (..., k, count, j)
    band = np.zeros((*lead, size, count + 1, step))
    band[..., :count, :] = local[..., :step]
    band[..., 1:, :overlap] += local[..., step:]
    return band.reshape(*lead, size, -1)[..., : count * step + overlap]


def multiply(band: Floats, vector: Floats) -> Floats:
    """Return the product with a vector (lower band, shape (width, n))."""
    result: Floats = blas.dsbmv(band.shape[0] - 1, 1.0, band, vector, lower=1)
    return result


def factor(band: Floats) -> Floats:
    """Return the banded Cholesky factor.

    Raises
    ------
    ParameterError
        If the matrix is not positive definite.
    """
    result, info = lapack.dpbtrf(band, lower=1)
    if info != 0:
        raise ParameterError(
            f"the banded matrix must be positive definite (minor {info} is not); hold the body or raise the shift"
        )
    return np.asarray(result)


def solve(factored: Floats, right: Floats) -> Floats:
    """Return the solution for one (n,) or several (n, columns) right-hand sides."""
    result: Any = lapack.dpbtrs(factored, right, lower=1)[0]
    return np.asarray(result).reshape(right.shape)


def to_dense(band: NDArray[Any]) -> NDArray[Any]:
    """Return the full symmetric matrix."""
    width, size = band.shape
    dense = np.zeros((size, size), dtype=band.dtype)
    for k in range(width):
        index = np.arange(size - k)
        dense[index + k, index] = band[k, : size - k]
        dense[index, index + k] = band[k, : size - k]
    return dense
