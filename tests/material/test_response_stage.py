"""The complex responses beside a fit of poles.

Oracle: responses of the very cones that were put in, with a rig's gain, level, delay and noise on them; derivatives
against finite differences. Responses of the fitted model with a shear modulus 1 % off turn the first test red.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from frusta.cone.driver import Bench, Coil, Joint, Motor, build_driver, response
from frusta.cone.elasticity import Elastic
from frusta.cone.medium import air_at
from frusta.cone.poles import find_poles
from frusta.cone.profile import ConeProfile
from frusta.errors import ParameterError
from frusta.material.estimate import coordinates_map, material_estimates
from frusta.material.forward import Unknowns, computed_modes, drivers_of, prominence_db
from frusta.material.infer import infer
from frusta.material.knowledge import COORDINATES
from frusta.material.observations import (
    CampaignObserved,
    ConeObserved,
    MaterialGiven,
    RecordedModes,
    RecordedResponse,
    RigObserved,
    SeatingObserved,
)
from frusta.material.response_fit import smooth_basis
from frusta.material.response_rows import response_rows, thinned, worth
from frusta.material.response_stage import noted, refined, second_stage

FILAMENTS = {
    "reed": Elastic(3.3e9, 2.9e9, 0.80e9, 0.36, 0.33, 1240.0, 0.018),
    "moss": Elastic(1.5e9, 0.9e9, 0.50e9, 0.38, 0.31, 1010.0, 0.045),
}
DRAWN = {
    "straight": ConeProfile("straight", 0.0125, 0.042, 0.026, 0.0, 0.0009),
    "hollow": ConeProfile("concave", 0.0125, 0.038, 0.024, -0.0022, 0.0011, "line"),
}
PRINTED = {key: replace(cone, bow_m=cone.bow_m + 1e-4, wall_taper=0.02) for key, cone in DRAWN.items()}
MOTOR, COIL, BENCH, AIR = Motor(3.8, 2600.0, 0.7), Coil(2.7e-3, 5.2, 1.2e-4), Bench("free", 0.12), air_at(20.0, 50.0)
COMPLIANCE_M_N, GATE_S = 4e-8, 6e-3
HERTZ = 1000.0 * 2.0 ** (np.arange(-48, 90) / 24.0)


def recorded(driver) -> RecordedModes:
    poles = find_poles(driver, 800.0, 12e3)
    f, loss = poles.frequency_hz, poles.loss_factor
    return RecordedModes(f, 3e-5 * f, loss, 3e-3 * loss, prominence_db(poles))


@pytest.fixture(scope="module")
def workshop() -> CampaignObserved:
    cones = []
    for material, elastic in FILAMENTS.items():
        for profile, cone in PRINTED.items():
            seatings = []
            for turn, compliance in enumerate((0.95 * COMPLIANCE_M_N, 1.06 * COMPLIANCE_M_N)):
                driver = build_driver(cone, elastic, MOTOR, COIL, BENCH, AIR, Joint(compliance))
                heard = RecordedResponse(HERTZ, response(driver, HERTZ), GATE_S, "s1")
                key = f"{material}-{profile}/{turn}"
                seatings.append(SeatingObserved(key, "bench", AIR, 20.0, recorded(driver), heard))
            mass = cone.volume_m3 * elastic.density_kg_m3
            cones.append(
                ConeObserved(f"{material}-{profile}", material, profile, mass, 1e-5, COIL, 1e-5, 0.02, tuple(seatings))
            )
    given = {key: MaterialGiven(key, key, None, None, e.density_kg_m3, 0.36) for key, e in FILAMENTS.items()}
    return CampaignObserved(given, DRAWN, {"bench": RigObserved(BENCH, MOTOR)}, tuple(cones))


@pytest.fixture(scope="module")
def fit(workshop):
    return infer(workshop).fit


def changed(observed: CampaignObserved, change) -> CampaignObserved:
    """A campaign whose responses went through `change(seating key, pressure)`."""
    cones = []
    for cone in observed.cones:
        seatings = tuple(
            replace(s, response=replace(s.response, pressure=change(s.key, s.response.pressure))) for s in cone.seatings
        )
        cones.append(replace(cone, seatings=seatings))
    return replace(observed, cones=tuple(cones))


def noise_on(key: str, pressure: np.ndarray, size: float = 0.004) -> np.ndarray:
    rng = np.random.default_rng([5, *key.encode()])
    draws = rng.standard_normal((2, len(pressure)))
    return pressure * np.exp(size * (draws[0] + 1j * draws[1]))


def figures(fit, material: str) -> tuple[np.ndarray, np.ndarray]:
    """Errors of a material's coordinates, and their uncertainties."""
    table = coordinates_map(fit.prior, material)
    true = [getattr(FILAMENTS[material], name) for name in COORDINATES]
    true = [v if name.startswith("poisson") else math.log(v) for name, v in zip(COORDINATES, true, strict=True)]
    return table @ fit.unknowns.values - np.array(true), np.sqrt(np.diag(table @ fit.covariance @ table.T))


