"""The second hypothesis of a wall: told apart where it can be, both told where it cannot.

Oracle: what was put in (poles of cones under either law).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import block_diag

from frusta.cone.beads import BeadBuilt
from frusta.cone.driver import Bench, Coil, Motor, build_driver
from frusta.cone.elasticity import Elastic
from frusta.cone.medium import air_at
from frusta.cone.poles import find_poles
from frusta.cone.profile import ConeProfile
from frusta.material.beads import NEGLIGIBLE, SecondOpinion, doubted, mixed, second_opinion
from frusta.material.estimate import material_estimates
from frusta.material.evidence import Weighed, _cost_of_learning, weigh
from frusta.material.forward import Unknowns, prominence_db
from frusta.material.observations import (
    CampaignObserved,
    ConeObserved,
    MaterialGiven,
    RecordedModes,
    RigObserved,
    SeatingObserved,
)
from frusta.material.offsets import Block
from frusta.material.parameters import parameters_of
from frusta.material.solve import Fit, fit_campaign, weighings
from frusta.material.start import start_moduli

FILAMENT = Elastic(3.3e9, 2.3e9, 0.95e9, 0.36, 0.33, 1240.0, 0.018)
DRAWN = {
    "straight": ConeProfile("straight", 0.0125, 0.042, 0.026, 0.0, 0.0009),
    "hollow": ConeProfile("concave", 0.0125, 0.038, 0.024, -0.0022, 0.0011, "line"),
}
MOTOR, COIL, BENCH = Motor(3.8, 2600.0, 0.7), Coil(2.7e-3, 5.2, 1.2e-4), Bench("free", 0.12)


def campaign(filament: Elastic) -> CampaignObserved:
    """Two cones of one filament, modes without error."""
    cones = []
    for key, cone in DRAWN.items():
        poles = find_poles(build_driver(cone, filament, MOTOR, COIL, BENCH, air_at(20.0, 50.0)), 800.0, 13e3)
        f, loss = poles.frequency_hz, poles.loss_factor
        modes = RecordedModes(f, 3e-5 * f, loss, 3e-3 * loss, prominence_db(poles))
        seating = SeatingObserved(f"reed-{key}/1", "bench", air_at(20.0, 50.0), 20.0, modes)
        mass = cone.volume_m3 * filament.density_kg_m3
        cones.append(ConeObserved(f"reed-{key}", "reed", key, mass, 1e-5, COIL, 1e-5, 0.02, (seating,)))
    rig = RigObserved(BENCH, MOTOR, joint_compliance_m_n=1e-12)
    given = {"reed": MaterialGiven("reed", "reed", None, None, 1240.0, 0.36)}
    return CampaignObserved(given, DRAWN, {"bench": rig}, tuple(cones))


def fitted(observed: CampaignObserved) -> Fit:
    parameters = parameters_of(observed, 0.013, 0.02)
    return fit_campaign(observed, start_moduli(observed, Unknowns(parameters, parameters.mean.copy())))


@pytest.fixture(scope="module")
def of_layers() -> tuple[CampaignObserved, Fit]:
    observed = campaign(FILAMENT)
    return observed, fitted(observed)


@pytest.fixture(scope="module")
def of_beads() -> tuple[CampaignObserved, Fit]:
    observed = campaign(BeadBuilt.of(FILAMENT))
    return observed, fitted(observed)


def figures(fit: Fit, observed: CampaignObserved) -> tuple[np.ndarray, np.ndarray]:
    """Errors and u of hoop, layer shear and axial modulus (ln)."""
    known = material_estimates(observed, fit)["reed"].knowledge
    true = np.log([FILAMENT.hoop_pa, FILAMENT.layer_shear_pa, FILAMENT.axial_pa])
    return known.mean[:3] - true, np.sqrt(np.diag(known.covariance))[:3]


def test_each_law_is_the_likelier_one_where_it_was_put_in(of_layers, of_beads):
    layers, beads = second_opinion(*of_layers), second_opinion(*of_beads)
    assert layers is not None
    assert beads is not None
    assert layers.log_odds < 0.0 < beads.log_odds


def test_two_cones_cannot_tell_so_both_are_told(of_beads):
    observed, fit = of_beads
    opinion = second_opinion(observed, fit)
    assert opinion is not None
    assert 0.1 < opinion.probability < 0.9
    told = mixed(fit, opinion)
    error, u = figures(told, observed)
    assert np.all(np.abs(error) < 1.96 * u)
    assert np.all(u[1:] > 1.1 * figures(fit, observed)[1][1:])
    notes = doubted(material_estimates(observed, told), told, opinion)["reed"].notes
    assert "wall built of beads" in notes[-1]
    assert f"probability {100 * opinion.probability:.0f} %" in notes[-1]


def test_evidence_is_the_density_of_all_rows(of_layers):
    # independent route: rows = A·(unknowns) + noise, both normal, so the rows are normal with covariance A·D·Aᵀ + R
    observed, fit = of_layers
    found = weigh(observed, fit.prior, fit.unknowns, fit.residuals, fit.spread, fit.pulls, None, 0)
    blocks = [Block(observed, fit.residuals, which, fit.spread, fit.pulls, None, None) for which in (0, 1)]
    weighed = weighings(observed, fit.unknowns)
    slope = np.concatenate([*(b.slope for b in blocks), np.array([g for g, _, _ in weighed])])
    value = np.concatenate([*(b.value for b in blocks), np.array([r for _, r, _ in weighed])])
    noise = block_diag(*(b.total for b in blocks), np.diag([sd**2 for _, _, sd in weighed]))
    variance = fit.prior.sd**2
    covariance = slope @ (variance[:, None] * slope.T) + noise
    away = value - slope @ (fit.prior.mean - fit.unknowns.values)
    expected = away @ np.linalg.solve(covariance, away) + np.linalg.slogdet(covariance)[1]
    expected -= 2.0 * sum(math.log(sd) for _, _, sd in weighed)  # a constant that both fits share
    learned = _cost_of_learning(observed, fit.prior, fit.spread, blocks)
    assert found.log_evidence == pytest.approx(-0.5 * (expected + learned), rel=1e-7)


def test_the_mixture_has_the_moments_of_two_normal_distributions(of_layers):
    observed, fit = of_layers
    values, covariance = fit.unknowns.values, fit.covariance
    apart = 0.1 * np.arange(len(values))
    first = Weighed(values, covariance, 0.0)
    second = Weighed(values + apart, 2.0 * covariance, 0.0)

    def opinion(odds: float) -> SecondOpinion:
        return SecondOpinion(frozenset({"reed"}), odds, first, second)

    even = mixed(fit, opinion(0.0))
    assert even.unknowns.values == pytest.approx(values + 0.5 * apart)
    assert even.covariance == pytest.approx(1.5 * covariance + 0.25 * np.outer(apart, apart))
    certain = mixed(fit, opinion(1e3))
    assert certain.unknowns.values == pytest.approx(second.values)
    assert certain.covariance == pytest.approx(second.covariance)
    unlikely = opinion(math.log(0.5 * NEGLIGIBLE))
    assert mixed(fit, unlikely) is fit
    assert mixed(fit, None) is fit
    estimates = material_estimates(observed, fit)
    assert doubted(estimates, fit, unlikely) is estimates


def test_coupons_alone_have_no_wall_to_ask_about(of_layers):
    observed, fit = of_layers
    assert second_opinion(replace(observed, cones=()), fit) is None
