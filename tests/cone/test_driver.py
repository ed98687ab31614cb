"""The whole driver: energy balance, limits, and the poles by contour integrals of the response itself."""

from __future__ import annotations

import contextlib
import dataclasses
from typing import Literal

import numpy as np
import pytest

from frusta.cone.driver import (
    Bench,
    Coil,
    Driver,
    Joint,
    Motor,
    build_driver,
    build_rigid_driver,
    energy_balance,
    response,
)
from frusta.cone.elasticity import Elastic
from frusta.cone.medium import Medium, air_at
from frusta.cone.poles import break_up, find_poles, prominences_db
from frusta.cone.profile import ConeProfile
from frusta.cone.reduction import reduce_cone, rigid_cone
from frusta.cone.sensitivity import BENCH_FIELDS, BENCH_PARAMETERS, MATERIAL_PARAMETERS, PARAMETERS, pole_sensitivity
from frusta.cone.structure import structure_modes, structure_of_profile
from frusta.cone.trace import air_of_profile
from frusta.cone.wall import SHAPE_PARAMETERS, wall_of_profile
from frusta.errors import ParameterError

PROFILE = ConeProfile("concave", 0.012, 0.036, 0.022, -1.5e-3, 1.0e-3, "line")
MATERIAL = Elastic(1.6e9, 1.2e9, 0.45e9, 0.38, 0.35, 1050.0, 0.05)
MOTOR = Motor(4.4, 2600.0, 0.6)
COIL = Coil(2.6e-3, 5.2, 0.12e-3)
BENCH = Bench("free", 0.11)
AIR = air_at(22.0)
MASS = MATERIAL.density_kg_m3 * PROFILE.volume_m3


def driver(**changes: object) -> Driver:
    """The flexible driver with some constants changed."""
    constants = {"profile": PROFILE, "material": MATERIAL, "motor": MOTOR, "coil": COIL, "bench": BENCH, "medium": AIR}
    return build_driver(**{**constants, **changes})  # type: ignore[arg-type]


def exact_response(one: Driver, omega: np.ndarray) -> np.ndarray:
    """Pa/V without interpolation; complex ω allowed."""
    terms = one.air_terms(omega / one.medium.sound_speed_m_s)
    force = np.zeros((*omega.shape, len(one.cone.stiffness), 1), dtype=complex)
    force[..., 0, 0] = one.neck_terms(omega)[1]
    motion = np.linalg.solve(one.balance(omega, terms[..., :-1, :]), force)[..., 0]
    return np.asarray(-(omega**2) * (terms[..., -1, :] * motion).sum(axis=-1))


@pytest.mark.parametrize("mounting", ["free", "baffle"])
@pytest.mark.parametrize("joint", [Joint(), Joint(1 / 8e6, 0.1)], ids=["rigid", "soft"])
def test_the_coils_power_is_what_is_lost_and_radiated(mounting: str, joint: Joint) -> None:
    one = driver(bench=Bench(mounting, 0.11), joint=joint)  # type: ignore[arg-type]
    for hertz in (90.0, 1500.0, 6000.0, 19e3):
        balance = energy_balance(one, hertz)
        share = balance.sound_w_v2 / balance.amplifier_w_v2
        assert abs(balance.residual) < 1e-5, f"{hertz} Hz"
        if share > 1e-4:  # the far field is a separate sum: hold it against the sound's own share
            assert abs(balance.residual) < 2e-3 * share, f"{hertz} Hz"


def test_an_efficient_driver_must_find_its_sound_far_away() -> None:
    # no wire heat to speak of, no loss in wall and suspension: nearly all power is sound at resonance
    lossless = dataclasses.replace(MATERIAL, loss_factor=0.0)
    one = driver(material=lossless, motor=Motor(0.05, 2600.0, 0.0), coil=Coil(2.6e-3, 5.2))
    hertz = find_poles(one).frequency_hz[0]
    balance = energy_balance(one, hertz)
    motional = balance.amplifier_w_v2 - balance.coil_heat_w_v2
    assert motional == pytest.approx(balance.sound_w_v2, rel=1e-3)


