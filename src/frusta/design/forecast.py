"""What a cone will do before it is printed: modes, response, figures, each with where 95 % of prints lie.

The band at each frequency runs from the 2.5 % to the 97.5 % quantile of 40 possible prints, and is at least as wide
as ±1.96 standard deviations of them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frusta.cone.air_mesh import ELEMENTS
from frusta.cone.driver import Driver, build_rigid_driver, response
from frusta.cone.poles import Poles
from frusta.cone.profile import ConeProfile
from frusta.cone.trace import air_of_profile
from frusta.design.breakup import break_up_figures
from frusta.design.cone_modes import ForecastMode, axial_modes, bell_modes, material_covariance
from frusta.design.figures import Interval, Ringing, interval_of, quantiles_95, response_figures
from frusta.design.possible import DRAWS, CloudOfCones, PossibleCone
from frusta.design.printability import OverhangLimit, Printable, printable
from frusta.design.responses import driver_of, neighbours_pressure
from frusta.design.rig import ForecastRig
from frusta.material.knowledge import COORDINATES, MaterialKnowledge
from frusta.material.learned import JointKnowledge, ShapeKnowledge
from frusta.signal.level import Figure, RigidResponse, piston_limit_hz
from frusta.signal.smoothing import POINTS_PER_OCTAVE, log_grid

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

REFERENCE_PA = 20e-6
SIDES_95 = 1.96


@dataclass(frozen=True)
class Look:
    """How closely a forecast looks.

    Parameters
    ----------
    draws : int
        Possible prints behind the band, 2 or more.
    per_octave : int
        Points of the response.
    air_elements : int
        Of the air's mesh.
    whole : bool
        Also bell modes, and every figure of a reading; else break-up alone.
    """

    draws: int = DRAWS
    per_octave: int = POINTS_PER_OCTAVE
    air_elements: int = ELEMENTS
    whole: bool = True


FULL = Look()
QUICK = Look(draws=8, per_octave=48, air_elements=24, whole=False)
"""While somebody designs: the response within 0.1 dB to 10 kHz, the band's width within a quarter (8 draws)."""


@dataclass(frozen=True)
class ForecastResponse:
    """The response on the axis as the rig would record it, with the band of 95 %.

    Attributes
    ----------
    frequency_hz, level_db, low_95_db, high_95_db : ndarray (n,)
    rigid_db : ndarray (n,)
        The same cone, were it rigid.
    """

    frequency_hz: Floats
    level_db: Floats
    low_95_db: Floats
    high_95_db: Floats
    rigid_db: Floats


@dataclass(frozen=True)
class Forecast:
    """A cone that has not been printed.

    Attributes
    ----------
    material : str
    recipe : str or None
    profile : ConeProfile
    mass_g, mass_g_u : float
        Without the coil.
    modes : tuple of ForecastMode
        Order 0 first, as recorded; bell modes with the neck held.
    response : ForecastResponse
    level_is : {"absolute", "relative"}
        dB re 20 µPa at the campaign's sweep, or re 1 Pa per volt.
    figures : dict of str to Interval
        Keys of a reading.
    printable : Printable
    assumed : tuple of str
    """

    material: str
    recipe: str | None
    profile: ConeProfile
    mass_g: float
    mass_g_u: float
    modes: tuple[ForecastMode, ...]
    response: ForecastResponse
    level_is: str
    figures: dict[str, Interval]
    printable: Printable
    assumed: tuple[str, ...]


