"""A forecast from a package: which rig, coil, sweep, material and overhang hold; clear words where one is missing."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from frusta.campaign.forecast_file import forecast_document, forecast_json, forecast_lines
from frusta.campaign.forecasting import (
    drawn_profile,
    forecast_cone,
    forecast_rig,
    knowledge_of,
    overhang_limit,
    profile_row,
    rig_of,
)
from frusta.campaign.lessons import Lessons, package_digest
from frusta.campaign.package import open_package
from frusta.cone.elasticity import Elastic
from frusta.errors import PackageError
from frusta.material.knowledge import MaterialKnowledge, coordinates_of
from frusta.material.learned import JointKnowledge, Learned

SOLID = Elastic(2.4e9, 1.9e9, 0.75e9, 0.37, 0.34, 1150.0, 0.03)
KNOWN = MaterialKnowledge("fir", "walls", coordinates_of(SOLID), np.diag(np.full(7, 1e-4)))
LEARNED = Learned({"fir": KNOWN}, JointKnowledge(2e-8, 1e-9, 0.0, assumed=False))


def test_the_rig_is_put_together_from_all_tables(maker_package: Path, edit_table):
    edit_table(maker_package, "rigs.csv", "drive_full_scale_v\n", "drive_full_scale_v,force_factor_tm\n")
    edit_table(maker_package, "rigs.csv", ",20,3.5\n", ",20,3.5,4.0\n")
    package = open_package(maker_package)
    rig = forecast_rig(package, rig_of(package))
    assert rig.coil.mass_kg == pytest.approx(3.2e-3)  # of the one cone that names its own
    assert rig.coil.inductance_h == pytest.approx(0.13e-3)
    assert (rig.start_hz, rig.stop_hz) == (100.0, 16000.0)
    assert rig.drive_peak_v == pytest.approx(3.5 * 10 ** (-6.0 / 20.0))
    assert rig.medium.sound_speed_m_s == pytest.approx(343.2 * np.sqrt((273.15 + 21.5) / 293.15))
    assert any("coil_resistance_ohm" in words for words in rig.assumed)


def test_without_motor_levels_are_relative_and_said_so(maker_package: Path):
    package = open_package(maker_package)
    told = forecast_cone(package, "fir", drawn_profile(package.profiles["st80"]), learned=LEARNED)
    assert told.level_is == "relative"
    assert any("no force_factor_tm" in words for words in told.assumed)
    assert told.figures["breakup_hz"].value is not None


def test_what_was_learned_is_used_and_what_was_not_is_the_handbook_s(maker_package: Path):
    package = open_package(maker_package)
    assert knowledge_of(package, "fir", None, LEARNED) is KNOWN
    assert knowledge_of(package, "fir", "walls", LEARNED) is KNOWN
    other = knowledge_of(package, "oak", None, LEARNED)
    assert other.elastic.density_kg_m3 == pytest.approx(1050.0)
    assert "hoop_modulus" in other.assumed


def test_overhang_coupons_count(maker_package: Path):
    limit = overhang_limit(open_package(maker_package), "fir", "walls")
    assert (limit.clean_to_deg, limit.failed_at_deg, limit.assumed) == (48.0, 60.0, False)
    assert overhang_limit(open_package(maker_package), "oak", "walls") is None


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda p: knowledge_of(p, "ash", None, Learned()), r"material must be one of fir, oak \(got ash\)"),
        (lambda p: knowledge_of(p, "fir", "thin", Learned()), r"recipe must be one of walls \(got thin\)"),
        (lambda p: rig_of(p, "attic"), r"rig must be one of bench \(got attic\)"),
        (lambda p: profile_row(p, "st90"), r"profile must be one of st80, cv80 \(got st90\)"),
        (
            lambda p: drawn_profile(p.profiles["st80"].model_copy(update={"rim_radius_mm": 12.0})),
            r"profiles.csv, st80: rim_radius_m must exceed neck_radius_m",
        ),
        (
            lambda p: drawn_profile(p.profiles["st80"].model_copy(update={"wall_mm": 15.0})),
            r"profiles.csv, st80: wall_m must be less than neck_radius_m",
        ),
    ],
)
def test_what_is_wrong_is_told_in_one_line(maker_package: Path, call, words: str):
    with pytest.raises(PackageError, match=words):
        call(open_package(maker_package))


def test_a_coil_nobody_weighed_is_asked_for(maker_package: Path, edit_table):
    edit_table(maker_package, "rigs.csv", "mic.txt,3,0.13", "mic.txt,,0.13")
    edit_table(maker_package, "specimens.csv", "9.5,3.2", "9.5,")
    package = open_package(maker_package)
    with pytest.raises(PackageError, match="coil's mass must be known"):
        forecast_rig(package, rig_of(package))


def test_two_recipes_of_one_material_must_be_chosen_between(maker_package: Path):
    both = Learned({"fir/walls": KNOWN, "fir/thin": MaterialKnowledge("fir", "thin", KNOWN.mean, KNOWN.covariance)})
    with pytest.raises(PackageError, match=r"several recipes \(walls, thin\); choose one with --recipe"):
        knowledge_of(open_package(maker_package), "fir", None, both)


def test_the_document_explains_every_null(maker_package: Path):
    package = open_package(maker_package)
    told = forecast_cone(package, "fir", drawn_profile(package.profiles["cv80"]), learned=LEARNED)
    document = json.loads(forecast_json(forecast_document(told, "cv80")))
    for key in ("material", "recipe", "profile", "mass_g", "modes", "response", "printable", "assumed"):
        assert key in document
    assert document["response"]["frequency_hz"][0] == pytest.approx(100.0, rel=0.01)
    assert len(document["response"]["low_95_db"]) == len(document["response"]["frequency_hz"])
    for key, value in document.items():
        if value is None:
            assert document["reasons"][key], key
    for mode in document["modes"]:
        assert {"mode_number", "circumferential_order", "frequency_hz_u", "free_loss_factor_u"} <= set(mode)
        assert all(mode["reasons"].get(key) for key, value in mode.items() if value is None)
    lines = forecast_lines(told, "cv80")
    assert lines[0].startswith("fir/walls in cv80: ")
    assert any("breaks up" in line for line in lines)


def test_lessons_are_kept_by_what_they_were_drawn_from(maker_package: Path, edit_table):
    first = package_digest(open_package(maker_package))
    assert package_digest(open_package(maker_package)) == first
    (maker_package / "shopping.txt").write_text("not a part of it")
    assert package_digest(open_package(maker_package)) == first
    edit_table(maker_package, "specimens.csv", "7.5,,", "7.6,,")
    assert package_digest(open_package(maker_package)) != first


def test_recorded_cones_of_the_same_kind_stand_beside(maker_package: Path):
    package = open_package(maker_package)
    lessons = Lessons(LEARNED, {"a": {"frequency_hz": [1.0], "level_db": [2.0]}, "b": {}})
    assert [c["take"] for c in lessons.recorded(package, "fir", "walls", "st80")] == ["a"]
    assert lessons.recorded(package, "fir", "walls", "cv80") == []