def test_interpolated_response_against_the_exact_one() -> None:
    hertz = np.geomspace(20.0, 20e3, 97)
    one = driver()
    exact = exact_response(one, 2 * np.pi * hertz + 0j)
    assert np.max(np.abs(20 * np.log10(np.abs(response(one, hertz) / exact)))) < 0.01


def test_a_very_stiff_cone_is_the_rigid_one() -> None:
    hard = dataclasses.replace(MATERIAL, hoop_pa=1.6e15, axial_pa=1.2e15, layer_shear_pa=0.45e15, loss_factor=0.0)
    hertz = np.geomspace(30.0, 15e3, 40)
    rigid = build_rigid_driver(PROFILE, MASS, MOTOR, COIL, BENCH, AIR)
    assert response(driver(material=hard), hertz) == pytest.approx(response(rigid, hertz), rel=1e-4)


def test_rigid_driver_in_thin_air_against_the_oscillator() -> None:
    # closed form: x = (Bl/Z_e)/(s + jωR + jω Bl²/Z_e − ω²m); the pressure is linear in the air's density
    thin = Medium(AIR.sound_speed_m_s, 1e-6 * AIR.density_kg_m3)
    one = build_rigid_driver(PROFILE, MASS, MOTOR, COIL, BENCH, thin)
    omega = 2 * np.pi * np.array([50.0, 120.0, 700.0, 5000.0]) + 0j
    electric = COIL.resistance_ohm + 1j * omega * COIL.inductance_h
    stiffness = MOTOR.suspension_stiffness_n_m + 1j * omega * MOTOR.suspension_resistance_ns_m
    stiffness += 1j * omega * MOTOR.force_factor_tm**2 / electric - omega**2 * (MASS + COIL.mass_kg)
    motion = MOTOR.force_factor_tm / electric / stiffness
    expected = -(omega**2) * one.air_terms(omega / thin.sound_speed_m_s)[:, -1, 0] * motion
    assert response(one, omega.real / (2 * np.pi)) == pytest.approx(expected, rel=1e-3)


def test_positive_voltage_pushes_towards_the_listener() -> None:
    # well above the suspension's resonance acceleration is in phase with the force; a dipole along the axis of
    # force f gives p = f·(1 + jkr)·e^{−jkr}/(4πr²), f in phase with the acceleration
    hertz = 500.0
    phase = 2j * np.pi * hertz / AIR.sound_speed_m_s * (0.11 + 0.5 * PROFILE.depth_m)
    source = complex(response(driver(), hertz)) * np.exp(phase) / (1.0 + phase)
    assert source.real > 0.9 * abs(source)


def test_joint_against_a_chain_of_two_masses() -> None:
    # rigid cone on a spring on the coil, written out as a two by two system (independent of the elimination)
    joint, hertz = Joint(1 / 6e6, 0.04), np.array([300.0, 3000.0, 9000.0])
    one = build_rigid_driver(PROFILE, MASS, MOTOR, COIL, BENCH, AIR, joint)
    omega = 2 * np.pi * hertz + 0j
    terms, spring = one.air_terms(omega / AIR.sound_speed_m_s), 6e6 * (1 + 0.04j)
    for index, w in enumerate(omega):
        cone = -(w**2) * (MASS + terms[index, 0, 0])
        matrix = np.array([[cone + spring, -spring], [-spring, spring + complex(one.coil_stiffness(w))]])
        motion = np.linalg.solve(matrix, [0.0, MOTOR.force_factor_tm / complex(one.electrical_impedance(w))])
        expected = -(w**2) * terms[index, -1, 0] * motion[0]
        assert exact_response(one, omega)[index] == pytest.approx(expected, rel=1e-10)


