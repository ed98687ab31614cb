"""The complex responses of a campaign's takes, as an estimate takes them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from frusta.campaign.curves import TakeCurves
from frusta.campaign.findings import Reading
from frusta.campaign.resolve import ResolvedTake
from frusta.material.observations import CampaignObserved, RecordedResponse

LEAST_POINTS = 96


def recorded_response(take: ResolvedTake, curves: TakeCurves) -> RecordedResponse | None:
    """Return the gated response of a take, or None where it has none.

    Parameters
    ----------
    take : ResolvedTake
    curves : TakeCurves
        Of it; its microphone's calibration is taken out already.
    """
    hertz, level, phase = (curves.table[name] for name in ("frequency_hz", "level_db", "phase_deg"))
    known = np.isfinite(level) & np.isfinite(phase) & (hertz > 0.0)
    if int(known.sum()) < LEAST_POINTS or not curves.reflection_free_s > 0.0 or math.isinf(curves.reflection_free_s):
        return None
    turn = np.exp(1j * np.radians(phase[known]))
    pressure = np.asarray(10.0 ** (level[known] / 20.0) * turn, dtype=np.complex128)
    session = take.session.session if take.session else take.rig.rig
    return RecordedResponse(hertz[known], pressure, curves.reflection_free_s, session)


def with_responses(
    observed: CampaignObserved,
    resolved: Sequence[ResolvedTake],
    readings: Sequence[Reading],
    curves: Mapping[str, TakeCurves],
) -> CampaignObserved:
    """Return what is observed with a complex response of each seating that has one: that of the longest gate.

    Parameters
    ----------
    observed : CampaignObserved
    resolved : sequence of ResolvedTake
    readings : sequence of Reading
        Takes of quality `repeat` are left out.
    curves : mapping of str to TakeCurves
        By take.
    """
    usable = {reading.take for reading in readings if reading.quality != "repeat"}
    best: dict[str, RecordedResponse] = {}
    for take in resolved:
        key = take.take.take
        if key not in usable or key not in curves or take.kind == "tap" or take.specimen.kind != "cone":
            continue
        found, seating = recorded_response(take, curves[key]), f"{take.specimen.specimen}/{take.take.seating}"
        if found is not None and (seating not in best or found.gate_s > best[seating].gate_s):
            best[seating] = found
    cones = tuple(
        replace(cone, seatings=tuple(replace(s, response=best.get(s.key)) for s in cone.seatings))
        for cone in observed.cones
    )
    return replace(observed, cones=cones)
