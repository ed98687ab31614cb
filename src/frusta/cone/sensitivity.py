"""How the poles of a driver move with everything that a fit may turn: exact, from the poles' own vectors."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from frusta.cone.driver import Driver
from frusta.cone.elasticity import Elastic
from frusta.cone.poles import Poles
from frusta.cone.profile import ConeProfile
from frusta.cone.structure import energy_gradients
from frusta.cone.wall import SHAPE_PARAMETERS, node_velocities, wall_of_profile
from frusta.errors import ParameterError

Complexes = NDArray[np.complex128]

MATERIAL_PARAMETERS = (
    "hoop_pa",
    "axial_pa",
    "layer_shear_pa",
    "poisson_plane",
    "poisson_axial",
    "density_kg_m3",
    "loss_factor",
)
BENCH_PARAMETERS = (
    "coil_mass_kg",
    "coil_resistance_ohm",
    "coil_inductance_h",
    "force_factor_tm",
    "suspension_stiffness_n_m",
    "suspension_resistance_ns_m",
    "joint_compliance_m_n",
    "joint_loss_factor",
    "air_density_scale",
)
PARAMETERS = (*MATERIAL_PARAMETERS, *SHAPE_PARAMETERS, *BENCH_PARAMETERS)


@dataclass(frozen=True)
class Sensitivity:
    """Derivatives of λ = ω² of every pole.

    Parameters
    ----------
    names : tuple of str
        `PARAMETERS`.
    squared : ndarray (poles, parameters) of complex
        ∂λ/∂parameter, (rad/s)² per SI unit. For shape parameters the air's matrices are held.
    """

    names: tuple[str, ...]
    squared: Complexes

    def of(self, name: str) -> Complexes:
        """Return one column.

        Raises
        ------
        ParameterError
            If the name is not known.
        """
        if name not in self.names:
            raise ParameterError(f"a parameter must be one of {', '.join(self.names)} (got {name!r})")
        return np.asarray(self.squared[:, self.names.index(name)])


def pole_sensitivity(driver: Driver, poles: Poles, profile: ConeProfile, material: Elastic) -> Sensitivity:
    """Return the derivatives of a driver's poles.

    Parameters
    ----------
    driver : Driver
        Flexible, made by `build_driver` from `profile` and `material`.
    poles : Poles
        Of this driver.
    profile : ConeProfile
        The one it was made from.
    material : Elastic

    Notes
    -----
    dλ = xᵀ (∂T/∂p) x for vectors scaled to xᵀT'x = −2ω (Lancaster 1966). What the truncated basis lacks
    enters to first order; 24 modes leave 1e-3 of the larger derivatives.
    """
    by_constant, by_node = _energies(driver, poles, material)
    columns = [*_by_material(driver, poles, material, by_constant), *_by_shape(driver, profile, by_node)]
    columns += [_by_bench(driver, poles, name) for name in BENCH_PARAMETERS[:-1]]
    columns.append(-poles.squared * poles.air_mass)
    return Sensitivity(PARAMETERS, np.stack(columns, axis=-1))


def _energies(driver: Driver, poles: Poles, material: Elastic) -> tuple[Complexes, Complexes]:
    structure = driver.cone.structure
    if structure is None:
        raise ParameterError("a rigid cone has no poles to derive; build the driver with build_driver")
    full = poles.vectors @ driver.cone.vectors
    constants = material.constants_pa() * (1.0 + 1j * material.loss_factor)
    return energy_gradients(structure, constants, full, poles.squared, material.density_kg_m3)


def _by_material(driver: Driver, poles: Poles, material: Elastic, by_constant: Complexes) -> list[Complexes]:
    lossy = 1.0 + 1j * material.loss_factor
    moduli = lossy * (by_constant @ material.constants_gradient())
    x = poles.vectors
    inertia = np.sum((x @ driver.cone.mass) * x, axis=-1)
    strain = (x**2) @ driver.cone.stiffness
    return [*moduli.T, -poles.squared * inertia / material.density_kg_m3, 1j * strain / lossy]


def _by_shape(driver: Driver, profile: ConeProfile, by_node: Complexes) -> list[Complexes]:
    structure = driver.cone.structure
    wall = structure.wall if structure is not None else wall_of_profile(profile)
    velocities = node_velocities(profile, SHAPE_PARAMETERS, wall.columns - wall.capped, wall.layers)
    return list(np.einsum("peib,seib->sp", by_node, velocities, optimize=True))


def _by_bench(driver: Driver, poles: Poles, name: str) -> Complexes:
    """Central difference of the neck's scalar stiffness."""
    part, field = BENCH_FIELDS[name]
    item = getattr(driver, part)
    value = getattr(item, field)
    step = 1e-4 * value if value > 0.0 else SMALL_STEPS[name]
    ahead = replace(driver, **{part: replace(item, **{field: value + step})})
    low = max(value - step, 0.0)
    behind = replace(driver, **{part: replace(item, **{field: low})})
    change = ahead.neck_terms(poles.omega)[0] - behind.neck_terms(poles.omega)[0]
    return np.asarray(poles.vectors[:, 0] ** 2 * change / (value + step - low))


BENCH_FIELDS = {
    "coil_mass_kg": ("coil", "mass_kg"),
    "coil_resistance_ohm": ("coil", "resistance_ohm"),
    "coil_inductance_h": ("coil", "inductance_h"),
    "force_factor_tm": ("motor", "force_factor_tm"),
    "suspension_stiffness_n_m": ("motor", "suspension_stiffness_n_m"),
    "suspension_resistance_ns_m": ("motor", "suspension_resistance_ns_m"),
    "joint_compliance_m_n": ("joint", "compliance_m_n"),
    "joint_loss_factor": ("joint", "loss_factor"),
}
SMALL_STEPS = {
    "coil_mass_kg": 1e-8,
    "coil_resistance_ohm": 1e-5,
    "coil_inductance_h": 1e-9,
    "force_factor_tm": 1e-4,
    "suspension_stiffness_n_m": 1e-2,
    "suspension_resistance_ns_m": 1e-5,
    "joint_compliance_m_n": 1e-13,
    "joint_loss_factor": 1e-6,
}
