"""From a fit to what is known of each material: figures, uncertainties, what was earned and what assumed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frusta.material.knowledge import COORDINATES, MaterialKnowledge, PrintScatter
from frusta.material.observations import CampaignObserved
from frusta.material.parameters import Parameters
from frusta.material.solve import Fit

Floats = NDArray[np.float64]

EARNED = 0.5
"""A figure is identified if its posterior is less than this share of its prior in width."""

BEYOND_BELIEF = 3.0
"""Standard deviations of the prior."""
STRAINED = {
    "poisson_plane": "Poisson's ratio in the plane",
    "poisson_axial": "Poisson's ratio across layers",
    "shear_ratio": "the ratio of layer shear to hoop modulus",
    "axial_ratio": "the ratio of axial to hoop modulus",
}

FIGURE_OF = {
    "hoop_modulus": "hoop_pa",
    "layer_shear_modulus": "layer_shear_pa",
    "axial_modulus": "axial_pa",
    "loss_factor": "loss_factor",
    "density": "density_kg_m3",
}
_MADE_OF = {
    "hoop_pa": ("hoop_pa",),
    "layer_shear_pa": ("hoop_pa", "shear_ratio"),
    "axial_pa": ("hoop_pa", "axial_ratio"),
}
_TOLD_BY = {"hoop_modulus": "hoop_pa", "layer_shear_modulus": "shear_ratio", "axial_modulus": "axial_ratio"}


@dataclass(frozen=True)
class MaterialEstimate:
    """What a fit says of one material × recipe.

    Parameters
    ----------
    key : str
    knowledge : MaterialKnowledge
        Mean and covariance of the filament at 20 °C; the covariance holds that only a few prints were measured.
    chi_square : float
        Mean squared residual per mode in units of the expected variance; near or below 1 where the model holds.
    notes : tuple of str
        What was assumed besides the figures.
    """

    key: str
    knowledge: MaterialKnowledge
    chi_square: float
    notes: tuple[str, ...]

    def correlation(self) -> dict[str, dict[str, float]]:
        """Return the correlation of the figures with each other."""
        places = [COORDINATES.index(name) for name in FIGURE_OF.values()]
        covariance = self.knowledge.covariance[np.ix_(places, places)]
        sd = np.sqrt(np.diag(covariance))
        matrix = covariance / np.outer(sd, sd)
        names = list(FIGURE_OF)
        return {a: {b: float(matrix[i, j]) for j, b in enumerate(names)} for i, a in enumerate(names)}


def material_estimates(observed: CampaignObserved, fit: Fit) -> dict[str, MaterialEstimate]:
    """Return an estimate of every material of a fit.

    Parameters
    ----------
    observed : CampaignObserved
    fit : Fit
        Of it.
    """
    return {key: _estimate(observed, fit, key) for key in observed.materials}


def coordinates_map(parameters: Parameters, material: str) -> Floats:
    """Return the matrix that makes a material's `COORDINATES` of the fit's unknowns, shape (7, unknowns)."""
    places = parameters.names("material", material)
    table = np.zeros((len(COORDINATES), len(parameters)))
    for row, name in enumerate(COORDINATES):
        for part in _MADE_OF.get(name, (name,)):
            table[row, places[part]] = 1.0
    return table


def _estimate(observed: CampaignObserved, fit: Fit, key: str) -> MaterialEstimate:
    given = observed.materials[key]
    table = coordinates_map(fit.prior, key)
    covariance = table @ fit.covariance @ table.T
    places = fit.prior.names("material", key)
    identified, assumed = _earned(fit, key)
    cones = [cone for cone in observed.cones if cone.material == key]
    knowledge = MaterialKnowledge(
        material=given.material,
        recipe=given.recipe,
        mean=table @ fit.unknowns.values,
        covariance=0.5 * (covariance + covariance.T),
        print_scatter=PrintScatter(modulus=fit.print_scatter, loss_factor=fit.loss_scatter),
        identified=identified,
        assumed=assumed,
    )
    squares = [fit.chi_square[cone.key] for cone in cones if math.isfinite(fit.chi_square[cone.key])]
    chi = float(np.mean(squares)) if squares else 0.0
    return MaterialEstimate(key, knowledge, chi, _notes(observed, fit, key, places))


def _earned(fit: Fit, key: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Names of the figures that recordings told, and of those that a handbook did.

    The ratios of the moduli are judged by themselves: knowing the hoop modulus must not pass for knowing the others.
    """
    places = fit.prior.names("material", key)
    identified: list[str] = []
    assumed: list[str] = []
    for name, coordinate in FIGURE_OF.items():
        told = places[_TOLD_BY.get(name, coordinate)]
        earned = math.sqrt(float(fit.covariance[told, told])) < EARNED * float(fit.prior.sd[told])
        (identified if earned else assumed).append(name)
    return tuple(identified), tuple(assumed)


def strained(values: Floats, prior: Parameters, material: str) -> tuple[str, ...]:
    """Return what a fit had to bend out of all belief to meet the recordings, as a warning; nothing where all is well.

    Something that the model lacks, such as a bell mode that pulls on its neighbours without being heard, is absorbed by
    Poisson's ratios and the ratios of the moduli, while the residuals look fine.

    Parameters
    ----------
    values : ndarray (unknowns,)
        As fitted.
    prior : Parameters
    material : str
        Key of the material.
    """
    places = prior.names("material", material)
    off = {
        words: float(values[places[name]] - prior.mean[places[name]]) / float(prior.sd[places[name]])
        for name, words in STRAINED.items()
        if name in places
    }
    return tuple(
        f"{words} had to go {abs(size):.1f} standard deviations from what any plastic has: something pulls on modes "
        "that the model lacks, so layer shear and axial modulus may be off by more than their u; tap an upright stick"
        for words, size in off.items()
        if abs(size) > BEYOND_BELIEF
    )


def _notes(observed: CampaignObserved, fit: Fit, key: str, places: dict[str, int]) -> tuple[str, ...]:
    return (*strained(fit.unknowns.values, fit.prior, key), *_warmth(observed, fit, key, places))


def _warmth(observed: CampaignObserved, fit: Fit, key: str, places: dict[str, int]) -> tuple[str, ...]:
    seatings = [s for cone in observed.cones if cone.material == key for s in cone.seatings]
    warmest = max((abs(s.temperature_c - 20.0) for s in seatings), default=0.0)
    if warmest < 0.5:
        return ()
    slope = 100.0 * float(fit.unknowns.values[places["modulus_slope"]])
    told = math.sqrt(float(fit.covariance[places["modulus_slope"], places["modulus_slope"]]))
    learned = told < EARNED * float(fit.prior.sd[places["modulus_slope"]])
    source = "learned from sessions at different temperatures" if learned else "assumed, a handbook's"
    return (f"brought to 20 °C with {round(slope, 2) + 0.0:+.2f} % of modulus per kelvin ({source})",)
