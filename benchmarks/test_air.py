"""The air's matrices of one profile, computed afresh, free and in a baffle."""

from __future__ import annotations

import time

import pytest
from ratio import least_s, slowness

from frusta.cone.air import compute_screen_air
from frusta.cone.air_cache import DEFAULT_TOP_WAVENUMBER
from frusta.cone.air_mesh import air_mesh
from frusta.cone.baffle import compute_baffled_air
from frusta.cone.profile import ConeProfile

PROFILE = ConeProfile("convex", 0.012, 0.052, 0.035, 0.003, 0.9e-3)


@pytest.mark.parametrize(("mounting", "limit_s"), [("free", 0.25), ("baffle", 0.6)])
def test_air_of_a_profile(mounting: str, limit_s: float) -> None:
    mesh = air_mesh(PROFILE.meridian)

    def compute() -> None:
        if mounting == "free":
            compute_screen_air(mesh, 1, DEFAULT_TOP_WAVENUMBER)
        else:
            compute_baffled_air(mesh, 0, DEFAULT_TOP_WAVENUMBER)

    took = least_s(compute, 3, time.process_time)
    print(f"\nair, {mounting}: {1e3 * took:.0f} ms")
    assert took < limit_s * slowness(time.process_time)
