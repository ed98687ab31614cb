"""What to print next, from a package's tables and a fit to the same file of answers.

Oracles: what was put in (poles of known cones); the wall's and shape's limits; the same search on one and two cores.
"""

from __future__ import annotations

import json
from dataclasses import fields, is_dataclass, replace

import numpy as np
import pytest

from frusta.campaign import best_cone
from frusta.campaign.best_cone import Wish, find_cones, ground_of
from frusta.campaign.findings import Difference, Findings, Reading
from frusta.campaign.next_file import bar, next_document, next_json, next_lines, profiles_csv
from frusta.campaign.next_print import NextPrint, next_print
from frusta.campaign.package import Package, open_package
from frusta.cone.driver import Bench, Coil, Joint, Motor, build_driver
from frusta.cone.elasticity import Elastic
from frusta.cone.medium import air_at
from frusta.cone.poles import find_poles
from frusta.cone.profile import ConeProfile
from frusta.errors import PackageError
from frusta.material.forward import prominence_db
from frusta.material.infer import Inferred, infer
from frusta.material.learned import Learned
from frusta.material.observations import (
    CampaignObserved,
    ConeObserved,
    MaterialGiven,
    RecordedModes,
    RigObserved,
    SeatingObserved,
)

TABLES = {
    "campaign": "campaign,title,band_low_hz,band_high_hz\nbarn,Barn,300,6000\n",
    "materials": "material,name,density_kg_m3\nfir,Fir,1230\nash,Ash,1050\n",
    "recipes": "recipe,line_width_mm,lines\nwalls,0.4,3\n",
    "profiles": "profile,shape,neck_radius_mm,rim_radius_mm,depth_mm,bow_mm,wall_mm,wall_rule\n"
    "st84,straight,12.5,42,26,0,1.2,line\n",
    "rigs": "rig,mounting,microphone_distance_mm,force_factor_tm,suspension_stiffness_n_mm,suspension_resistance_ns_m,"
    "coil_mass_g,coil_resistance_ohm,coil_inductance_mh,drive_full_scale_v\n"
    "bench,free,120,3.8,2.6,0.7,2.7,5.2,0.12,3.5\n",
    "specimens": "specimen,kind,material,recipe,profile\n"
    "fir-1,cone,fir,walls,st84\nfir-2,cone,fir,walls,st84\nash-1,cone,ash,walls,st84\n",
    "takes": "take,specimen,rig,seating,recording\n",
}
FILAMENTS = {
    "fir": Elastic(3.1e9, 2.4e9, 0.85e9, 0.36, 0.33, 1230.0, 0.02),
    "ash": Elastic(1.7e9, 1.2e9, 0.50e9, 0.37, 0.33, 1050.0, 0.04),
}
DRAWN = ConeProfile("straight", 0.0125, 0.042, 0.026, 0.0, 0.0012, "line")
MOTOR, COIL, BENCH = Motor(3.8, 2600.0, 0.7), Coil(2.7e-3, 5.2, 1.2e-4), Bench("free", 0.12)


def cone(material: str, number: int, stiffer: float) -> ConeObserved:
    e = FILAMENTS[material]
    own = replace(
        e, hoop_pa=stiffer * e.hoop_pa, axial_pa=stiffer * e.axial_pa, layer_shear_pa=stiffer * e.layer_shear_pa
    )
    poles = find_poles(build_driver(DRAWN, own, MOTOR, COIL, BENCH, air_at(20.0), Joint(3e-8)), 800.0, 13e3)
    f, loss = poles.frequency_hz, poles.loss_factor
    modes = RecordedModes(f, 1e-4 * f, loss, 5e-3 * loss, prominence_db(poles))
    key = f"{material}-{number}"
    seating = SeatingObserved(f"{key}/1", "bench", air_at(20.0), 20.0, modes)
    mass = DRAWN.volume_m3 * e.density_kg_m3
    return ConeObserved(key, material, "st84", mass, 2e-5, COIL, 1.5e-5, 0.05, (seating,))


@pytest.fixture(scope="module")
def barn(tmp_path_factory: pytest.TempPathFactory) -> Package:
    folder = tmp_path_factory.mktemp("barn")
    for name, text in TABLES.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return open_package(folder)


@pytest.fixture(scope="module")
def inferred() -> Inferred:
    given = {key: MaterialGiven(key, key, "walls", None, e.density_kg_m3, 0.36) for key, e in FILAMENTS.items()}
    cones = (cone("fir", 1, 1.01), cone("fir", 2, 0.99), cone("ash", 1, 1.0))
    return infer(CampaignObserved(given, {"st84": DRAWN}, {"bench": RigObserved(BENCH, MOTOR)}, cones))


