"""Tapped coupons in the fit.

Oracles: ASTM E1876's worked bar and ASTM E756's uniform beam (shared checks: computed from the closed forms), and what
was put in.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from frusta.cone.elasticity import Elastic
from frusta.errors import ParameterError
from frusta.material.coupons import coupon_frequencies_hz, coupon_rows
from frusta.material.estimate import strained
from frusta.material.forward import Unknowns
from frusta.material.infer import infer
from frusta.material.knowledge import COORDINATES
from frusta.material.observations import CampaignObserved, CouponObserved, MaterialGiven, RecordedModes
from frusta.material.parameters import parameters_of

NYLON = Elastic(1.8e9, 1.3e9, 0.55e9, 0.39, 0.33, 1015.0, 0.04)


def struck(kind: str, flat: bool, length_m: float, thickness_m: float, elastic: Elastic = NYLON) -> CouponObserved:
    blank = RecordedModes(*(np.ones(1) for _ in range(5)))
    coupon = CouponObserved("coupon", "nylon", kind, flat, length_m, thickness_m, 1e-5, blank)  # type: ignore[arg-type]
    hertz = coupon_frequencies_hz(coupon, elastic)
    loss = np.full(len(hertz), max(elastic.loss_factor, 0.01))
    modes = RecordedModes(hertz, 1e-4 * hertz, loss, 1e-2 * loss, np.zeros(len(hertz)))
    return replace(coupon, modes=modes, density_kg_m3=elastic.density_kg_m3)


def test_a_stick_rings_as_astm_e1876_says():
    """m 3.72 g, L 100, b 10, t 3 mm, E 3.3 GPa: 501.37 Hz with the full T1 at ν 0.36."""
    plastic = Elastic.isotropic(3.3e9, 0.36, 3.72e-3 / (0.1 * 0.01 * 0.003))
    assert coupon_frequencies_hz(struck("stick", True, 0.1, 0.003, plastic), plastic)[0] == pytest.approx(
        501.37, rel=5e-4
    )


def test_a_slender_stick_is_a_free_bar():
    """βL = 4.73004, 7.85320 (any vibration handbook); ASTM E756's beam equation is the same with other ends."""
    plastic = Elastic.isotropic(3.3e9, 0.36, 1240.0)
    found = coupon_frequencies_hz(struck("stick", True, 0.3, 0.002, plastic), plastic)
    for hertz, beta in zip(found, (4.73004, 7.85320), strict=False):
        bar = (beta / 0.3) ** 2 / (2.0 * math.pi) * math.sqrt(3.3e9 * 0.002**2 / 12.0 / 1240.0)
        assert hertz == pytest.approx(bar, rel=1e-3)


def solved(coupons: list[CouponObserved]) -> tuple[dict[str, float], dict[str, float]]:
    """Gauss and Newton over coupons alone: figures and their posterior standard deviations."""
    named = [replace(c, key=f"coupon-{i}") for i, c in enumerate(coupons)]
    given = {"nylon": MaterialGiven("nylon", "nylon")}
    parameters = parameters_of(CampaignObserved(given, {}, {}, (), tuple(named)), 1e-3, 1e-3)
    values = parameters.mean.copy()
    for _ in range(8):
        precision = np.diag(parameters.sd**-2.0)
        right = (parameters.mean - values) / parameters.sd**2
        for coupon in named:
            for gradient, residual, sd in coupon_rows(coupon, Unknowns(parameters, values)):
                precision += np.outer(gradient, gradient) / sd**2
                right += gradient * residual / sd**2
        values = values + np.linalg.solve(precision, right)
    sd = np.sqrt(np.diag(np.linalg.inv(precision)))
    places = parameters.names("material", "nylon")
    return {k: float(values[i]) for k, i in places.items()}, {k: float(sd[i]) for k, i in places.items()}


def test_sticks_and_disc_tell_moduli_and_poisson():
    found, sd = solved(
        [struck("stick", True, 0.1, 0.004), struck("stick", False, 0.1, 0.004), struck("disc", True, 0.06, 0.003)]
    )
    assert math.exp(found["hoop_pa"]) == pytest.approx(NYLON.hoop_pa, rel=0.015)
    assert math.exp(found["hoop_pa"] + found["axial_ratio"]) == pytest.approx(NYLON.axial_pa, rel=0.015)
    assert math.exp(found["loss_factor"]) == pytest.approx(NYLON.loss_factor, rel=0.01)
    assert found["poisson_plane"] == pytest.approx(NYLON.poisson_plane, abs=0.015)
    assert sd["poisson_plane"] < 0.5 * 0.04


def test_a_campaign_of_coupons_alone_has_an_estimate():
    """The whole inference against what was put in, and against Gauss and Newton over the same coupons."""
    struck_ones = [
        struck("stick", True, 0.1, 0.004),
        struck("stick", False, 0.1, 0.004),
        struck("disc", True, 0.06, 0.003),
    ]
    named = tuple(replace(c, key=f"coupon-{i}") for i, c in enumerate(struck_ones))
    inferred = infer(CampaignObserved({"nylon": MaterialGiven("nylon", "nylon")}, {}, {}, (), named))
    known = inferred.estimates["nylon"].knowledge
    hoop, axial, loss = (math.exp(known.mean[COORDINATES.index(n)]) for n in ("hoop_pa", "axial_pa", "loss_factor"))
    assert hoop == pytest.approx(NYLON.hoop_pa, rel=0.02)
    assert axial == pytest.approx(NYLON.axial_pa, rel=0.02)
    assert loss == pytest.approx(NYLON.loss_factor, rel=0.03)
    assert {"hoop_modulus", "axial_modulus", "loss_factor"} <= set(known.identified)
    assert inferred.learned.joint.assumed


@pytest.mark.parametrize(("figure", "sds", "warned"), [("poisson_plane", 3.2, True), ("shear_ratio", -2.5, False)])
def test_what_had_to_be_bent_out_of_belief_is_said(figure: str, sds: float, warned: bool):
    given = {"nylon": MaterialGiven("nylon", "nylon")}
    prior = parameters_of(CampaignObserved(given, {}, {}, (), ()), 1e-3, 1e-3)
    values = prior.mean.copy()
    place = prior.names("material", "nylon")[figure]
    values[place] += sds * prior.sd[place]
    said = strained(values, prior, "nylon")
    assert bool(said) is warned
    assert all("3.2 standard deviations" in line for line in said)


def test_nothing_at_all_has_none():
    with pytest.raises(ParameterError, match="or a tapped coupon"):
        infer(CampaignObserved({}, {}, {}, (), ()))


def test_a_disc_printed_upright_is_refused():
    with pytest.raises(ParameterError, match="printed flat"):
        struck("disc", False, 0.06, 0.003)
