"""What is known of a material: a mean and a covariance, whether earned from recordings or taken from a handbook.

Estimates produce it, forecasts consume it. The coordinates are natural logarithms of what is positive, and
the two Poisson ratios as they are, in the order of `COORDINATES`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from frusta.cone.elasticity import Elastic
from frusta.errors import ParameterError
from frusta.material import handbook

Floats = NDArray[np.float64]

COORDINATES = (
    "hoop_pa",
    "layer_shear_pa",
    "axial_pa",
    "poisson_plane",
    "poisson_axial",
    "density_kg_m3",
    "loss_factor",
)
"""Fields of `Elastic`, in the order of mean and covariance."""
LOGARITHMIC: NDArray[np.bool_] = np.array([not name.startswith("poisson") for name in COORDINATES])
FIGURES = ("hoop_modulus", "layer_shear_modulus", "axial_modulus", "loss_factor", "density")
"""What a material's row may call identified or assumed."""


@dataclass(frozen=True)
class PrintScatter:
    """Relative standard deviations from one print to the next of the same file.

    The defaults are assumed, from memory of what a well-kept printer holds.

    Parameters
    ----------
    modulus : float
        Of all moduli together, as bonding and flow move them.
    loss_factor : float
    density : float
    wall : float
        Of the wall's thickness.
    """

    modulus: float = 0.015
    loss_factor: float = 0.03
    density: float = 0.005
    wall: float = 0.01

    def __post_init__(self) -> None:
        for item in fields(self):
            value = getattr(self, item.name)
            if not (math.isfinite(value) and 0.0 <= value < 1.0):
                raise ParameterError(f"print scatter of {item.name} must lie in 0 to 1 (got {value})")


@dataclass(frozen=True)
class MaterialKnowledge:
    """One material × recipe.

    Parameters
    ----------
    material : str
    recipe : str or None
    mean : ndarray (7,)
        In the coordinates of `COORDINATES`: ln of SI values, Poisson ratios as they are. Of the filament.
    covariance : ndarray (7, 7)
        Of the mean: how well the filament is known, print scatter of the prints measured included in so far as
        it limits that.
    print_scatter : PrintScatter
        What one more print adds to it.
    identified, assumed : tuple of str
        Of `FIGURES`: what recordings told, and what a handbook did.
    notes : tuple of str
        Sentences for the reader.

    Raises
    ------
    ParameterError
        If shapes do not fit, or mean and covariance are no distribution of a solid.
    """

    material: str
    recipe: str | None
    mean: Floats
    covariance: Floats
    print_scatter: PrintScatter = field(default_factory=PrintScatter)
    identified: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        size = len(COORDINATES)
        if np.shape(self.mean) != (size,) or np.shape(self.covariance) != (size, size):
            raise ParameterError(
                f"mean and covariance must have shapes ({size},) and ({size}, {size}) "
                f"(got {np.shape(self.mean)} and {np.shape(self.covariance)})"
            )
        if not (np.all(np.isfinite(self.mean)) and np.all(np.isfinite(self.covariance))):
            raise ParameterError("mean and covariance must be finite numbers")
        if np.linalg.eigvalsh(self.covariance)[0] < -1e-9 * np.max(np.abs(self.covariance)):
            raise ParameterError("the covariance must be positive semi-definite")
        _ = self.elastic

    @property
    def elastic(self) -> Elastic:
        """The solid at the mean."""
        return elastic_at(self.mean)

    def standard_deviation(self, name: str) -> float:
        """Return the standard deviation of one coordinate; of a logarithm it is relative.

        Raises
        ------
        ParameterError
            If the name is none of `COORDINATES`.
        """
        if name not in COORDINATES:
            raise ParameterError(f"a coordinate must be one of {', '.join(COORDINATES)} (got {name!r})")
        i = COORDINATES.index(name)
        return float(math.sqrt(max(float(self.covariance[i, i]), 0.0)))

    def to_json(self) -> dict[str, Any]:
        """Return plain numbers and words, for `from_json`."""
        return {
            "material": self.material,
            "recipe": self.recipe,
            "mean": self.mean.tolist(),
            "covariance": self.covariance.tolist(),
            "print_scatter": {f.name: getattr(self.print_scatter, f.name) for f in fields(PrintScatter)},
            "identified": list(self.identified),
            "assumed": list(self.assumed),
            "notes": list(self.notes),
        }

    @classmethod
    def from_json(cls, stored: Mapping[str, Any]) -> MaterialKnowledge:
        """Return what `to_json` stored.

        Raises
        ------
        ParameterError
            If something is missing or is no distribution.
        """
        try:
            return cls(
                material=str(stored["material"]),
                recipe=None if stored["recipe"] is None else str(stored["recipe"]),
                mean=np.asarray(stored["mean"], dtype=np.float64),
                covariance=np.asarray(stored["covariance"], dtype=np.float64),
                print_scatter=PrintScatter(**stored["print_scatter"]),
                identified=tuple(stored["identified"]),
                assumed=tuple(stored["assumed"]),
                notes=tuple(stored["notes"]),
            )
        except (KeyError, TypeError, ValueError) as error:
            raise ParameterError(
                f"a material's stored knowledge must be complete ({error}); estimate it anew"
            ) from error