EMPTY = Findings(campaign="barn", made_by="test")
WISH = Wish({"evenness": 2.0, "mass": 1.0, "level": 2.0}, rim_mm=(42.0, 42.0))


@pytest.fixture(scope="module")
def told(barn: Package, inferred: Inferred) -> NextPrint:
    return next_print(barn, EMPTY, inferred.learned, inferred, wish=WISH, cores=1, first=6, later=2)


def test_the_coupon_that_tells_what_cones_leave_open_comes_first(told: NextPrint) -> None:
    """Cones tell the hoop; what is printed upright tells what lies across layers. Both filaments, both answers."""
    first = told.suggestions[0]
    assert first.candidate.kind == "stick upright"
    assert any(n.key == "axial_modulus" and n.after < 0.5 * n.before for n in first.narrows)
    kinds = {s.candidate.kind for s in told.suggestions}
    assert kinds == {"print", "stick upright", "stick flat", "disc flat"}  # nothing was seated in this package
    assert {s.candidate.profile for s in told.suggestions} >= {"st84", "answer-1"}
    assert [s.bits for s in told.suggestions] == sorted((s.bits for s in told.suggestions), reverse=True)


def test_answers_keep_the_limits_and_whole_lines(told: NextPrint) -> None:
    assert told.found is not None
    assert {t.profile.rim_radius_m for t in told.found.trials} == {0.042}
    walls = {round(1e3 * t.profile.wall_m / 0.4, 9) for t in told.found.trials}
    assert walls == {2.0, 3.0, 4.0}
    assert all(t.profile.neck_radius_m == 0.0125 for t in told.found.trials)
    assert all(0.0208 <= t.profile.depth_m <= 0.0312 for t in told.found.trials)
    best = told.answers[0]
    assert best.trial.score >= max(e.trial.score for e in told.existing)
    assert best.score_95 is not None
    assert best.score_95[0] <= best.trial.score <= best.score_95[1]
    assert best.over_best is not None
    assert best.over_best.probability > 0.5
    assert best.told is not None
    assert best.told.printable.verdict == "yes"


def test_it_stands_in_words_and_in_json(told: NextPrint) -> None:
    document = next_document(told)
    again = json.loads(next_json(document))
    assert again["format"] == 1
    assert again["goal"]["weights"] == {"evenness": 2.0, "mass": 1.0, "level": 2.0}
    assert len(again["answers"]) == len(told.answers)
    assert again["answers"][0]["forecast"]["profile"] == "answer-1"
    assert len(again["tried"]["score"]) == len(again["tried"]["group"]) == len(again["tried"]["mass_g"])
    text = "\n".join(next_lines(told))
    assert "printed upright and tapped" in text
    assert "narrows modulus across layers of Fir from ±" in text
    assert "The best cone for 300 to 6000 Hz" in text
    assert "best now: " in text
    rows = profiles_csv(told).splitlines()
    assert rows[0].startswith("profile,shape,neck_radius_mm")
    assert len(rows) == 1 + len(told.answers)
    assert (bar(0.0), bar(100.0), bar(50.0)) == ("····", "████", "██··")


def test_two_cores_find_what_one_finds(barn: Package, inferred: Inferred) -> None:
    """To last digits: where in memory an array begins decides in which order its numbers are summed."""
    ground = ground_of(barn, inferred.learned, EMPTY, WISH)
    words, numbers = flat(find_cones(ground, cores=2, first=4, later=0))
    same_words, same_numbers = flat(find_cones(ground, cores=1, first=4, later=0))
    assert words == same_words
    assert numbers == pytest.approx(same_numbers, rel=1e-8, abs=1e-12, nan_ok=True)


def flat(found: object) -> tuple[list[object], list[float]]:
    """Everything in nested records, in order: numbers by themselves, the rest as it is."""
    words: list[object] = []
    numbers: list[float] = []
    if is_dataclass(found) and not isinstance(found, type):
        parts: list[object] = [getattr(found, field.name) for field in fields(found)]
    elif isinstance(found, dict):
        parts = [*found.keys(), *found.values()]
    elif isinstance(found, np.ndarray):
        parts = list(found.ravel().tolist())
    elif isinstance(found, (tuple, list)):
        parts = list(found)
    elif isinstance(found, float):
        return [], [found]
    else:
        return [found], []
    for part in parts:
        more_words, more_numbers = flat(part)
        words += [type(part), *more_words]
        numbers += more_numbers
    return words, numbers


