"""How far noise moves the poles of a fitted decay."""

from __future__ import annotations

import numpy as np
import scipy.fft
import scipy.linalg
from numpy.typing import NDArray

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]

RELATIVE_DEPTH = 1e-10  # singular values of the Jacobian under this share of the largest carry no information


def autocovariance(noise: Real, lags: int) -> Real:
    """Return the biased autocovariance of a stretch of noise.

    Parameters
    ----------
    noise : ndarray, shape (m,)
        Noise alone; its mean is not taken out.
    lags : int
        Number of lags wanted, from 0; those beyond a quarter of the stretch are 0, being mere chance.

    Returns
    -------
    ndarray, shape (lags,)
        Square units of ``noise``. The biased form makes its Toeplitz matrix non-negative.
    """
    size = scipy.fft.next_fast_len(2 * noise.size, real=True)
    power = np.abs(scipy.fft.rfft(noise, size)) ** 2
    lagged = scipy.fft.irfft(power, size)[: min(lags, noise.size)] / noise.size
    reach = max(noise.size // 4, 1)
    taper = np.maximum(1.0 - np.arange(lagged.size) / reach, 0.0)  # Bartlett, keeps the matrix non-negative
    out = np.zeros(lags)
    out[: lagged.size] = lagged * taper
    return out


def pole_deviation(poles: Complex, amplitude: Complex, covariance: Real, size: int) -> tuple[Complex, Real]:
    """Return the standard deviations that noise gives to least-squares poles and amplitudes.

    Parameters
    ----------
    poles : ndarray, shape (k,)
        One z of each conjugate pair; the samples are the sum of ``2 Re(amplitude * z**n)``.
    amplitude : ndarray, shape (k,)
        Their complex amplitudes at n = 0.
    covariance : ndarray, shape (size,)
        Autocovariance of the noise.
    size : int
        Number of samples.

    Returns
    -------
    pole_sd : ndarray, shape (k,), complex
        Standard deviation of the real and of the imaginary part of log z, per sample.
    amplitude_sd : ndarray, shape (k,)
        Root sum of squares of the deviations of both parts of the amplitude.

    Notes
    -----
    First order: (JᵀJ)⁻¹Jᵀ R J(JᵀJ)⁻¹ with the Jacobian J of the samples with respect to all poles and amplitudes
    together and the noise's Toeplitz matrix R. For white noise this is the Cramér–Rao bound
    (S. M. Kay, Fundamentals of Statistical Signal Processing, vol. 1, 1993, chapter 3).
    """
    count = np.arange(size)[:, None]
    powers = poles[None, :] ** count
    slopes = amplitude[None, :] * powers * count
    jacobian = 2.0 * np.hstack([slopes.real, -slopes.imag, powers.real, -powers.imag])
    scale = np.linalg.norm(jacobian, axis=0)
    scale[scale == 0.0] = 1.0
    left, values, right = np.linalg.svd(jacobian / scale, full_matrices=False)
    kept = values > RELATIVE_DEPTH * values[0]
    noise = scipy.linalg.matmul_toeplitz(covariance, left[:, kept])
    inner = left[:, kept].T @ noise
    spread = right[kept].T / values[kept]
    variance = np.maximum(np.einsum("ij,jk,ik->i", spread, inner, spread), 0.0) / scale**2
    real, imaginary, amplitude_real, amplitude_imaginary = np.sqrt(variance).reshape(4, poles.size)
    return real + 1j * imaginary, np.hypot(amplitude_real, amplitude_imaginary)
