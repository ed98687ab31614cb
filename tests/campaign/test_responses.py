"""The complex responses that an estimate is given. Oracle: a response put into a take's curves by hand."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from frusta.campaign.curves import CURVE_COLUMNS, TakeCurves
from frusta.campaign.findings import Reading
from frusta.campaign.package import Package
from frusta.campaign.resolve import resolve_take
from frusta.campaign.responses import recorded_response, with_responses
from frusta.campaign.rows import Campaign, Rig, Specimen, Take
from frusta.cone.driver import Coil
from frusta.cone.medium import air_at
from frusta.material.observations import CampaignObserved, ConeObserved, RecordedModes, SeatingObserved

HERTZ = 1000.0 * 2.0 ** (np.arange(-480, 400) / 96.0)
PRESSURE = np.exp(1j * HERTZ / 700.0) * (1.0 + HERTZ / 5e3)
TAKES = {"short": (1, 4e-3, "ok"), "long": (1, 6e-3, "look"), "longer": (1, 9e-3, "repeat"), "other": (2, 5e-3, "ok")}


def curves(gate_s: float) -> TakeCurves:
    none = np.empty(0)
    table = {name: np.full(HERTZ.size, np.nan) for name in CURVE_COLUMNS}
    heard = HERTZ > 40.0
    table["frequency_hz"] = HERTZ
    table["level_db"] = np.where(heard, 20.0 * np.log10(np.abs(PRESSURE)), np.nan)
    table["phase_deg"] = np.degrees(np.angle(PRESSURE))
    return TakeCurves(table, none, 0.005, 48000, none, 0.0, none, none, none.reshape(0, 0), none, gate_s)


@pytest.fixture
def resolved():
    package = Package(
        Path("."),
        Path("."),
        Campaign(campaign="ferns", title="Ferns"),
        rigs={"bench": Rig(rig="bench", mounting="free", microphone_distance_mm=120.0)},
        specimens={"fern-1": Specimen(specimen="fern-1", kind="cone")},
        takes={
            key: Take(take=key, specimen="fern-1", rig="bench", seating=seating, recording=f"{key}.wav")
            for key, (seating, _, _) in TAKES.items()
        },
    )
    return [resolve_take(package, take) for take in package.takes.values()]


def test_level_and_phase_become_one_pressure(resolved):
    found = recorded_response(resolved[0], curves(4e-3))
    assert found is not None
    assert found.frequency_hz == pytest.approx(HERTZ[HERTZ > 40.0])
    assert found.pressure == pytest.approx(PRESSURE[HERTZ > 40.0], rel=1e-12)
    assert (found.gate_s, found.session) == (4e-3, "bench")


def test_without_a_gate_there_is_none(resolved):
    assert recorded_response(resolved[0], curves(float("nan"))) is None


def test_each_seating_has_the_take_of_the_longest_gate_that_is_no_repeat(resolved):
    modes = RecordedModes(*np.full((5, 1), 1.0))
    seatings = tuple(SeatingObserved(f"fern-1/{n}", "bench", air_at(20.0, 50.0), 20.0, modes) for n in (1, 2))
    cone = ConeObserved("fern-1", "fern", "p45", 6e-3, 1e-5, Coil(2.5e-3, 5.0), 1e-5, 0.02, seatings)
    readings = [
        Reading(
            take=key,
            specimen="fern-1",
            kind="cone",
            material="fern",
            recipe=None,
            profile="p45",
            session=None,
            seating=seating,
            quality=quality,  # type: ignore[arg-type]
        )
        for key, (seating, _, quality) in TAKES.items()
    ]
    observed = CampaignObserved({}, {}, {}, (cone,))
    every = {key: curves(gate_s) for key, (_, gate_s, _) in TAKES.items()}
    first, second = with_responses(observed, resolved, readings, every).cones[0].seatings
    assert first.response is not None
    assert second.response is not None
    assert (first.response.gate_s, second.response.gate_s) == (6e-3, 5e-3)
    bare = with_responses(observed, resolved, readings, {}).cones[0].seatings
    assert [seating.response for seating in bare] == [None, None]