def test_twenty_four_modes_are_enough() -> None:
    hertz = np.geomspace(100.0, 20e3, 60)
    few, many = driver(), driver(modes=60)
    assert np.max(np.abs(20 * np.log10(np.abs(response(few, hertz) / response(many, hertz))))) < 0.05
    assert find_poles(few).frequency_hz == pytest.approx(find_poles(many).frequency_hz, rel=5e-5)


@pytest.mark.parametrize("joint", [Joint(), Joint(1 / 9e6, 0.05)], ids=["rigid", "soft"])
def test_poles_and_residues_by_contour_integrals(joint: Joint) -> None:
    # Cauchy: around a pole ∮p dω = 2πj·residue and ∮ω p dω = 2πj·residue·pole (the response as its own oracle)
    one = driver(joint=joint)
    poles = find_poles(one, 1000.0, 15e3)
    assert len(poles.omega) >= 5
    turn = np.exp(2j * np.pi * np.arange(24) / 24)
    for pole, residue in zip(poles.omega, poles.residues, strict=True):
        gap = np.min(np.abs(np.append(poles.omega[poles.omega != pole], 0.0) - pole))
        circle = 0.25 * min(gap, 0.2 * pole.real) * turn
        pressure = exact_response(one, pole + circle)
        around = (pressure * circle).mean()
        assert around == pytest.approx(residue, rel=1e-6)
        assert (pressure * circle * (pole + circle)).mean() / around == pytest.approx(pole, rel=1e-8)


def test_contributions_add_up_to_the_response() -> None:
    # Mittag-Leffler: with the poles' own parts gone the response is smooth, so its second difference over a peak,
    # which is what makes a peak, must go with them
    one = driver(material=dataclasses.replace(MATERIAL, loss_factor=0.01))
    poles = find_poles(one, 1000.0, 19e3)
    for centre in poles.frequency_hz[:6]:
        hertz = centre * np.array([0.992, 1.0, 1.008])
        total = response(one, hertz)
        rest = total - poles.contributions(hertz).sum(axis=0)
        assert abs(np.diff(rest, 2)[0]) < 0.03 * abs(np.diff(total, 2)[0]), f"{centre:.0f} Hz"
    number = break_up(one, poles)
    assert number is not None
    assert np.all(prominences_db(one, poles)[:number] < -12.0)
    assert break_up(one, poles, least_db=200.0) is None


def test_poles_in_thin_air_are_the_structures_modes() -> None:
    # no motor, hardly any air: free cone (DESIGN) with the coil's mass on its neck; the loss is the plastic's
    thin = Medium(AIR.sound_speed_m_s, 1e-9)
    one = driver(motor=Motor(0.0, 0.0, 0.0), medium=thin, modes=60)
    poles = find_poles(one)
    lossless = structure_modes(structure_of_profile(PROFILE), MATERIAL, len(poles.omega) + 1, COIL.mass_kg)
    assert poles.frequency_hz == pytest.approx(lossless.frequency_hz[1:], rel=1e-6)
    assert poles.loss_factor == pytest.approx(MATERIAL.loss_factor, rel=1e-6)


@pytest.mark.parametrize("cap", ["none", "flat"])
def test_sensitivities_against_differences(cap: Literal["none", "flat"]) -> None:
    """Oracle: central differences of the poles themselves, the air's matrices held."""
    joint = Joint(1 / 15e6, 0.05)
    profile = dataclasses.replace(PROFILE, cap=cap)
    air = air_of_profile(profile)
    base = driver(profile=profile, joint=joint, air=air, modes=40)
    poles = find_poles(base, 1000.0, 12e3)
    slopes = pole_sensitivity(base, poles, profile, MATERIAL)
    parts = {"coil": COIL, "motor": MOTOR, "joint": joint}
    for name in PARAMETERS[:-1]:
        if name in MATERIAL_PARAMETERS:
            argument, field, item = "material", name, MATERIAL
        elif name in SHAPE_PARAMETERS:
            argument, field, item = "profile", name, profile
        else:
            argument, field = BENCH_FIELDS[name]
            item = parts[argument]
        value = getattr(item, field)
        step = {"bow_m": 2e-6, "wall_taper": 1e-3}.get(field, 1e-3 * value)
        squared = []
        for sign in (1.0, -1.0):
            changed = {
                "profile": profile,
                "joint": joint,
                argument: dataclasses.replace(item, **{field: value + sign * step}),
            }
            squared.append(find_poles(driver(air=air, modes=40, **changed), 990.0, 12.1e3).squared[: len(poles.omega)])
        numeric = (squared[0] - squared[1]) / (2 * step)
        scale = np.abs(numeric).max()
        # what 40 modes lack enters Poisson's and the shape's small derivatives to first order
        assert np.abs(slopes.of(name) - numeric).max() < 2e-3 * scale, name
    assert set(BENCH_PARAMETERS) < set(slopes.names)
    with pytest.raises(ParameterError, match="a parameter must be one of"):
        slopes.of("colour")


