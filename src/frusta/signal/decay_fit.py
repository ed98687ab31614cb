"""Least-squares fit of decaying sinusoids to a record, and how far noise moves it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
import scipy.linalg
from numpy.typing import NDArray

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

RELATIVE_DEPTH = 1e-9  # directions of the poles that move the record by less than this share of the strongest are left
SETTLED = 0.97  # a step that leaves more than this share of the squared residual was the last one needed
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
        count = np.arange(samples.size)[:, None]
        powers = np.exp(pole[None, :] * count)
        powers /= np.maximum(np.abs(powers[-1]), 1.0)  # growing ones: amplitudes at the end of the record
        basis = self._real_columns(powers)
        orthogonal, triangle = np.linalg.qr(basis)
        weight = self._solve(triangle, orthogonal.T @ samples)
        self.residual = samples - orthogonal @ (orthogonal.T @ samples)
        self.left = float(self.residual @ self.residual)
        scaled = weight[: pole.size].astype(np.complex128)
        scaled[self.oscillates] += 1j * weight[pole.size :]
        self.amplitude = scaled / np.maximum(np.exp(pole.real * (samples.size - 1)), 1.0)
        slopes = self._real_columns(scaled[None, :] * powers * count)
        slopes -= orthogonal @ (orthogonal.T @ slopes)
        scale = np.linalg.norm(slopes, axis=0)
        self.scale = np.where(scale > 0.0, scale, 1.0)
        left, values, right = np.linalg.svd(slopes / self.scale, full_matrices=False)
        kept = values > RELATIVE_DEPTH * max(float(values[0]), np.finfo(float).tiny)
        self.directions, self.spread = left[:, kept], right[kept].T / values[kept]

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
        step = self._complex(self.spread @ (self.directions.T @ self.residual) / self.scale)
        reach = FURTHEST * np.abs(self.pole.real)
        size = np.maximum(np.abs(step), np.finfo(float).tiny)
        moved = self.pole + step * np.minimum(1.0, reach / size)
        return np.asarray(np.where(self.oscillates, moved.real + 1j * np.maximum(moved.imag, 1e-9), moved.real))

    def deviation(self, covariance: Real) -> Complex:
        """Return the standard deviations of both parts of the poles under noise of this autocovariance."""
        inner = self.directions.T @ scipy.linalg.matmul_toeplitz(covariance, self.directions)
        variance = np.einsum("ij,jk,ik->i", self.spread, inner, self.spread)
        return self._complex(np.sqrt(np.maximum(variance, 0.0)) / self.scale)
