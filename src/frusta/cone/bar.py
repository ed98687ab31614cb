"""A free bar in bending, as a tapped stick rings: shear and rotary inertia included."""

from __future__ import annotations

from math import isfinite

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray
from scipy.linalg import eigh

from frusta.errors import ParameterError

Floats = NDArray[np.float64]

_TERMS = 24  # Legendre polynomials per field: six modes to 1e-9


def bar_frequencies_hz(
    modulus_pa: float,
    shear_pa: float,
    density_kg_m3: float,
    length_m: float,
    thickness_m: float,
    count: int = 3,
    poisson: float = 0.36,
) -> Floats:
    """Return the bending frequencies of a free rectangular bar.

    Parameters
    ----------
    modulus_pa : float
        Young's modulus along the bar: across the layers for a stick printed upright, within them printed flat.
    shear_pa : float
        Shear modulus between length and thickness: the layers' for both.
    density_kg_m3, length_m, thickness_m : float
        The thickness is the dimension it bends in; its width does not matter.
    count : int
        How many, 1 to 6.
    poisson : float
        For the shear coefficient only.

    Returns
    -------
    ndarray, shape (count,)
        Hz, rising; the air, which lowers them by some 0.1 %, is left out.

    Raises
    ------
    ParameterError
        If a figure is not positive.

    References
    ----------
    S. P. Timoshenko, Phil. Mag. 41 (1921) 744; shear coefficient 10(1 + ν)/(12 + 11ν) of G. R. Cowper, J. Appl.
    Mech. 33 (1966) 335 (from memory). Solved by Rayleigh–Ritz in Legendre polynomials, which hold the free ends
    naturally.
    """
    figures = {
        "modulus_pa": modulus_pa,
        "shear_pa": shear_pa,
        "density_kg_m3": density_kg_m3,
        "length_m": length_m,
        "thickness_m": thickness_m,
    }
    for name, value in figures.items():
        if not (isfinite(value) and value > 0.0):
            raise ParameterError(f"{name} must be a positive number (got {value})")
    if not 1 <= count <= 6:
        raise ParameterError(f"count must be 1 to 6 (got {count})")
    coefficient = 10.0 * (1.0 + poisson) / (12.0 + 11.0 * poisson)
    # per unit of width, x in units of half the length
    half = 0.5 * length_m
    bending = modulus_pa * thickness_m**3 / 12.0 / half
    shear = coefficient * shear_pa * thickness_m * half
    node, weight = legendre.leggauss(2 * _TERMS)
    value = legendre.legvander(node, _TERMS - 1) * np.sqrt(np.arange(_TERMS) + 0.5)
    slope = np.stack([legendre.legval(node, legendre.legder(row)) for row in np.eye(_TERMS)], axis=1)
    slope = slope * np.sqrt(np.arange(_TERMS) + 0.5)
    gram = slope.T @ (weight[:, None] * slope)
    mixed = slope.T @ (weight[:, None] * value)
    stiffness = np.block(
        [
            [shear / half**2 * gram, -shear / half * mixed],
            [-shear / half * mixed.T, bending * gram + shear * np.eye(_TERMS)],
        ]
    )
    line = density_kg_m3 * thickness_m * half
    mass = np.concatenate([np.full(_TERMS, line), np.full(_TERMS, line * thickness_m**2 / 12.0)])
    squared = eigh(stiffness, np.diag(mass), eigvals_only=True, subset_by_index=(2, count + 1))
    return np.asarray(np.sqrt(squared) / (2.0 * np.pi))
