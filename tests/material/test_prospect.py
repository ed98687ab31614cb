"""What one more observation would tell a fit.

Oracles: Kalman's update of a covariance by the observation's Jacobian and noise (an independent route to the normal
equations that are set up anew); the limits of what any number of seatings or prints can tell; the fit itself once the
observation is really there.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from frusta.cone.driver import Bench, Coil, Joint, Motor, build_driver
from frusta.cone.elasticity import Elastic
from frusta.cone.medium import air_at
from frusta.cone.poles import find_poles
from frusta.cone.profile import ConeProfile
from frusta.errors import ParameterError
from frusta.material.coupons import coupon_frequencies_hz, coupon_rows
from frusta.material.forward import Unknowns, elastic_of, prominence_db
from frusta.material.infer import Inferred, infer
from frusta.material.knowledge import COORDINATES
from frusta.material.observations import (
    CampaignObserved,
    ConeObserved,
    CouponObserved,
    MaterialGiven,
    RecordedModes,
    RigObserved,
    SeatingObserved,
)
from frusta.material.parameters import parameters_of
from frusta.material.prospect import TAPPED_FREQUENCY_U, TAPPED_LOSS_U, Prospect, Told

REED = Elastic(3.1e9, 2.4e9, 0.85e9, 0.36, 0.33, 1230.0, 0.02)
DRAWN = ConeProfile("straight", 0.0125, 0.042, 0.026, 0.0, 0.0009)
MOTOR, COIL, BENCH = Motor(3.8, 2600.0, 0.7), Coil(2.7e-3, 5.2, 1.2e-4), Bench("free", 0.12)
AIR = air_at(20.0, None)


def seating(key: str, elastic: Elastic, compliance_m_n: float) -> SeatingObserved:
    driver = build_driver(DRAWN, elastic, MOTOR, COIL, BENCH, AIR, Joint(compliance_m_n))
    poles = find_poles(driver, 800.0, 13e3)
    f, loss = poles.frequency_hz, poles.loss_factor
    return SeatingObserved(key, "bench", AIR, 20.0, RecordedModes(f, 1e-4 * f, loss, 5e-3 * loss, prominence_db(poles)))


def cone(number: int, stiffer: float) -> ConeObserved:
    elastic = replace(
        REED,
        hoop_pa=REED.hoop_pa * stiffer,
        axial_pa=REED.axial_pa * stiffer,
        layer_shear_pa=REED.layer_shear_pa * stiffer,
    )
    key = f"reed-{number}"
    seatings = tuple(seating(f"{key}/{turn}", elastic, 4e-8 * (0.95, 1.05)[turn]) for turn in (0, 1))
    return ConeObserved(
        key, "reed", "straight", DRAWN.volume_m3 * REED.density_kg_m3, 2e-5, COIL, 1.5e-5, 0.05, seatings
    )


def campaign(*cones: ConeObserved) -> CampaignObserved:
    given = {"reed": MaterialGiven("reed", "reed", None, None, 1230.0, 0.36)}
    return CampaignObserved(given, {"straight": DRAWN}, {"bench": RigObserved(BENCH, MOTOR)}, cones)


@pytest.fixture(scope="module")
def inferred() -> Inferred:
    return infer(campaign(cone(1, 1.01), cone(2, 0.99)))


def sd(told: Told, name: str) -> float:
    place = COORDINATES.index(name)
    return float(np.sqrt(told.of_materials(("reed",))[place, place]))


def test_what_is_known_now_is_what_the_fit_says(inferred: Inferred) -> None:
    """The fit's own covariance, but for the scales that it learned from its last step."""
    fit, now = inferred.fit, Prospect(inferred).now
    assert np.sqrt(np.diag(now.covariance)) == pytest.approx(np.sqrt(np.diag(fit.covariance)), rel=0.05)


