"""The modes that a rig would record of a cone, orders 0 to 4, with what is uncertain of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frusta.cone.driver import Driver
from frusta.cone.poles import Poles, find_poles, prominences_db
from frusta.cone.reduction import reduce_cone
from frusta.cone.sensitivity import Sensitivity, pole_sensitivity
from frusta.cone.structure import FreeModes, Structure, build_structure, energy_gradients, structure_modes
from frusta.cone.trace import air_of_profile
from frusta.cone.wall import node_velocities, wall_of_profile
from frusta.design.possible import CloudOfCones, PossibleCone
from frusta.material.knowledge import COORDINATES

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

BELL_ORDERS = (1, 2, 3, 4)
BELL_MODES = 2
"""Of each order: the lowest are those that an uneven wall lets be heard below break-up."""
METHOD_HZ_SD, METHOD_LOSS_SD = 0.001, 0.01
"""What the method itself leaves, relative: never-recorded cones of a known filament come out within 0.1 %."""
MATERIAL_NAMES = COORDINATES
SHAPE_NAMES = ("wall_m", "depth_m", "bow_m", "wall_taper")
BENCH_NAMES = ("coil_mass_kg", "coil_resistance_ohm", "joint_compliance_m_n", "air_density_scale")


@dataclass(frozen=True)
class ForecastMode:
    """One mode; standard uncertainties end in ``_u``; prominence is None where the axis does not hear it."""

    mode_number: int
    circumferential_order: int
    frequency_hz: float
    frequency_hz_u: float
    loss_factor: float
    loss_factor_u: float
    prominence_db: float | None
    free_frequency_hz: float | None
    free_frequency_hz_u: float | None
    free_loss_factor: float | None
    free_loss_factor_u: float | None


def axial_modes(driver: Driver, cone: PossibleCone, cloud: CloudOfCones) -> tuple[Poles, list[ForecastMode]]:
    """Return the poles that the axis hears and their rows, order 0, as recorded on the rig.

    Parameters
    ----------
    driver : Driver
        Of the expected cone.
    cone : PossibleCone
        The expected one.
    cloud : CloudOfCones
        What is uncertain.
    """
    rig = cloud.rig
    poles = find_poles(driver, lowest_hz(driver, cone), min(rig.stop_hz, 0.98 * driver.top_hz))
    if not len(poles.omega):
        return poles, []
    sensitivity = pole_sensitivity(driver, poles, cone.profile, cone.elastic)
    spread = _spread(poles.squared, sensitivity, cone, cloud, (*SHAPE_NAMES, *BENCH_NAMES))
    structure = build_structure(wall_of_profile(cone.profile), 0, "ring", combination=cone.elastic.combination)
    free = _without_rigid(structure_modes(structure, cone.elastic, len(poles.omega) + 1))
    loud = prominences_db(driver, poles)
    return poles, _rows(0, poles, spread, _free_spread(structure, free, cone, cloud), free, cone, cloud, loud)


def bell_modes(driver: Driver, cone: PossibleCone, cloud: CloudOfCones) -> list[ForecastMode]:
    """Return the lowest modes of orders 1 to 4 with the neck held, in air."""
    rows = []
    wall = wall_of_profile(cone.profile)
    for order in BELL_ORDERS:
        air = air_of_profile(cone.profile, order, cloud.rig.bench.mounting)
        reduced = reduce_cone(wall, cone.elastic, air, 3 * BELL_MODES, neck_moves=False)
        held = Driver(
            reduced, air, cone.medium, driver.motor, driver.coil, driver.joint, driver.bench, driver.rim_height_m
        )
        dry_hz = np.sqrt(reduced.stiffness.real) / (2.0 * np.pi)
        top_hz = min(1.02 * float(dry_hz[BELL_MODES - 1]), held.top_hz)
        if 0.4 * dry_hz[0] >= top_hz:
            continue
        poles = _first(find_poles(held, 0.4 * float(dry_hz[0]), top_hz), BELL_MODES)
        sensitivity = pole_sensitivity(held, poles, cone.profile, cone.elastic)
        spread = _spread(poles.squared, sensitivity, cone, cloud, (*SHAPE_NAMES, "air_density_scale"))
        structure = reduced.structure
        if structure is None or not len(poles.omega):
            continue
        free = FreeModes(reduced.stiffness.real[: len(poles.omega)], reduced.vectors[: len(poles.omega)])
        dry = _free_spread(structure, free, cone, cloud)
        rows += _rows(order, poles, spread, dry, free, cone, cloud, None)
    return rows


def lowest_hz(driver: Driver, cone: PossibleCone) -> float:
    """Above the resonance of the whole moving mass on its suspension."""
    mass = cone.coil.mass_kg + driver.motor.moving_mass_kg + float(driver.cone.mass[0, 0])
    return max(200.0, 2.0 * float(np.sqrt(driver.motor.suspension_stiffness_n_m / mass)) / (2.0 * np.pi))


def _first(poles: Poles, count: int) -> Poles:
    kept = (poles.omega[:count], poles.vectors[:count], poles.residues[:count])
    return Poles(*kept, poles.arrival_s, poles.air_mass[:count])


def _without_rigid(modes: FreeModes) -> FreeModes:
    return FreeModes(modes.squared_rad_s[1:], modes.vectors[1:])


@dataclass(frozen=True)
class _Spread:
    frequency: Floats  # relative
    loss: Floats  # absolute


def _variances(cone: PossibleCone, cloud: CloudOfCones, names: tuple[str, ...]) -> Floats:
    """Variances of shape and bench parameters by name, SI."""
    rig, shape = cloud.rig, cloud.shape
    sd = {
        "wall_m": cone.profile.wall_m * cloud.known.print_scatter.wall,
        "depth_m": shape.depth_u_m,
        "bow_m": shape.bow_u_m,
        "wall_taper": shape.taper_u,
        "coil_mass_kg": cone.coil.mass_kg * rig.coil_mass_sd,
        "coil_resistance_ohm": cone.coil.resistance_ohm * rig.coil_resistance_sd,
        "joint_compliance_m_n": cloud.joint.compliance_u_m_n,
        "air_density_scale": rig.air_sd,
    }
    return np.array([sd[name] ** 2 for name in names])


def material_covariance(cloud: CloudOfCones) -> Floats:
    """Covariance of the coordinates of one more print: filament and print scatter."""
    scatter = cloud.known.print_scatter
    covariance = np.array(cloud.known.covariance)
    covariance[:3, :3] += scatter.modulus**2
    for name, sd in (("density_kg_m3", scatter.density), ("loss_factor", scatter.loss_factor)):
        i = COORDINATES.index(name)
        covariance[i, i] += sd**2
    return covariance


def _per_coordinate(cone: PossibleCone) -> Floats:
    """SI value per coordinate: derivatives with respect to a logarithm are value × derivative."""
    return np.array(
        [1.0 if name.startswith("poisson") else getattr(cone.elastic, name) for name in COORDINATES], dtype=np.float64
    )


def _spread(
    squared: Complexes, sensitivity: Sensitivity, cone: PossibleCone, cloud: CloudOfCones, names: tuple[str, ...]
) -> _Spread:
    material = np.stack([sensitivity.of(name) for name in MATERIAL_NAMES], axis=-1) * _per_coordinate(cone)
    others = np.stack([sensitivity.of(name) for name in names], axis=-1)
    return _combined(squared, material, others, material_covariance(cloud), _variances(cone, cloud, names))


def _combined(
    squared: Complexes, material: Complexes, others: Complexes, covariance: Floats, variances: Floats
) -> _Spread:
    """Linear propagation to ln f and to the loss factor."""

    def sd(of_material: Floats, of_others: Floats) -> Floats:
        variance = np.einsum("pi,ij,pj->p", of_material, covariance, of_material) + of_others**2 @ variances
        return np.asarray(np.sqrt(np.maximum(variance, 0.0)))

    real, loss = squared.real[:, None], (squared.imag / squared.real)[:, None]
    return _Spread(
        np.hypot(sd(0.5 * material.real / real, 0.5 * others.real / real), METHOD_HZ_SD),
        np.hypot(
            sd((material.imag - loss * material.real) / real, (others.imag - loss * others.real) / real),
            METHOD_LOSS_SD * loss[:, 0],
        ),
    )


def _free_spread(structure: Structure, free: FreeModes, cone: PossibleCone, cloud: CloudOfCones) -> _Spread:
    """The same for the bare cone in vacuo, without loss in its derivatives: its loss factor is the material's."""
    elastic = cone.elastic
    by_constant, by_node = energy_gradients(
        structure, elastic.constants_pa(), free.vectors, free.squared_rad_s, elastic.density_kg_m3
    )
    wall = structure.wall
    velocity = node_velocities(cone.profile, SHAPE_NAMES, wall.columns - wall.capped, wall.layers)
    shape = np.einsum("peib,seib->ps", by_node, velocity, optimize=True)
    zero = np.zeros((len(free.vectors), 1))
    moduli = dict(zip(_ELASTIC_ORDER, (by_constant @ elastic.constants_gradient()).T, strict=True))
    density = -free.squared_rad_s / elastic.density_kg_m3
    columns = {**moduli, "density_kg_m3": density, "loss_factor": zero[:, 0]}
    material = np.stack([columns[name] for name in COORDINATES], axis=-1) * _per_coordinate(cone)
    spread = _combined(
        free.squared_rad_s.astype(np.complex128),
        material.astype(np.complex128),
        shape.astype(np.complex128),
        material_covariance(cloud),
        _variances(cone, cloud, SHAPE_NAMES),
    )
    i = COORDINATES.index("loss_factor")
    loss_sd = elastic.loss_factor * float(np.sqrt(material_covariance(cloud)[i, i]))
    return _Spread(spread.frequency, np.full(len(free.vectors), loss_sd))


