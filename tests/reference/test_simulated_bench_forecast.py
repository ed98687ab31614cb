"""Forecasts of cones never recorded, from the filament's true moduli, against an independent simulator's truth."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from frusta.cone.driver import Bench, Coil, Motor
from frusta.cone.elasticity import Elastic
from frusta.cone.medium import air_at
from frusta.cone.profile import ConeProfile
from frusta.design.forecast import forecast
from frusta.design.rig import ForecastRig
from frusta.material.knowledge import MaterialKnowledge, coordinates_of
from frusta.material.learned import JointKnowledge

pytestmark = pytest.mark.reference
SD = np.array([0.01, 0.04, 0.06, 0.03, 0.03, 0.005, 0.01])


@pytest.mark.parametrize(("level", "name"), [("clean", "finch-cc92"), ("hard", "heron-st70")])
def test_a_cone_never_recorded(reference_data: Path, level: str, name: str):
    folder = reference_data / "simulated-bench"
    truth = json.loads((folder / f"{level}-truth.json").read_text("utf-8"))
    curves = np.load(folder / f"{level}-truth.npz")
    cone = truth["forecast"]["cones"][name]
    drawn, solid = truth["forecast"]["profiles"][cone["profile"]], truth["materials"][cone["material"]]
    lengths = (1e-3 * drawn[key] for key in ("neck_radius_mm", "rim_radius_mm", "depth_mm", "bow_mm", "wall_mm"))
    profile = ConeProfile(drawn["shape"], *lengths, drawn["wall_rule"])
    elastic = Elastic(*(solid[key] for key in ("Ep", "Ez", "Gz", "nup", "nuzp", "rho", "eta")))
    known = MaterialKnowledge(cone["material"], None, coordinates_of(elastic), np.diag(SD**2))
    rig = ForecastRig(
        Motor(4.1, 3200.0, 0.75),
        Coil(3.1e-3, 5.6, 1.3e-4),
        Bench("free", 0.13),
        air_at(20.0, 50.0),
        drive_peak_v=3.5 * 10.0 ** (-6.0 / 20.0),
    )
    stiffness = truth["rig"]["kn"]
    told = forecast(profile, known, rig, JointKnowledge(1.0 / stiffness if stiffness else 0.0, 3e-9, 0.0, False))

    assert told.mass_g == pytest.approx(cone["mass_g"], rel=1e-6)
    axial = [m for m in told.modes if m.circumferential_order == 0]
    for mode, (hertz, loss, *_) in zip(axial[:5], cone["poles"][:5], strict=True):
        assert mode.frequency_hz == pytest.approx(hertz, rel=1e-3)
        assert mode.loss_factor == pytest.approx(loss, rel=0.02)
    for order in (2, 3, 4):
        bell = next(m for m in told.modes if m.circumferential_order == order)
        assert bell.frequency_hz == pytest.approx(cone["bells"][str(order)][0][0], rel=2e-3)
    free = [m.free_frequency_hz for m in axial[:5]]
    assert free == pytest.approx(cone["free_hz"][:5], rel=1e-3)
    assert told.figures["breakup_hz"].value == pytest.approx(cone["breakup"][0], rel=1e-3)
    assert told.figures["piston_limit_hz"].value == pytest.approx(cone["piston_limit_hz"], rel=1e-3)
    for percent in (5, 2):
        key = f"decay_{percent}_percent_ms"
        assert told.figures[key].value == pytest.approx(cone[key], abs=0.06)
    band, grid = told.response, curves["frequency"]
    place = (grid >= 200.0) & (grid <= 10e3)
    level_db = np.interp(np.log(grid[place]), np.log(band.frequency_hz), band.level_db)
    assert np.sqrt(np.mean((level_db - curves[f"level/{name}"][place]) ** 2)) < 0.1
