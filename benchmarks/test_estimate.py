"""The estimate of a campaign: three materials, thirteen cones, two seatings, geometry and joint free.

The named alternative finds the same slopes without derivatives: every unknown of the fit moved by itself, forward
differences of poles found anew, as a general least-squares solver would. One cone's modes and slopes are timed both
ways; the whole estimate has the issue's bar.
"""

from __future__ import annotations

import math
import time
from dataclasses import replace

import numpy as np
import pytest
from ratio import compare, say, slowness

from frusta.cone.driver import Bench, Coil, Joint, Motor, build_driver
from frusta.cone.elasticity import Elastic
from frusta.cone.medium import air_at
from frusta.cone.poles import find_poles
from frusta.cone.profile import ConeProfile
from frusta.material.forward import Unknowns, computed_modes, prominence_db
from frusta.material.infer import infer
from frusta.material.observations import (
    CampaignObserved,
    ConeObserved,
    MaterialGiven,
    RecordedModes,
    RigObserved,
    SeatingObserved,
)
from frusta.material.parameters import parameters_of

LIMIT_S = 20.0
MOTOR, COIL, BENCH, AIR = Motor(4.1, 3100.0, 0.8), Coil(2.9e-3, 5.4, 1.3e-4), Bench("free", 0.12), air_at()
FILAMENTS = {
    "lark": Elastic(2.9e9, 2.5e9, 0.9e9, 0.36, 0.33, 1230.0, 0.016),
    "wren": Elastic(1.4e9, 0.9e9, 0.43e9, 0.39, 0.32, 1000.0, 0.05),
    "rook": Elastic(2.1e9, 1.9e9, 0.6e9, 0.37, 0.35, 1260.0, 0.02),
}
DRAWN = {
    "straight": ConeProfile("straight", 0.0130, 0.043, 0.027, 0.0, 0.9e-3),
    "hollow": ConeProfile("concave", 0.0130, 0.040, 0.025, -0.0022, 0.8e-3),
    "domed": ConeProfile("convex", 0.0130, 0.037, 0.022, 0.0018, 0.9e-3),
}
PRINTS = (("lark", "straight", 2), ("lark", "hollow", 2), ("lark", "domed", 1), ("wren", "straight", 2))
PRINTS = (*PRINTS, ("wren", "hollow", 1), ("wren", "domed", 1), ("rook", "straight", 2), ("rook", "hollow", 1))
PRINTS = (*PRINTS, ("rook", "domed", 1))


@pytest.fixture(scope="module")
def campaign() -> CampaignObserved:
    rng = np.random.default_rng(13)
    printed = {key: replace(p, bow_m=p.bow_m + 7e-5, wall_taper=0.015) for key, p in DRAWN.items()}
    cones = []
    for material, profile, count in PRINTS:
        for number in range(count):
            key, softer = f"{material}-{profile}-{number}", 1.0 + 0.012 * rng.standard_normal()
            own = FILAMENTS[material]
            own = replace(own, hoop_pa=own.hoop_pa * softer, axial_pa=own.axial_pa * softer)
            mass = printed[profile].volume_m3 * own.density_kg_m3
            seatings = []
            for turn in (1, 2):
                joint = Joint(3e-8 * math.exp(0.08 * rng.standard_normal()))
                poles = find_poles(build_driver(printed[profile], own, MOTOR, COIL, BENCH, AIR, joint), 800.0, 15e3)
                heard = prominence_db(poles) > -15.0
                f, loss = poles.frequency_hz[heard], poles.loss_factor[heard]
                modes = RecordedModes(f, 3e-5 * f, loss, 3e-3 * loss, prominence_db(poles)[heard])
                seatings.append(SeatingObserved(f"{key}/{turn}", "bench", AIR, 20.0, modes))
            cones.append(ConeObserved(key, material, profile, mass, 2e-5, COIL, 1e-5, 0.03, tuple(seatings)))
    given = {key: MaterialGiven(key, key, None, None, e.density_kg_m3, 0.36) for key, e in FILAMENTS.items()}
    return CampaignObserved(given, DRAWN, {"bench": RigObserved(BENCH, MOTOR)}, tuple(cones))


def test_a_whole_campaign(campaign):
    assert len(campaign.cones) == 13
    begun = time.process_time()
    inferred = infer(campaign)
    took = time.process_time() - begun
    print(f"\nestimate, 3 materials, 13 cones, 26 seatings: {took:.1f} s in {inferred.fit.steps} steps")
    assert took < LIMIT_S * slowness(time.process_time)
    for key, estimate in inferred.estimates.items():
        assert estimate.knowledge.elastic.hoop_pa == pytest.approx(FILAMENTS[key].hoop_pa, rel=0.02)


def test_modes_and_slopes_of_a_cone(campaign):
    parameters, cone = parameters_of(campaign, 0.013, 0.02), campaign.cones[0]
    values = parameters.mean.copy()
    values[parameters.index[("rig", "bench", "joint_compliance_m_n")]] = 3e-8
    here = Unknowns(parameters, values)
    keys = {cone.material, cone.profile, cone.key, "bench", *(s.key for s in cone.seatings)}
    turned = [place for name, place in parameters.index.items() if name[1] in keys]

    def analytic():
        return computed_modes(campaign, cone, here, 12e3)

    def differences():
        still = [np.log(c.frequency_hz) for c in analytic()]
        columns = []
        for place in turned:
            moved = values.copy()
            moved[place] += 1e-3 * parameters.sd[place]
            found = computed_modes(campaign, cone, Unknowns(parameters, moved), 12e3)
            by = 1e-3 * parameters.sd[place]
            columns.append([(np.log(c.frequency_hz) - f) / by for c, f in zip(found, still, strict=True)])
        return columns

    for place, column in zip(turned, differences(), strict=True):
        slope = analytic()[0].frequency_slope[:, place]
        assert slope == pytest.approx(column[0], abs=2e-2 * max(float(np.abs(column[0]).max()), 1e-3))
    ratio = compare(analytic, differences, rounds=1)
    say("modes of a cone in two seatings, with all slopes", ratio, "forward differences")
    assert ratio.times_faster > 8.0