def test_poles_that_settle_in_the_very_last_step_are_found(monkeypatch: pytest.MonkeyPatch) -> None:
    one = driver()
    exact = find_poles(one, 1000.0, 15e3).omega
    settled = []
    for steps in range(1, 13):
        monkeypatch.setattr("frusta.cone.poles._STEPS", steps)
        with contextlib.suppress(ParameterError):
            settled.append(np.array_equal(find_poles(one, 1000.0, 15e3).omega, exact))
    assert all(settled)
    assert 1 <= len(settled) < 12


def test_bell_modes_need_a_held_neck_and_their_own_air() -> None:
    air = air_of_profile(PROFILE, 2)
    cone = reduce_cone(wall_of_profile(PROFILE), MATERIAL, air, 10, neck_moves=False)
    one = Driver(cone, air, AIR, MOTOR, COIL, Joint(), BENCH, PROFILE.depth_m)
    wet = find_poles(one, 100.0, 8000.0)
    dry = structure_modes(structure_of_profile(PROFILE, 2, "clamped"), MATERIAL, 2).frequency_hz
    assert np.all(wet.frequency_hz[:2] < dry)
    assert wet.frequency_hz[:2] == pytest.approx(dry, rel=0.03)
    assert np.all(wet.residues == 0.0)
    with pytest.raises(ParameterError, match="the neck moves along the axis in order 0 only"):
        reduce_cone(wall_of_profile(PROFILE), MATERIAL, air)


def test_a_cap_closes_the_neck_for_wall_and_air() -> None:
    capped = dataclasses.replace(PROFILE, cap="flat")
    one = driver(profile=capped)
    assert one.air.mesh.closed
    assert one.cone.mass[0, 0] == pytest.approx(MATERIAL.density_kg_m3 * capped.volume_m3, rel=5e-3)
    assert one.cone.coupling[:, 0] == pytest.approx(one.air.axial_coupling(), rel=1e-9, abs=1e-12)
    balance = energy_balance(one, 3000.0)
    assert abs(balance.residual) < 1e-5


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Motor(-1.0, 0.0, 0.0), "force_factor_tm must be a finite number, 0 or more"),
        (lambda: Coil(1e-3, 0.0), "resistance_ohm must be positive"),
        (lambda: Joint(float("inf")), "compliance_m_n must be a finite number"),
        (lambda: Bench("wall", 0.1), "mounting must be free or baffle"),  # type: ignore[arg-type]
        (lambda: Bench("free", 0.0), "microphone_distance_m must be positive"),
        (lambda: rigid_cone(0.0, air_of_profile(PROFILE)), "mass_kg of a cone must be positive"),
        (lambda: response(driver(), [0.0, 100.0]), "frequency_hz must be above 0"),
        (lambda: response(driver(), 50e3), "frequency_hz must be above 0 and at most"),
        (lambda: find_poles(driver(), 5000.0, 1000.0), "the range must rise"),
    ],
)
def test_bad_requests_are_refused(make: object, message: str) -> None:
    with pytest.raises(ParameterError, match=message):
        make()  # type: ignore[operator]
