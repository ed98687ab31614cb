"""Least-squares fit of decaying sinusoids to a record, and how far noise moves it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.fft
import scipy.linalg
from numpy.typing import NDArray

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

RELATIVE_DEPTH = 1e-9  # directions of the poles that move the record by less than this share of the strongest are left
SETTLED = 0.97  # a step that leaves more than this share of the squared residual was the last one needed
BLOCK = 16
LARGEST_EXPONENT = 600.0  # a growing pole's amplitude at the first sample is nought long before
FURTHEST = 0.3  # a step moves no pole by more than this share of its decay rate


@dataclass(frozen=True)
class DecayFit:
    """Poles and amplitudes of ``samples[n] = Σ 2 Re(amplitude · exp(pole · n))``.

    ``pole`` is log z per sample, one of each conjugate pair (a real pole counts once, with half its amplitude);
    ``pole_sd`` holds the standard deviation of its real and of its imaginary part; ``residual`` is what is left.
    """

    pole: Complex
    amplitude: Complex
    residual: Real
    pole_sd: Complex


def autocovariance(noise: Real, lags: int) -> Real:
    """Return the autocovariance of a stretch of noise, non-negative as a Toeplitz matrix.

    Parameters
    ----------
    noise : ndarray, shape (m,)
        Noise alone; its mean is not taken out.
    lags : int
        Number of lags wanted, from 0.

    Returns
    -------
    ndarray, shape (lags,)
        Square units of ``noise``; biased form under a Bartlett taper of a quarter of the stretch, beyond which lags
        are mere chance and set to 0.
    """
    size = scipy.fft.next_fast_len(2 * noise.size, real=True)
    power = np.abs(scipy.fft.rfft(noise, size)) ** 2
    lagged = scipy.fft.irfft(power, size)[: min(lags, noise.size)] / noise.size
    reach = max(noise.size // 4, 1)
    out = np.zeros(lags)
    out[: lagged.size] = lagged * np.maximum(1.0 - np.arange(lagged.size) / reach, 0.0)
    return out


def fit_decay(samples: Real, pole: Complex, covariance: Real, *, steps: int = 2) -> DecayFit:
    """Fit amplitudes, improve the poles, and let the noise through.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The record.
    pole : ndarray, shape (k,)
        First poles, log z per sample, Im >= 0; 2k at most n/2.
    covariance : ndarray, shape (n,)
        Autocovariance of the noise; what the fit leaves beyond its power is added as white noise.
    steps : int
        Most steps; a step that does not lower what is left is not taken and ends the search.

    Returns
    -------
    DecayFit
        With deviations to first order: P R Pᵀ, P the pseudo-inverse of the record's Jacobian with respect to the poles
        after the amplitudes are projected out, R the noise's Toeplitz matrix. For white noise this is the
        Cramér–Rao bound.

    References
    ----------
    G. H. Golub, V. Pereyra, SIAM J. Numer. Anal. 10 (1973) 413 (variable projection), in L. Kaufman's short form
    (BIT 15 (1975) 49); S. M. Kay, Fundamentals of Statistical Signal Processing, vol. 1 (1993), chapter 3.
    """
    now = _Projection(samples, pole)
    for _ in range(steps):
        trial = _Projection(samples, now.stepped())
        if not trial.left < now.left:
            break
        settled = trial.left > SETTLED * now.left
        now = trial
        if settled:
            break
    freedom = max(samples.size - 4 * pole.size, samples.size // 4)
    surplus = max(now.left / freedom - float(covariance[0]), 0.0)
    lagged = covariance.copy()
    lagged[0] += surplus
    return DecayFit(now.pole, now.amplitude, now.residual, now.deviation(lagged))


class _Projection:
    """The record's Jacobian with respect to the poles, with every choice of amplitudes projected out."""

    def __init__(self, samples: Real, pole: Complex) -> None:
        self.pole = pole
        self.oscillates = pole.imag > 0.0
        self.samples = samples
        self.powers = _powers(pole, samples.size)
        basis = self._real_columns(self.powers)
        self.orthogonal, triangle = np.linalg.qr(basis)
        self.weight = self.orthogonal.T @ samples
        self.triangle = triangle
        self.residual = samples - self.orthogonal @ self.weight
        self.left = float(self.residual @ self.residual)

    @cached_property
    def scaled(self) -> Complex:
        """Amplitudes as the columns are scaled: growing ones at the end of the record."""
        return self._complex(self._solve(self.triangle, self.weight))

    @property
    def amplitude(self) -> Complex:
        """Amplitudes at the first sample."""
        growth = np.minimum(self.pole.real * (self.samples.size - 1), LARGEST_EXPONENT)
        return np.asarray(self.scaled / np.maximum(np.exp(growth), 1.0))

    @cached_property
    def tangent(self) -> _Tangent:
        """What a step and its deviation need; not asked of a trial that is not taken."""
        slopes = self._real_columns(self.scaled * self.powers * np.arange(self.samples.size)[:, None])
        slopes -= self.orthogonal @ (self.orthogonal.T @ slopes)
        scale = np.linalg.norm(slopes, axis=0)
        scale = np.where(scale > 0.0, scale, 1.0)
        left, values, right = np.linalg.svd(slopes / scale, full_matrices=False)
        kept = values > RELATIVE_DEPTH * max(float(values[0]), np.finfo(float).tiny)
        return _Tangent(left[:, kept], right[kept].T / values[kept], scale)

    def _real_columns(self, columns: Complex) -> Real:
        return np.asarray(2.0 * np.hstack([columns.real, -columns[:, self.oscillates].imag]))

    @staticmethod
    def _solve(triangle: Real, right: Real) -> Real:
        diagonal = np.abs(np.diag(triangle))
        if diagonal.min() > 1e-13 * diagonal.max():
            return np.asarray(scipy.linalg.solve_triangular(triangle, right))
        return np.asarray(np.linalg.lstsq(triangle, right, rcond=1e-13)[0])

    def _complex(self, parameters: Real) -> Complex:
        out = parameters[: self.pole.size].astype(np.complex128)
        out[self.oscillates] += 1j * parameters[self.pole.size :]
        return out

    def stepped(self) -> Complex:
        """Return the poles after one Gauss–Newton step."""
        at = self.tangent
        step = self._complex(at.spread @ (at.directions.T @ self.residual) / at.scale)
        reach = FURTHEST * np.abs(self.pole.real)
        size = np.maximum(np.abs(step), np.finfo(float).tiny)
        moved = self.pole + step * np.minimum(1.0, reach / size)
        return np.asarray(np.where(self.oscillates, moved.real + 1j * np.maximum(moved.imag, 1e-9), moved.real))

    def deviation(self, covariance: Real) -> Complex:
        """Return the standard deviations of both parts of the poles under noise of this autocovariance."""
        at = self.tangent
        inner = at.directions.T @ _toeplitz_times(covariance, at.directions)
        variance = np.sum((at.spread @ inner) * at.spread, axis=1)
        return self._complex(np.sqrt(np.maximum(variance, 0.0)) / at.scale)


