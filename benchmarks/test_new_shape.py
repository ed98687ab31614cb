"""A forecast from the campaign's figures to its band: air kept, and a shape never seen; and what of it costs what.

The named alternative is the least that the band would take by general-purpose means: the ten lowest modes of each of
the forty cones it is drawn from, order 0, by scikit-fem with eigsh. A forecast has air, responses and bell modes
besides, and may take twice that.
"""

from __future__ import annotations

import time
from dataclasses import replace
from itertools import count
from pathlib import Path

import pytest
from ratio import compare, least_s, say, slowness
from test_cone import scikit_fem_modes
from test_forecast import CONE, JOINT, KNOWN, RIG

from frusta.cone.air_cache import forget
from frusta.design.forecast import forecast

LIMIT_S, NEW_SHAPE_LIMIT_S = 1.5, 3.0
CONES = 40


@pytest.fixture(autouse=True)
def empty_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No air of an earlier run."""
    monkeypatch.setenv("FRUSTA_CACHE", str(tmp_path))
    forget()


def test_a_forecast_with_its_air_kept() -> None:
    took = least_s(lambda: forecast(CONE, KNOWN, RIG, JOINT), 3, time.process_time)
    print(f"\nforecast with band, air kept: {took:.2f} s of a processor")
    assert took <= LIMIT_S * slowness(time.process_time)


def test_a_forecast_of_a_new_shape() -> None:
    """Each round another depth, so that no air is kept from the last."""
    depths = (CONE.depth_m + 1e-4 * number for number in count())
    took = least_s(lambda: forecast(replace(CONE, depth_m=next(depths)), KNOWN, RIG, JOINT), 3, time.process_time)
    print(f"\nforecast with band, new shape: {took:.2f} s of a processor")
    assert took <= NEW_SHAPE_LIMIT_S * slowness(time.process_time)


def test_a_forecast_against_scikit_fem() -> None:
    found = compare(
        lambda: forecast(CONE, KNOWN, RIG, JOINT), lambda: [scikit_fem_modes() for _ in range(CONES)], rounds=1
    )
    say("forecast with band, air kept", found, f"{CONES} cones' ten modes by scikit-fem with eigsh")
    assert found.times_faster > 0.5