def forecast(
    profile: ConeProfile,
    known: MaterialKnowledge,
    rig: ForecastRig,
    joint: JointKnowledge | None = None,
    shape: ShapeKnowledge | None = None,
    overhang: OverhangLimit | None = None,
    draws: int | None = None,
    look: Look = FULL,
) -> Forecast:
    """Return what a cone of a shape and a material would do on a rig.

    Parameters
    ----------
    profile : ConeProfile
        The drawing.
    known : MaterialKnowledge
        From recordings, or a handbook's.
    rig : ForecastRig
    joint : JointKnowledge, optional
        Else a push fit, assumed.
    shape : ShapeKnowledge, optional
        How prints differ from the drawing; else a tolerance, assumed.
    overhang : OverhangLimit, optional
    draws : int, optional
        Possible prints, 2 or more, in place of the look's.
    look : Look
        How closely to look.

    Returns
    -------
    Forecast
        The same to the byte every time.

    Raises
    ------
    ParameterError
        If the number of draws is too small, or the sweep lies out of reach of the model.

    Examples
    --------
    >>> from frusta.cone.driver import Bench, Coil, Motor
    >>> from frusta.cone.medium import air_at
    >>> from frusta.material.knowledge import handbook_knowledge
    >>> rig = ForecastRig(Motor(4.1, 3200.0, 0.75), Coil(0.003, 5.6), Bench("free", 0.13), air_at(20.0))
    >>> cone = ConeProfile("straight", 0.0145, 0.045, 0.030, 0.0, 0.0009)
    >>> told = forecast(cone, handbook_knowledge("any", polymer="PLA"), rig, draws=2)
    >>> round(told.mass_g, 1)
    8.9
    """
    cloud = CloudOfCones(profile, known, joint or JointKnowledge(), shape or ShapeKnowledge(), rig)
    expected = cloud.expected
    driver = driver_of(expected, rig, air_of_profile(expected.profile, 0, rig.bench.mounting, look.air_elements))
    frequency_hz = log_grid(rig.start_hz, min(1.1 * rig.stop_hz, driver.top_hz), look.per_octave)
    frequency_hz = frequency_hz[frequency_hz <= driver.top_hz]
    scale = 1.0 if rig.drive_peak_v is None else rig.drive_peak_v / np.sqrt(2.0) / REFERENCE_PA
    exact = scale * response(driver, frequency_hz)
    possible = cloud.draws(look.draws if draws is None else draws)
    drawn = neighbours_pressure(driver, expected, exact, possible, rig, frequency_hz)
    drawn *= 10.0 ** (np.array([cone.level_db for cone in possible])[:, None] / 20.0)
    rigid = _rigid(driver, expected, frequency_hz) * scale
    poles, modes = axial_modes(driver, expected, cloud)
    found = _response(frequency_hz, exact, drawn, rigid, rig.stop_hz)
    figures: dict[str, Interval] = {}
    if look.whole:
        figures = _figures(frequency_hz, exact, drawn, driver, rig.stop_hz, lambda hertz: _ringing(poles, scale, hertz))
        figures["piston_limit_hz"] = _piston_limit(frequency_hz, exact, drawn, rigid, rig.stop_hz)
    figures.update(break_up_figures(driver, poles, modes, possible, rig))
    mass_g = 1e3 * known.elastic.density_kg_m3 * expected.profile.volume_m3
    made = printable(profile, overhang)
    return Forecast(
        material=known.material,
        recipe=known.recipe,
        profile=profile,
        mass_g=mass_g,
        mass_g_u=mass_g * _mass_sd(cloud),
        modes=(*modes, *(bell_modes(driver, expected, cloud) if look.whole else ())),
        response=found,
        level_is="relative" if rig.drive_peak_v is None else "absolute",
        figures=figures,
        printable=made,
        assumed=_assumed(cloud, made, shape),
    )


def _rigid(driver: Driver, cone: PossibleCone, frequency_hz: Floats) -> Complexes:
    mass = cone.elastic.density_kg_m3 * cone.profile.volume_m3
    rigid = build_rigid_driver(
        cone.profile, mass, driver.motor, driver.coil, driver.bench, driver.medium, driver.joint, driver.air
    )
    return response(rigid, frequency_hz)