_ELASTIC_ORDER = ("hoop_pa", "axial_pa", "layer_shear_pa", "poisson_plane", "poisson_axial")


def _rows(
    order: int,
    poles: Poles,
    spread: _Spread,
    dry: _Spread,
    free: FreeModes,
    cone: PossibleCone,
    cloud: CloudOfCones,
    loud: Floats | None,
) -> list[ForecastMode]:
    """Rows in order of frequency. The k-th recorded mode belongs to the k-th of the bare cone: what hangs on the
    neck's one axial motion can only lower each mode, and not below the next lower one (Rayleigh).
    """
    hertz, loss, bare = poles.frequency_hz, poles.loss_factor, free.frequency_hz
    return [
        ForecastMode(
            mode_number=i + 1,
            circumferential_order=order,
            frequency_hz=float(hertz[i]),
            frequency_hz_u=float(hertz[i] * spread.frequency[i]),
            loss_factor=float(loss[i]),
            loss_factor_u=float(spread.loss[i]),
            prominence_db=None if loud is None else float(loud[i]),
            free_frequency_hz=float(bare[i]),
            free_frequency_hz_u=float(bare[i] * dry.frequency[i]),
            free_loss_factor=float(cone.elastic.loss_factor),
            free_loss_factor_u=float(dry.loss[i]),
        )
        for i in range(len(hertz))
    ]
