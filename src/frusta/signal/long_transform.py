"""Real Fourier transforms of a whole take, as two passes of short ones.

A transform of some 10⁵ samples does not fit a processor's cache, and a library's one-dimensional routine works on it
one value at a time. Laid out as a table of n1 × n2 samples it becomes short transforms of all columns at once, a
turn of each value, and short transforms of all rows: the same sums in another order, three times as fast.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import fft

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
Singles = NDArray[np.float32]
SingleComplexes = NDArray[np.complex64]

SHORT = 1 << 15
"""Below, the plain transform is as fast."""

LOPSIDED = 8.0
"""A table more lopsided than this gains nothing."""


def long_rfft(signal: Floats, count: int) -> Complexes:
    """Return the transform of a real signal, as ``scipy.fft.rfft(signal, count)`` does.

    Parameters
    ----------
    signal : ndarray, shape (m,)
        Filled up with zeros, or cut, to ``count``.
    count : int
        Length of the transform, best a product of small primes.

    Returns
    -------
    ndarray, shape (count // 2 + 1,)

    References
    ----------
    W. M. Gentleman, G. Sande, Fast Fourier transforms for fun and profit, AFIPS Proc. 29 (1966) 563 (from memory);
    here for real samples, so that half of the rows follow from the others.
    """
    return np.asarray(_forward(np.asarray(signal, dtype=np.float64), count), dtype=np.complex128)


def long_rfft_single(signal: Singles, count: int) -> SingleComplexes:
    """Return `long_rfft` in single precision."""
    return np.asarray(_forward(signal, count), dtype=np.complex64)


def long_irfft(spectrum: Complexes, count: int) -> Floats:
    """Return the real signal of a spectrum, as ``scipy.fft.irfft(spectrum, count)`` does.

    Parameters
    ----------
    spectrum : ndarray, shape (count // 2 + 1,)
    count : int
        Length of the signal.

    Returns
    -------
    ndarray, shape (count,)
    """
    return np.asarray(_backward(spectrum, count), dtype=np.float64)


def long_irfft_single(spectrum: SingleComplexes, count: int) -> Singles:
    """Return `long_irfft` in single precision."""
    return np.asarray(_backward(spectrum, count), dtype=np.float32)


def _forward(signal: NDArray[Any], count: int) -> NDArray[Any]:
    table = _table(count)
    if table is None:
        return np.asarray(fft.rfft(signal, count))
    n1, n2 = table
    if signal.size < count:
        signal = np.concatenate([signal, np.zeros(count - signal.size, dtype=signal.dtype)])
    columns = fft.rfft(signal[:count].reshape(n1, n2), axis=0)
    columns *= _turns(n1, n2, -1, columns.dtype == np.complex64)
    rows = fft.fft(columns, axis=1, overwrite_x=True)  # rows[k1, k2] is value k1 + n1 k2 of the result
    half, needed = rows.shape[0], count // 2 // n1 + 1
    out = np.empty((needed, n1), dtype=rows.dtype)
    out[:, :half] = rows[:, :needed].T
    np.conjugate(rows[n1 - half : 0 : -1, ::-1][:, :needed].T, out=out[:, half:])
    return out.reshape(-1)[: count // 2 + 1]


def _backward(spectrum: NDArray[Any], count: int) -> NDArray[Any]:
    table = _table(count)
    if table is None:
        return np.asarray(fft.irfft(spectrum, count))
    n1, n2 = table
    half, needed = n1 // 2 + 1, count // 2 // n1 + 1
    held = np.empty(needed * n1, dtype=spectrum.dtype)
    held[: spectrum.size] = spectrum
    beyond = held.size - spectrum.size
    held[spectrum.size :] = spectrum[count - spectrum.size - beyond + 1 : count - spectrum.size + 1][::-1].conj()
    held[0] = held[0].real
    if count % 2 == 0:
        held[count // 2] = held[count // 2].real
    square = held.reshape(needed, n1)
    rows = np.empty((half, n2), dtype=spectrum.dtype)
    rows[:, :needed] = square[:, :half].T
    later = n2 - needed  # what lies above half the rate mirrors what lies below
    np.conjugate(square[later:0:-1, 0], out=rows[0, needed:])
    np.conjugate(square[:later][::-1, : n1 - half : -1].T, out=rows[1:, needed:])
    columns = fft.ifft(rows, axis=1, overwrite_x=True)
    columns *= _turns(n1, n2, 1, columns.dtype == np.complex64)
    return np.asarray(fft.irfft(columns, n1, axis=0)).reshape(-1)


@lru_cache(maxsize=64)
def _table(count: int) -> tuple[int, int] | None:
    """Rows and columns of the table, the squarest there is; None where a plain transform is better."""
    if count < SHORT:
        return None
    n1 = next(n for n in range(math.isqrt(count), 0, -1) if count % n == 0)
    return (n1, count // n1) if count < LOPSIDED * n1 * n1 else None


@lru_cache(maxsize=6)
def _turns(n1: int, n2: int, sign: int, single: bool) -> NDArray[Any]:
    """Return exp(±2πi k1 j2 / (n1 n2)), one row for each k1 up to n1 / 2; shared, so not writable."""
    turns = np.exp(np.outer(np.arange(n1 // 2 + 1), np.arange(n2)) * (2j * np.pi * sign / (n1 * n2)))
    out: NDArray[Any] = turns.astype(np.complex64) if single else turns
    out.flags.writeable = False
    return out