def _response(
    frequency_hz: Floats, exact: Complexes, drawn: Complexes, rigid: Complexes, stop_hz: float
) -> ForecastResponse:
    played = frequency_hz <= stop_hz * (1.0 + 1e-9)

    def level(pressure: Complexes) -> Floats:
        return np.asarray(20.0 * np.log10(np.abs(pressure[..., played]) + 1e-300))

    middle, levels = level(exact), level(drawn)
    low, high = quantiles_95(levels)
    reach = SIDES_95 * np.sqrt(np.mean((levels - middle) ** 2, axis=0))
    return ForecastResponse(
        frequency_hz[played],
        middle,
        np.minimum(low, middle - reach),
        np.maximum(high, middle + reach),
        level(rigid),
    )


def _ringing(poles: Poles, scale: float, hertz: Floats) -> Complexes:
    return np.asarray(scale * poles.contributions(hertz).sum(axis=0))


def _figures(
    frequency_hz: Floats, exact: Complexes, drawn: Complexes, driver: Driver, stop_hz: float, ringing: Ringing
) -> dict[str, Interval]:
    delay_s = driver.bench.microphone_distance_m / driver.medium.sound_speed_m_s
    expected = response_figures(frequency_hz, exact, delay_s, stop_hz, ringing)
    blurred = response_figures(frequency_hz, exact, delay_s, stop_hz)
    others = [response_figures(frequency_hz, row, delay_s, stop_hz) for row in drawn]
    return {
        key: interval_of(figure, [_as_sharp(figure, blurred[key], other[key]) for other in others])
        for key, figure in expected.items()
    }


def _as_sharp(expected: Figure, blurred: Figure, drawn: Figure) -> Figure:
    """A draw's figure, in the ratio to the expected one that the same grid gives."""
    if expected.value is None or blurred.value is None or drawn.value is None or blurred.value == 0.0:
        return drawn
    return Figure(drawn.value * expected.value / blurred.value)


def _piston_limit(
    frequency_hz: Floats, exact: Complexes, drawn: Complexes, rigid: Complexes, stop_hz: float
) -> Interval:
    played = frequency_hz <= stop_hz
    f = frequency_hz[played]
    if f[0] > 300.0 or f[-1] < 1000.0:
        return Interval(None, reason="the sweep does not cover 300 Hz to 1 kHz")
    stiff = RigidResponse(f, rigid[played])
    return interval_of(
        piston_limit_hz(f, np.abs(exact[played]) ** 2, stiff),
        [piston_limit_hz(f, np.abs(row[played]) ** 2, stiff) for row in drawn],
    )


def _mass_sd(cloud: CloudOfCones) -> float:
    """Relative: density and wall of one more print."""
    i = COORDINATES.index("density_kg_m3")
    return float(np.sqrt(material_covariance(cloud)[i, i] + cloud.known.print_scatter.wall**2))


def _assumed(cloud: CloudOfCones, made: Printable, shape: ShapeKnowledge | None) -> tuple[str, ...]:
    """What no recording and no table told."""
    known = cloud.known
    words = [f"{name.replace('_', ' ')} of {known.material}: handbook range, from memory" for name in known.assumed]
    words += list(known.notes)
    if cloud.joint.assumed:
        words.append(
            "joint at the neck: "
            + ("rigid" if cloud.joint.compliance_m_n == 0.0 else f"{1e-6 / cloud.joint.compliance_m_n:.1f} N/µm")
            + f", its compliance good to {1e9 * cloud.joint.compliance_u_m_n:.0f} nm/N"
        )
    if shape is None:
        s = cloud.shape
        words.append(
            f"a print keeps its drawing within {1e3 * s.depth_u_m:.2f} mm in depth, {1e3 * s.bow_u_m:.2f} mm in bow "
            f"and {100 * s.taper_u:.0f} % in the wall's taper (standard deviations)"
        )
    scatter = known.print_scatter
    words.append(
        f"print scatter: moduli {100 * scatter.modulus:.1f} %, wall {100 * scatter.wall:.1f} %, density "
        f"{100 * scatter.density:.1f} %, loss factor {100 * scatter.loss_factor:.1f} %"
    )
    return (*words, *cloud.rig.assumed, *made.assumed)