@dataclass(frozen=True)
class _Tangent:
    """Orthonormal directions of the record that poles move it in, and back from them to poles."""

    directions: Real
    spread: Real
    scale: Real


def _powers(pole: Complex, count: int) -> Complex:
    """Return z**n, n along the first axis; of growing poles z**(n - last), so that nothing overflows."""
    coarse = np.arange(0, count, BLOCK)[:, None]
    last = np.where(pole.real > 0.0, float(count - 1), 0.0)
    bent = pole.real * (coarse - last) + 1j * pole.imag * coarse
    table = np.exp(bent)[:, None, :] * np.exp(pole * np.arange(BLOCK)[:, None])[None, :, :]
    return np.asarray(table.reshape(-1, pole.size)[:count])


def _toeplitz_times(covariance: Real, columns: Real) -> Real:
    """Return the product of a symmetric Toeplitz matrix, given by its first column, with columns."""
    size = scipy.fft.next_fast_len(2 * covariance.size, real=True)
    ring = np.zeros(size)
    ring[: covariance.size] = covariance
    ring[size - covariance.size + 1 :] = covariance[:0:-1]
    power = scipy.fft.rfft(ring).real[:, None]
    return np.asarray(scipy.fft.irfft(power * scipy.fft.rfft(columns, size, axis=0), size, axis=0)[: covariance.size])