def test_ctrl_c_tells_what_was_found_until_then(
    barn: Package, inferred: Inferred, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second round is interrupted; a first round that is leaves nothing to tell."""
    real, calls = best_cone.map_batches, []

    def interrupted(*arguments, **named):  # type: ignore[no-untyped-def]
        calls.append(1)
        if len(calls) == at:
            raise KeyboardInterrupt
        return real(*arguments, **named)

    monkeypatch.setattr(best_cone, "map_batches", interrupted)
    at = 2
    told = next_print(barn, EMPTY, inferred.learned, inferred, wish=WISH, cores=1, first=4, later=2)
    assert told.stopped
    assert told.answers
    assert told.answers[0].told is None
    assert "stopped before the end" in "\n".join(next_lines(told))
    assert next_document(told)["answers"][0]["reasons"]["forecast"] == "stopped before"
    at, calls = 1, []
    with pytest.raises(KeyboardInterrupt):
        next_print(barn, EMPTY, inferred.learned, inferred, wish=WISH, cores=1, first=4, later=2)


def test_what_is_missing_is_said(barn: Package, inferred: Inferred) -> None:
    bandless = replace(barn, campaign=barn.campaign.model_copy(update={"band_high_hz": None}))
    told = next_print(bandless, EMPTY, inferred.learned, inferred, cores=1)
    assert "campaign.csv must name band_low_hz and band_high_hz" in told.reasons["answers"]
    assert told.suggestions
    assert "campaign.csv must name" in "\n".join(next_lines(told))
    with pytest.raises(PackageError, match="needs a material and a profile"):
        ground_of(replace(barn, profiles={}, specimens={}), Learned())


def take(material: str, number: int, percent: float, level_db: float) -> Reading:
    key = f"{material}-{number}"
    return Reading(
        take=key, specimen=key, kind="cone", material=material, recipe="walls", profile="st84", session=None, seating=1,
        quality="ok", input_thd_peak_percent=percent, level_db=level_db,
    )  # fmt: skip


def clear(low: float, high: float) -> Difference:
    return Difference(
        figure="input_thd_peak_percent", profile="st84", a="fir", b="ash", ratio=2.0, low_95=low, high_95=high,
        probability_a_higher=0.9, prints_a=2, prints_b=2, seatings=4, sd_print=0.1, sd_seating=0.1,
        scatter_from="these prints", verdict="",
    )  # fmt: skip


def test_distortion_counts_only_where_it_can_honestly_be_had(barn: Package, inferred: Inferred) -> None:
    """Told apart and equally loud: as recorded. Not told, not loud alike, not read: left out, with the reason."""
    row = barn.specimens["fir-1"]
    takes = {key: open_take(key) for key in ("fir-1", "ash-1")}
    package = replace(barn, takes=takes)
    assert row.profile == "st84"
    wish = replace(WISH, weights={"evenness": 1.0, "distortion": 1.0})
    good = EMPTY.model_copy(
        update={"readings": (take("fir", 1, 0.4, 80.0), take("ash", 1, 0.2, 80.3)), "differences": (clear(1.5, 2.6),)}
    )
    ground = ground_of(package, inferred.learned, good, wish)
    assert {f.key: dict(f.fixed or {}) for f in ground.task.filaments} == {
        "fir": {"distortion": 0.4},
        "ash": {"distortion": 0.2},
    }
    for findings, why in (
        (good.model_copy(update={"differences": (clear(0.8, 2.6),)}), "cannot be told apart by it"),
        (good.model_copy(update={"readings": (take("fir", 1, 0.4, 80.0), take("ash", 1, 0.2, 82.0))}), "equally loud"),
        (good.model_copy(update={"readings": (take("fir", 1, 0.4, 80.0),)}), "above its own noise"),
    ):
        ground = ground_of(package, inferred.learned, findings, wish)
        assert "distortion" not in ground.task.goal.used
        assert any("distortion is left out" in words and why in words for words in ground.said)


def open_take(key: str):  # type: ignore[no-untyped-def]
    from frusta.campaign.rows import Take

    return Take(take=key, specimen=key, seating=1, recording=f"{key}.wav", rig="bench")


def test_nothing_recorded_falls_back_on_the_handbook_and_says_so(barn: Package) -> None:
    bare = replace(barn, specimens={})
    ground = ground_of(bare, Learned(), None, WISH)
    assert ground.existing == ()
    assert any("handbook ranges" in words for words in ground.said)
    assert np.isfinite(ground.task.goal.halves["mass"])