def test_a_coupon_tells_what_kalmans_update_says(inferred: Inferred) -> None:
    """C − C Jᵀ (J C Jᵀ + R)⁻¹ J C, with C the fit's covariance and the coupon's own unknowns beside it."""
    prospect = Prospect(inferred)
    told = prospect.with_coupon("reed", "stick", flat=False)
    blank = RecordedModes(*(np.zeros(0) for _ in range(5)))
    density = elastic_of(inferred.fit.unknowns, "reed").density_kg_m3
    stick = CouponObserved("next-stick", "reed", "stick", False, 0.1, 0.003, 2e-5, blank, density, 0.005)
    elastic = elastic_of(inferred.fit.unknowns, "reed")
    hertz = coupon_frequencies_hz(stick, elastic)
    loss = np.full(len(hertz), elastic.loss_factor)
    modes = RecordedModes(hertz, TAPPED_FREQUENCY_U * hertz, loss, TAPPED_LOSS_U * loss, np.zeros(len(hertz)))
    stick = replace(stick, modes=modes)
    fit = inferred.fit
    prior = parameters_of(replace(inferred.observed, coupons=(stick,)), fit.print_scatter, fit.loss_scatter)
    values, covariance = prior.mean.copy(), np.diag(prior.sd**2)
    places = [prior.index[name] for name in fit.prior.index]
    values[places] = fit.unknowns.values
    covariance[np.ix_(places, places)] = prospect.now.covariance
    rows = coupon_rows(stick, Unknowns(prior, values))
    jacobian, noise = np.array([r[0] for r in rows]), np.diag([r[2] ** 2 for r in rows])
    gain = covariance @ jacobian.T @ np.linalg.inv(jacobian @ covariance @ jacobian.T + noise)
    after = covariance - gain @ jacobian @ covariance
    assert np.diag(told.covariance) == pytest.approx(np.diag(after), rel=1e-6)
    assert sd(told, "axial_pa") < 0.6 * sd(prospect.now, "axial_pa")


def test_more_of_anything_never_tells_less_and_seatings_never_tell_a_filament_from_its_prints(
    inferred: Inferred,
) -> None:
    """The loss factor of a filament known from two prints cannot be better known than their scatter over √2."""
    prospect = Prospect(inferred)
    scatter = inferred.fit.loss_scatter
    seated = prospect.with_seating("reed-1")
    printed = prospect.with_print("reed", "straight")
    for name in COORDINATES:
        assert sd(seated, name) <= sd(prospect.now, name) * (1.0 + 1e-9)
        assert sd(printed, name) <= sd(prospect.now, name) * (1.0 + 1e-9)
    assert sd(seated, "loss_factor") > 0.99 * scatter / np.sqrt(2.0)
    assert scatter / np.sqrt(3.0) * 0.99 < sd(printed, "loss_factor") < sd(seated, "loss_factor")


def test_what_was_foretold_comes_true_once_the_print_is_there(inferred: Inferred) -> None:
    """The fit of three prints, one of them the print that was only thought of before."""
    foretold = Prospect(inferred).with_print("reed", "straight")
    fit = infer(campaign(cone(1, 1.01), cone(2, 0.99), cone(3, 1.0)))
    for name in ("hoop_pa", "loss_factor", "density_kg_m3"):
        came = fit.estimates["reed"].knowledge.standard_deviation(name)
        assert sd(foretold, name) == pytest.approx(came, rel=0.25)


def test_a_new_shape_can_be_thought_of_and_nonsense_is_refused(inferred: Inferred) -> None:
    prospect = Prospect(inferred)
    bowed = ConeProfile("concave", 0.0125, 0.040, 0.024, -0.002, 0.0009)
    assert sd(prospect.with_print("reed", "bowed", bowed), "hoop_pa") < sd(prospect.now, "hoop_pa")
    with pytest.raises(ParameterError, match="profile must be one of straight"):
        prospect.with_print("reed", "bowed")
    with pytest.raises(ParameterError, match="one that was estimated, of reed"):
        prospect.with_coupon("oak", "stick", flat=True)
    with pytest.raises(ParameterError, match="a seating must be of a cone of the fit"):
        prospect.with_seating("reed-9")