def coordinates_of(elastic: Elastic) -> Floats:
    """Return a solid's place in the coordinates of `COORDINATES`, shape (7,).

    Raises
    ------
    ParameterError
        If its loss factor is zero, which has no logarithm.
    """
    values = np.array([getattr(elastic, name) for name in COORDINATES])
    if elastic.loss_factor <= 0.0:
        raise ParameterError("loss_factor must be positive to be estimated or forecast from (got 0)")
    return np.where(LOGARITHMIC, np.log(np.where(LOGARITHMIC, values, 1.0)), values)


def elastic_at(coordinates: Floats) -> Elastic:
    """Return the solid at a place in the coordinates.

    Raises
    ------
    ParameterError
        If there is no such solid.
    """
    values = np.where(LOGARITHMIC, np.exp(np.where(LOGARITHMIC, coordinates, 0.0)), coordinates)
    return Elastic(**dict(zip(COORDINATES, values.tolist(), strict=True)))


def elastic_towards(mean: Floats, step: Floats) -> Elastic:
    """Return the solid at mean + step, the step shortened until there is such a solid.

    Wide priors reach past the edge of what conserves energy; the edge is then approached, never crossed.
    """
    share = 1.0
    for _ in range(40):
        try:
            return elastic_at(mean + share * step)
        except ParameterError:
            share *= 0.85
    return elastic_at(mean)


def handbook_knowledge(
    material: str,
    recipe: str | None = None,
    polymer: str | None = None,
    density_kg_m3: float | None = None,
    poisson: float | None = None,
) -> MaterialKnowledge:
    """Return what a handbook gives for a filament of which nothing was recorded: wide, all of it assumed.

    Parameters
    ----------
    material : str
        Key of the filament.
    recipe : str, optional
        Key of the recipe.
    polymer : str, optional
        "PLA", "PETG", … ; unknown or filled ones get the range of all.
    density_kg_m3, poisson : float, optional
        Where a table names them; a density is then good to 1 %.

    Returns
    -------
    MaterialKnowledge

    Notes
    -----
    The ratios of the moduli have wide priors of their own (30 % and 25 % around the in-plane modulus), so that
    they are no constant that would pass for a measurement. Figures from memory; see `frusta.material.handbook`.
    """
    plastic, known = handbook.plastic_named(polymer)
    density = plastic.density_kg_m3 if density_kg_m3 is None else density_kg_m3
    density_sd = plastic.density_sd if density_kg_m3 is None else handbook.DENSITY_NAMED_SD
    plane = plastic.poisson if poisson is None else poisson
    mean = coordinates_of(
        Elastic(
            hoop_pa=plastic.modulus_pa,
            axial_pa=handbook.AXIAL_RATIO * plastic.modulus_pa,
            layer_shear_pa=handbook.SHEAR_RATIO * plastic.modulus_pa,
            poisson_plane=plane,
            poisson_axial=plane * handbook.AXIAL_RATIO**0.5,
            density_kg_m3=density,
            loss_factor=plastic.loss_factor,
        )
    )
    covariance = np.zeros((7, 7))
    covariance[:3, :3] = plastic.modulus_sd**2
    covariance[1, 1] += handbook.SHEAR_RATIO_SD**2
    covariance[2, 2] += handbook.AXIAL_RATIO_SD**2
    covariance[3, 3] = covariance[4, 4] = handbook.POISSON_SD**2
    covariance[5, 5] = density_sd**2
    covariance[6, 6] = plastic.loss_sd**2
    source = f"handbook ranges for {known.upper()}" if known else "the range of all printing plastics, none was named"
    return MaterialKnowledge(
        material=material,
        recipe=recipe,
        mean=mean,
        covariance=covariance,
        assumed=FIGURES if density_kg_m3 is None else FIGURES[:-1],
        notes=(f"{material}: no estimate from recordings; {source} are assumed, from memory",),
    )
