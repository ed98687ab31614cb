"""Poles, bell modes, free modes and responses against an independent simulator's truth (solid elements, BEM).

Only cones without uneven walls (their bell modes pull on the others, which the axisymmetric model leaves out).
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from frusta.cone.bells import bell_modes, free_modes_hz
from frusta.cone.driver import Bench, Coil, Driver, Joint, Motor, build_driver, build_rigid_driver, response
from frusta.cone.elasticity import Elastic
from frusta.cone.medium import air_at
from frusta.cone.poles import break_up, find_poles
from frusta.cone.profile import ConeProfile

pytestmark = pytest.mark.reference
PASCAL = 20e-6
CONES = ["heron-st90-1", "heron-cv78-1", "finch-cc84-1"]


class Bench1:
    """One level of the simulated bench."""

    def __init__(self, folder: Path, level: str) -> None:
        self.truth: dict[str, Any] = json.loads((folder / "simulated-bench" / f"{level}-truth.json").read_text("utf-8"))
        self.curves = np.load(folder / "simulated-bench" / f"{level}-truth.npz")
        rig = self.truth["rig"]
        self.motor, self.bench = Motor(rig["Bl"], rig["kms"], rig["rms"]), Bench("free", rig["distance_m"])
        self.inductance, self.stiffness = rig["Le"], rig["kn"]
        self.air = air_at(20.0)

    def cone(self, name: str) -> tuple[ConeProfile, Elastic, Coil, dict[str, Any]]:
        """What was simulated."""
        truth = self.truth["specimens"][name]
        shape = self.truth["true_profiles"][truth["profile"]]
        mm = {key: 1e-3 * shape[f"{key}_mm"] for key in ("neck_radius", "rim_radius", "depth", "bow")}
        profile = ConeProfile(
            shape["shape"], *mm.values(), 1e-3 * truth["wall_mm"], shape["wall_rule"], wall_taper=shape["taper"]
        )
        m = truth["moduli"]
        density = self.truth["materials"][truth["material"]]["rho"]
        material = Elastic(m["Ep"], m["Ez"], m["Gz"], m["nup"], m["nuzp"], density, truth["eta"])
        return profile, material, Coil(truth["coil_kg"], truth["Re"], self.inductance), truth

    def driver(self, name: str) -> Driver:
        """The flexible driver as recorded."""
        profile, material, coil, truth = self.cone(name)
        stiffness = truth.get("kn", self.stiffness)
        joint = Joint(1.0 / stiffness) if stiffness else Joint()
        return build_driver(profile, material, self.motor, coil, self.bench, self.air, joint)


@pytest.fixture(scope="module", params=["clean", "hard"])
def level(request: pytest.FixtureRequest, reference_data: Path) -> Bench1:
    return Bench1(reference_data, request.param)


@pytest.mark.parametrize("name", CONES)
def test_mass_and_free_modes(level: Bench1, name: str) -> None:
    profile, material, _, truth = level.cone(name)
    assert 1e3 * material.density_kg_m3 * profile.volume_m3 == pytest.approx(truth["mass_g"], rel=1e-9)
    ours = free_modes_hz(profile, material, 8)
    # both are one row of quadratic elements; ours has 56, which leaves 4e-4 at the seventh mode
    assert ours[:5] == pytest.approx(truth["free_hz"][:5], rel=3e-4)
    assert ours == pytest.approx(truth["free_hz"][:8], rel=1e-3)


@pytest.mark.parametrize("name", CONES)
def test_poles_as_recorded(level: Bench1, name: str) -> None:
    truth = np.array([pole[:2] for pole in level.truth["specimens"][name]["poles"] if pole[5] > 0.5])
    poles = find_poles(level.driver(name))
    assert len(poles.omega) == len(truth)
    assert poles.frequency_hz[:5] == pytest.approx(truth[:5, 0], rel=5e-4)
    assert poles.frequency_hz[:7] == pytest.approx(truth[:7, 0], rel=8e-4)
    assert poles.loss_factor[:7] == pytest.approx(truth[:7, 1], rel=3e-3)


@pytest.mark.parametrize("name", CONES)
def test_response_on_the_axis(level: Bench1, name: str) -> None:
    hertz = level.curves["frequency"]
    volts = 3.5 * 10 ** (-6 / 20) / np.sqrt(2.0)  # drive_full_scale_v, level_dbfs, rms
    ours = 20 * np.log10(np.abs(response(level.driver(name), hertz)) * volts / PASCAL)
    error = ours - level.curves[f"level/{name}"]
    band = (hertz > 200.0) & (hertz < 10e3)
    assert np.sqrt(np.mean(error[band] ** 2)) < 0.03
    assert np.abs(error[band]).max() < 0.15


def test_rigid_cones_own_response(reference_data: Path) -> None:
    clean = Bench1(reference_data, "clean")
    hertz, volts = clean.curves["frequency"], 3.5 * 10 ** (-6 / 20) / np.sqrt(2.0)
    for name in CONES:
        profile, _, coil, truth = clean.cone(name)
        rigid = build_rigid_driver(profile, 1e-3 * truth["mass_g"], clean.motor, coil, clean.bench, clean.air)
        error = 20 * np.log10(np.abs(response(rigid, hertz)) * volts / PASCAL) - clean.curves[f"rigid/{name}"]
        band = hertz < 10e3
        assert np.sqrt(np.mean(error[band] ** 2)) < 0.03, name


def test_break_up_is_the_right_mode(level: Bench1) -> None:
    # all cones with even walls; which pole it is, not how far it stands out (that leans on where time starts)
    for name, truth in level.truth["specimens"].items():
        if truth["kind"] == "cone" and not truth["bell_eps"]:
            one = level.driver(name)
            poles = find_poles(one)
            first = break_up(one, poles)
            assert first is not None, name
            assert poles.frequency_hz[first] == pytest.approx(truth["breakup"][0], rel=5e-4), name


def test_bell_modes_of_a_held_cone_in_air(reference_data: Path) -> None:
    clean = Bench1(reference_data, "clean")
    profile, material, _, truth = clean.cone("heron-st90-1")
    for order in (2, 3, 4):
        poles, expected = bell_modes(profile, material, order, clean.air), np.array(truth["bells"][str(order)])
        # a clamped corner converges slowly: 7e-4 between the two meshes
        assert poles.frequency_hz[:2] == pytest.approx(expected[:, 0], rel=1.5e-3)
        assert poles.loss_factor[:2] == pytest.approx(expected[:, 1], rel=5e-3)
