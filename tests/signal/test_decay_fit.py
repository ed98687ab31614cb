"""Least-squares decays, held against the closed form and against what repeated noise really does."""

from __future__ import annotations

import numpy as np

from frusta.signal.decay_fit import autocovariance, fit_decay

POLE = np.array([-0.010 + 0.30j, -0.014 + 0.41j, -0.02 + 0.0j])
AMPLITUDE = np.array([1.0 + 0.5j, -0.4 + 0.3j, 0.6 + 0.0j])
SIZE = 220


def _clean() -> np.ndarray:
    return np.sum(2.0 * np.real(AMPLITUDE * np.exp(POLE[None, :] * np.arange(SIZE)[:, None])), axis=1)


def test_improves_wrong_first_poles_to_the_exact_ones() -> None:
    # oracle: closed form, no noise: Gauss–Newton must converge quadratically
    start = POLE + np.array([0.0008 - 0.0010j, -0.0006 + 0.0008j, 0.0007])
    fit = fit_decay(_clean(), start, np.zeros(SIZE), steps=8)
    np.testing.assert_allclose(fit.pole, POLE, rtol=0, atol=1e-9)
    np.testing.assert_allclose(fit.amplitude, AMPLITUDE, rtol=0, atol=1e-7)
    assert np.max(np.abs(fit.residual)) < 1e-7


def test_deviation_is_the_scatter_of_repeated_noise() -> None:
    # oracle: 400 repeats with coloured noise (moving average of known autocovariance); a standard deviation from 400 is
    # known to 3.5 %, so 12 % is 3.4 of these
    rng = np.random.default_rng(7)
    kernel = np.array([0.5, 1.0, 0.5]) * 1e-3
    covariance = np.zeros(SIZE)
    covariance[:3] = np.correlate(kernel, kernel, "full")[2:]
    found, stated = [], []
    for _ in range(400):
        noise = np.convolve(rng.standard_normal(SIZE + 2), kernel, "valid")
        fit = fit_decay(_clean() + noise, POLE, covariance, steps=1)
        found.append(fit.pole)
        stated.append(fit.pole_sd)
    scatter = np.array(found)
    mean = np.mean(stated, axis=0)
    np.testing.assert_allclose(mean.real, scatter.real.std(axis=0), rtol=0.12)
    np.testing.assert_allclose(mean.imag[:2], scatter.imag[:, :2].std(axis=0), rtol=0.12)


def test_white_noise_reaches_the_cramer_rao_bound() -> None:
    # oracle: the Fisher matrix of all parameters together, by finite differences of the samples
    def samples(p: np.ndarray) -> np.ndarray:
        pole, amplitude = p[:2] + 1j * p[2:4], p[4:6] + 1j * p[6:8]
        return np.sum(2.0 * np.real(amplitude * np.exp(pole[None, :] * np.arange(SIZE)[:, None])), axis=1)

    p = np.concatenate([POLE[:2].real, POLE[:2].imag, AMPLITUDE[:2].real, AMPLITUDE[:2].imag])
    step = 1e-6
    jacobian = np.array([(samples(p + step * e) - samples(p - step * e)) / (2 * step) for e in np.eye(8)]).T
    sd = 1e-3
    bound = sd * np.sqrt(np.diag(np.linalg.inv(jacobian.T @ jacobian)))
    white = np.zeros(SIZE)
    white[0] = sd**2
    fit = fit_decay(samples(p), POLE[:2], white, steps=0)
    np.testing.assert_allclose(fit.pole_sd.real, bound[:2], rtol=1e-5)
    np.testing.assert_allclose(fit.pole_sd.imag, bound[2:4], rtol=1e-5)


def test_what_is_left_beyond_the_noise_counts() -> None:
    # oracle: twice the noise that was announced must give twice the deviation
    rng = np.random.default_rng(2)
    noise = rng.standard_normal(SIZE)
    none = fit_decay(_clean() + 1e-3 * noise, POLE, np.zeros(SIZE))
    more = fit_decay(_clean() + 2e-3 * noise, POLE, np.zeros(SIZE))
    np.testing.assert_allclose(np.abs(more.pole_sd), 2.0 * np.abs(none.pole_sd), rtol=0.02)


def test_autocovariance_is_that_of_the_process() -> None:
    # oracle: closed form of a moving average; 200 000 samples know it to about 1 %
    noise = np.convolve(np.random.default_rng(3).standard_normal(200_002), [1.0, 2.0, 1.0], "valid")
    found = autocovariance(noise, 6)
    np.testing.assert_allclose(found, [6.0, 4.0, 1.0, 0.0, 0.0, 0.0], atol=0.08)
    assert np.linalg.eigvalsh(np.array([[found[abs(i - j)] for j in range(6)] for i in range(6)])).min() >= 0.0
