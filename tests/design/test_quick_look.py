"""A quick look while somebody designs, held against the full one.

Oracle: the full forecast of the same cone, on a finer air mesh and grid with five times the draws; what a quick look
may differ by follows from the mesh's h² convergence (24 elements against 56) and from a standard deviation of 8 draws.
"""

from __future__ import annotations

import numpy as np
import pytest

from frusta.cone.driver import Bench, Coil, Motor
from frusta.cone.medium import air_at
from frusta.cone.profile import ConeProfile
from frusta.design.forecast import QUICK, forecast
from frusta.design.rig import ForecastRig
from frusta.material.knowledge import handbook_knowledge
from frusta.material.learned import JointKnowledge

JOINT = JointKnowledge(3e-8, 3e-9, 0.0, assumed=False)


@pytest.mark.parametrize(
    ("cone", "mounting", "polymer"),
    [
        (ConeProfile("convex", 0.0125, 0.0385, 0.021, 0.0018, 0.8e-3), "free", "PETG"),
        (ConeProfile("concave", 0.0155, 0.052, 0.033, -0.0012, 1.1e-3), "baffle", "PLA"),
    ],
)
def test_a_quick_look_says_what_the_full_one_says(cone: ConeProfile, mounting: str, polymer: str):
    rig = ForecastRig(Motor(4.1, 2900.0, 0.8), Coil(0.0028, 5.7, 2e-4), Bench(mounting, 0.16), air_at(21.0))
    known = handbook_knowledge("any", polymer=polymer)
    quick, full = forecast(cone, known, rig, JOINT, look=QUICK), forecast(cone, known, rig, JOINT)
    f = quick.response.frequency_hz
    inside = f < 10e3

    def of_full(values):
        return np.interp(np.log(f), np.log(full.response.frequency_hz), values)[inside]

    assert np.max(np.abs(quick.response.level_db[inside] - of_full(full.response.level_db))) < 0.1
    assert np.max(np.abs(quick.response.rigid_db[inside] - of_full(full.response.rigid_db))) < 0.1
    width = (quick.response.high_95_db - quick.response.low_95_db)[inside]
    ratio = width / of_full(full.response.high_95_db - full.response.low_95_db)
    assert 0.6 < np.median(ratio) < 1.6  # a standard deviation from 8 draws is good to a quarter
    for key in ("value", "low_95", "high_95"):
        told = getattr(quick.figures["breakup_hz"], key)
        assert told == pytest.approx(getattr(full.figures["breakup_hz"], key), rel=1e-3)
    assert (quick.mass_g, quick.mass_g_u) == (full.mass_g, full.mass_g_u)
    assert quick.printable == full.printable
    assert quick.assumed == full.assumed
    assert {m.circumferential_order for m in quick.modes} == {0}