def best_told(fit, stage, places: list[int] | None = None) -> tuple[float, np.ndarray]:
    """The direction in the unknowns, 1 sd long, that responses tell most, and the share of variance they take away."""
    own = list(range(len(fit.prior))) if places is None else places
    before, after = fit.covariance[np.ix_(own, own)], stage.fit.covariance[np.ix_(own, own)]
    root = np.linalg.cholesky(before)
    inverse = np.linalg.inv(root)
    shares, directions = np.linalg.eigh(np.eye(len(own)) - inverse @ after @ inverse.T)
    off = np.zeros(len(fit.prior))
    off[own] = root @ directions[:, -1]
    return float(shares[-1]), off


def drawn_off(workshop, fit, off: np.ndarray):
    """A fit whose unknowns lie elsewhere; modes stay paired."""
    unknowns = Unknowns(fit.unknowns.parameters, np.maximum(fit.unknowns.values + off, fit.prior.low))
    computed = {}
    for cone in workshop.cones:
        high = 1.06 * max(float(s.modes.frequency_hz.max()) for s in cone.seatings)
        computed[cone.key] = computed_modes(workshop, cone, unknowns, high)
    counts = [len(a.frequency_hz) for key in computed for a in computed[key]]
    assert counts == [len(a.frequency_hz) for key in fit.computed for a in fit.computed[key]]
    return replace(fit, unknowns=unknowns, computed=computed)


@pytest.mark.parametrize("sds", [-1.0, 1.0])
def test_responses_bring_an_estimate_back(workshop, fit, sds):
    """Oracle: linear estimation, by which a share s of variance told brings back a share s of the way."""
    noisy = changed(workshop, noise_on)
    here = second_stage(noisy, fit)
    share, direction = best_told(fit, here)
    off = drawn_off(workshop, fit, sds * direction)
    stage = second_stage(noisy, off)
    assert stage.accepted, stage.why
    back = -sds * float(direction @ np.linalg.solve(fit.covariance, stage.fit.moved - here.fit.moved))
    assert share > 0.5
    assert back == pytest.approx(share, rel=0.1)
    told = refined(off, stage)
    assert told.unknowns.values == pytest.approx(np.maximum(off.unknowns.values + stage.fit.moved, fit.prior.low))
    for material in FILAMENTS:
        error, u_after = figures(told, material)
        assert np.all(np.abs(error) < 2.6 * u_after)
        assert np.all(u_after <= figures(fit, material)[1] * (1.0 + 1e-9))
    assert stage.notes["reed"] == ("the complex responses agree with modes and masses and are used",)


