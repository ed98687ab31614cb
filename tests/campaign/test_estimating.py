"""Rows of estimates from tables: what is not in them is said, never raised. Oracle: DESIGN's findings.json."""

from __future__ import annotations

from pathlib import Path

import pytest

from frusta.campaign.estimating import estimate_campaign
from frusta.campaign.findings import ModeRow, Reading
from frusta.campaign.package import Package
from frusta.campaign.resolve import resolve_take
from frusta.campaign.rows import Campaign, Material, Profile, Rig, Specimen, Take
from frusta.cone.driver import Bench, Coil, Motor, build_driver
from frusta.cone.elasticity import Elastic
from frusta.cone.medium import air_at
from frusta.cone.poles import find_poles
from frusta.cone.profile import ConeProfile

FIGURES = ("hoop_modulus_gpa", "layer_shear_modulus_gpa", "axial_modulus_gpa", "loss_factor", "density_kg_m3")


def package(**specimen: object) -> Package:
    row = {
        "specimen": "fern-1",
        "kind": "cone",
        "material": "fern",
        "profile": "p45",
        "mass_g": 6.0,
        "coil_mass_g": 2.5,
    }
    return Package(
        Path("."),
        Path("."),
        Campaign(campaign="ferns", title="Ferns"),
        materials={"fern": Material(material="fern", name="Fern")},
        profiles={
            "p45": Profile(
                profile="p45",
                shape="straight",
                neck_radius_mm=12.5,
                rim_radius_mm=42.0,
                depth_mm=26.0,
                bow_mm=0.0,
                wall_mm=0.9,
            )
        },
        rigs={"bench": Rig(rig="bench", mounting="free", microphone_distance_mm=120.0)},
        specimens={"fern-1": Specimen.model_validate(row | specimen)},
        takes={"one": Take(take="one", specimen="fern-1", rig="bench", seating=1, recording="one.wav")},
    )


def estimated(packed: Package, poles: list[tuple[float, float]], quality: str = "ok"):
    reading = Reading(
        take="one",
        specimen="fern-1",
        kind="cone",
        material="fern",
        recipe=None,
        profile=packed.specimens["fern-1"].profile,
        session=None,
        seating=1,
        quality=quality,  # type: ignore[arg-type]
    )
    modes = [
        ModeRow(
            take="one",
            mode_number=i,
            circumferential_order=0,
            frequency_hz=f,
            frequency_hz_u=1e-4 * f,
            loss_factor=loss,
            loss_factor_u=1e-2 * loss,
            prominence_db=12.0,
        )
        for i, (f, loss) in enumerate(poles, start=1)
    ]
    resolved = [resolve_take(packed, take) for take in packed.takes.values()]
    return estimate_campaign(packed, resolved, [reading], modes)


@pytest.mark.parametrize(
    ("specimen", "hertz", "quality", "why"),
    [
        ({"profile": None}, [(3000.0, 0.02), (4000.0, 0.02)], "ok", "names no profile"),
        ({}, [], "ok", "recorded modes"),
        ({}, [(3000.0, 0.02), (4000.0, 0.02)], "repeat", "recorded modes"),
    ],
)
def test_nulls_are_explained(specimen, hertz, quality, why):
    (row,) = estimated(package(**specimen), hertz, quality).estimates
    assert row.material == "fern"
    for key in FIGURES:
        assert getattr(row, key) is None
        assert why in row.reasons[key]


def test_an_impossible_wall_is_explained():
    packed = package()
    packed.profiles["p45"] = packed.profiles["p45"].model_copy(update={"wall_mm": 14.0})
    (row,) = estimated(packed, [(3000.0, 0.02), (4000.0, 0.02)]).estimates
    assert row.hoop_modulus_gpa is None
    assert "wall_m must be less than neck_radius_m" in row.reasons["hoop_modulus_gpa"]


def rung(count: int) -> list[tuple[float, float]]:
    """Frequencies and loss factors that the package's cone would have of a plastic of 3 GPa."""
    cone = ConeProfile("straight", 0.0125, 0.042, 0.026, 0.0, 0.0009)
    plastic = Elastic(3.0e9, 2.5e9, 0.9e9, 0.36, 0.33, 6e-3 / cone.volume_m3, 0.02)
    driver = build_driver(cone, plastic, Motor(4.0, 3000.0, 0.6), Coil(2.5e-3, 6.0), Bench("free", 0.12), air_at(20.0))
    poles = find_poles(driver, 800.0, 14e3)
    return list(zip(poles.frequency_hz[:count].tolist(), poles.loss_factor[:count].tolist(), strict=True))


def test_one_mode_is_too_few():
    (row,) = estimated(package(), rung(1)).estimates
    assert row.hoop_modulus_gpa is None
    assert "at least 3" in row.reasons["hoop_modulus_gpa"]


def test_no_mass_is_wider():
    """Without a mass the figures stand, wider: the wall is then the drawing's."""
    (weighed,) = estimated(package(), rung(6)).estimates
    (row,) = estimated(package(mass_g=None), rung(6)).estimates
    for one in (weighed, row):
        assert abs(one.hoop_modulus_gpa - 3.0) < 2.6 * one.hoop_modulus_gpa_u
    assert row.hoop_modulus_gpa_u > weighed.hoop_modulus_gpa_u
    assert "density" in row.assumed


def test_modes_get_their_bare_cone():
    found = estimated(package(), rung(6))
    for row in found.modes[:3]:
        assert row.free_frequency_hz > row.frequency_hz  # without coil and air it rings higher
        assert "free_frequency_hz" not in row.reasons
