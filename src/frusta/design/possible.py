"""Draw what one more print may turn out to be: filament, print, shape, coil, joint, air, level, all at once.

Every uncertain number takes each of `count` equally probable values once, in an order of its own (Latin hypercube
sampling; M. D. McKay, R. J. Beckman, W. J. Conover, Technometrics 21, 1979, 239): few draws then tell quantiles that
plain ones would not. The seed is fixed, so that a forecast repeats to the byte.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from frusta.cone.driver import Coil, Joint
from frusta.cone.elasticity import Elastic
from frusta.cone.medium import Medium
from frusta.cone.profile import ConeProfile
from frusta.design.rig import ForecastRig
from frusta.errors import ParameterError
from frusta.material.knowledge import COORDINATES, MaterialKnowledge, elastic_towards
from frusta.material.learned import JointKnowledge, ShapeKnowledge

Floats = NDArray[np.float64]

DRAWS = 40
SEED = 20260


@dataclass(frozen=True)
class PossibleCone:
    """One cone on its bench, as it may be."""

    profile: ConeProfile
    elastic: Elastic
    coil: Coil
    joint: Joint
    medium: Medium
    level_db: float


@dataclass(frozen=True)
class CloudOfCones:
    """A forecast's inputs: what is expected, and how far it may be off.

    Parameters
    ----------
    drawing : ConeProfile
        As asked for.
    known : MaterialKnowledge
    joint : JointKnowledge
    shape : ShapeKnowledge
    rig : ForecastRig
    """

    drawing: ConeProfile
    known: MaterialKnowledge
    joint: JointKnowledge
    shape: ShapeKnowledge
    rig: ForecastRig

    @property
    def expected(self) -> PossibleCone:
        """The cone in the middle."""
        return PossibleCone(
            self._profile(np.zeros(4)),
            self.known.elastic,
            self.rig.coil,
            Joint(self.joint.compliance_m_n, self.joint.loss_factor),
            self.rig.medium,
            0.0,
        )

    def draws(self, count: int = DRAWS, seed: int = SEED) -> list[PossibleCone]:
        """Return possible cones.

        Parameters
        ----------
        count : int
            How many, 2 or more.
        seed : int

        Raises
        ------
        ParameterError
            If the count is below 2.
        """
        if count < 2:
            raise ParameterError(f"the number of draws must be 2 or more (got {count})")
        root = _root(self.known.covariance)
        return [self._possible(root, row) for row in normal_draws(count, len(COORDINATES) + 12, seed)]

    def _possible(self, root: Floats, normal: Floats) -> PossibleCone:
        return self.at(root @ normal[: len(COORDINATES)], normal[len(COORDINATES) :])

    def at(self, filament: Floats, rest: Floats) -> PossibleCone:
        """Return the cone of one draw.

        Parameters
        ----------
        filament : ndarray (7,)
            How far the filament is off its mean, in the coordinates of `COORDINATES`.
        rest : ndarray (12,)
            Standard normal: print's moduli, density, loss factor; wall, depth, bow, taper; coil's mass, resistance;
            joint; air; level.
        """
        scatter, rig = self.known.print_scatter, self.rig
        step = np.array(filament)
        step[:3] += scatter.modulus * rest[0]
        step[COORDINATES.index("density_kg_m3")] += scatter.density * rest[1]
        step[COORDINATES.index("loss_factor")] += scatter.loss_factor * rest[2]
        coil = replace(
            rig.coil,
            mass_kg=rig.coil.mass_kg * float(np.exp(rig.coil_mass_sd * rest[7])),
            resistance_ohm=rig.coil.resistance_ohm * float(np.exp(rig.coil_resistance_sd * rest[8])),
        )
        compliance = abs(self.joint.compliance_m_n + self.joint.compliance_u_m_n * float(rest[9]))
        medium = replace(rig.medium, density_kg_m3=rig.medium.density_kg_m3 * float(np.exp(rig.air_sd * rest[10])))
        return PossibleCone(
            self._profile(rest[3:7]),
            elastic_towards(self.known.mean, step),
            coil,
            Joint(compliance, self.joint.loss_factor),
            medium,
            rig.level_sd_db * float(rest[11]),
        )

    def _profile(self, normal: Floats) -> ConeProfile:
        """The drawing as printed; a deviation that leaves no cone is halved until it does."""
        shape, drawing = self.shape, self.drawing
        for share in (1.0, 0.5, 0.25, 0.0):
            wall, depth, bow, taper = share * normal
            try:
                return replace(
                    drawing,
                    wall_m=drawing.wall_m * float(np.exp(self.known.print_scatter.wall * wall)),
                    depth_m=drawing.depth_m + share * shape.depth_m + shape.depth_u_m * depth,
                    bow_m=drawing.bow_m + share * shape.bow_m + shape.bow_u_m * bow,
                    wall_taper=drawing.wall_taper + share * shape.taper + shape.taper_u * taper,
                )
            except ParameterError:
                continue
        return drawing


def normal_draws(count: int, columns: int, seed: int) -> Floats:
    """Return standard normal values, shape (count, columns): mean 0 and variance 1 in every column.

    Parameters
    ----------
    count : int
        Of equally probable strata, each met once.
    columns, seed : int
    """
    strata = ndtri((np.arange(count) + 0.5) / count)
    strata /= np.std(strata)
    rng = np.random.default_rng(seed)
    return np.stack([rng.permutation(strata) for _ in range(columns)], axis=-1)


def _root(covariance: Floats) -> Floats:
    """A root of a covariance that may be singular, R Rᵀ = covariance."""
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))