def test_level_delay_polarity_and_the_rigs_smooth_gain_do_not_matter(workshop, fit):
    octave = np.log2(HERTZ / 1e3)

    def through_a_rig(key: str, pressure: np.ndarray) -> np.ndarray:
        level = {"reed-straight/0": -7.0, "moss-hollow/1": 0.2}.get(key, 1.0)
        late_s = {"reed-straight/0": 1.7e-3, "moss-hollow/1": -2e-4}.get(key, 0.0)
        gain = 0.1 * octave + 0.12 * np.exp(-0.5 * ((octave - 2.0) / 1.1) ** 2) + 0.05j * octave
        return noise_on(key, pressure) * level * np.exp(gain - 2j * np.pi * HERTZ * late_s)

    plain, through = (second_stage(changed(workshop, change), fit) for change in (noise_on, through_a_rig))
    assert through.accepted, through.why
    assert max(float(np.mean(np.abs(left))) for left in through.fit.left.values()) < 0.02
    for material in FILAMENTS:
        table = coordinates_map(fit.prior, material)
        moved = table @ (through.fit.moved - plain.fit.moved)
        # a bump between the spline's knots leaves a little: a tenth of u on this gain
        assert np.all(np.abs(moved) < 0.2 * figures(fit, material)[1])


def test_a_microphone_that_stands_elsewhere_is_found(workshop, fit):
    off_m = 0.012
    rig = replace(workshop.rigs["bench"], bench=replace(BENCH, microphone_distance_m=0.12 - off_m))
    elsewhere = changed(replace(workshop, rigs={"bench": rig}), noise_on)
    stage = second_stage(elsewhere, fit)
    assert stage.accepted, stage.why
    assert stage.fit.distance_m["bench"] == pytest.approx(off_m, abs=2.6 * stage.fit.distance_u_m["bench"])
    assert stage.fit.distance_u_m["bench"] < 0.3 * off_m
    assert any("mm farther than rigs.csv has it on bench" in note for note in stage.notes["moss"])


def test_what_poles_have_swallowed_is_noticed_and_covered(workshop, fit):
    noisy, own = changed(workshop, noise_on), list(fit.prior.names("material", "reed").values())
    _, direction = best_told(fit, second_stage(noisy, fit), own)
    wrong = drawn_off(workshop, fit, 7.0 * direction)
    stage = second_stage(noisy, wrong)
    assert not stage.accepted
    assert "reed" in stage.contradicted
    assert "they ask reed to move" in stage.why
    told = refined(wrong, stage)
    assert np.array_equal(told.unknowns.values, wrong.unknowns.values)
    error, u = figures(wrong, "reed")
    assert np.max(np.abs(error) / u) > 2.6
    error, u = figures(told, "reed")
    assert np.max(np.abs(error) / u) < 2.6
    estimates = noted(material_estimates(workshop, told), stage)
    assert any("do not agree with the modes and are not used" in note for note in estimates["moss"].notes)
    assert any("its u covers what modes and what responses say" in note for note in estimates["reed"].notes)


def test_responses_of_other_cones_are_refused_and_the_band_is_named(workshop, fit):
    own = {s.key: s.response.pressure for cone in workshop.cones for s in cone.seatings}
    other = {"reed": "moss", "moss": "reed"}

    def exchanged(key: str, pressure: np.ndarray) -> np.ndarray:
        material, rest = key.split("-", 1)
        return own[f"{other[material]}-{rest}"]

    stage = second_stage(changed(workshop, exchanged), fit)
    assert not stage.accepted
    assert stage.contradicted == ()
    assert "half of the takes differ from the fitted cones by more than" in stage.why
    assert refined(fit, stage).covariance == pytest.approx(fit.covariance)


def test_a_bell_mode_in_one_cone_is_named_and_moves_little(workshop, fit):
    def with_a_bell(key: str, pressure: np.ndarray) -> np.ndarray:
        noisy = noise_on(key, pressure)
        if not key.startswith("moss-hollow"):
            return noisy
        at, loss = 3300.0, 0.04
        nearest = noisy[int(np.argmin(np.abs(HERTZ - at)))]
        return noisy + 0.6 * nearest * 0.5 * loss * at / (HERTZ - at * (1.0 + 0.5j * loss))

    plain, belled = (second_stage(changed(workshop, change), fit) for change in (noise_on, with_a_bell))
    assert any("the response of moss-hollow differs by" in note for note in belled.notes["moss"])
    assert not any("differs" in note for note in belled.notes["reed"])
    for material in FILAMENTS:
        moved = coordinates_map(fit.prior, material) @ (belled.fit.moved - plain.fit.moved)
        assert np.all(np.abs(moved) < figures(fit, material)[1])


def test_noise_is_what_does_not_repeat(workshop, fit):
    stage = second_stage(changed(workshop, lambda key, p: noise_on(key, p, 0.03)), fit)
    assert list(stage.fit.noise.values()) == pytest.approx([0.03] * len(stage.fit.noise), rel=0.25)


@pytest.mark.parametrize(
    ("name", "step"),
    [
        (("material", "reed", "hoop_pa"), 1e-4),
        (("material", "reed", "shear_ratio"), 1e-4),
        (("material", "reed", "loss_factor"), 1e-3),
        (("print", "reed-hollow", "wall_m"), 1e-4),
        (("print", "reed-hollow", "coil_mass_kg"), 1e-4),
        (("profile", "hollow", "bow_m"), 2e-7),
        (("rig", "bench", "joint_compliance_m_n"), 1e-11),
        (("rig", "bench", "air_density_scale"), 1e-4),
        (("seating", "reed-hollow/0", "joint"), 1e-4),
    ],
)
def test_slopes_by_the_fits_unknowns(workshop, fit, name, step):
    cone = next(c for c in workshop.cones if c.key == "reed-hollow")
    row = response_rows(workshop, cone, fit.unknowns, fit.computed[cone.key], fit.assigned[cone.key])[0]
    place = fit.prior.index[name]

    def at(moved: float) -> np.ndarray:
        values = fit.unknowns.values.copy()
        values[place] += moved
        there = Unknowns(fit.unknowns.parameters, values)
        return response(drivers_of(workshop, cone, there)[0], row.frequency_hz)

    expected = np.log(at(step) / at(-step)) / (2.0 * step)
    assert np.abs(row.slope[:, place] - expected).max() < 1e-2 * np.abs(expected).max()


def test_nothing_is_said_of_fewer_than_two_cones(workshop, fit):
    def silent(cone: ConeObserved) -> ConeObserved:
        return replace(cone, seatings=tuple(replace(s, response=None) for s in cone.seatings))

    one = replace(workshop, cones=(workshop.cones[0], *(silent(cone) for cone in workshop.cones[1:])))
    assert second_stage(one, fit) is None
    assert refined(fit, None) is fit


def test_a_point_counts_for_what_the_gate_tells_apart():
    hertz = np.array([1000.0, 1010.0, 1020.0, 5000.0, 9000.0])
    told = worth(hertz, RecordedResponse(hertz, np.ones(5, dtype=np.complex128), 5e-3, "s1"))
    assert told == pytest.approx([0.05, 0.05, 1.0, 1.0, 1.0])
    dense = 1000.0 * 2.0 ** (np.arange(0, 193) / 96.0)
    assert len(thinned(dense, 1000.0, 4000.0)) == 49
    assert smooth_basis(np.geomspace(300.0, 16e3, 50)).sum(axis=1) == pytest.approx(np.ones(50))


def test_a_response_must_be_one():
    with pytest.raises(ParameterError, match="one complex pressure for each frequency"):
        RecordedResponse(np.array([1.0, 2.0]), np.ones(3, dtype=np.complex128), 5e-3, "s1")
    with pytest.raises(ParameterError, match="must be positive and rise"):
        RecordedResponse(np.array([2.0, 1.0]), np.ones(2, dtype=np.complex128), 5e-3, "s1")
