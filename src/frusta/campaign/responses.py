"""The complex responses of a campaign's takes, as an estimate takes them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from frusta.campaign.curves import TakeCurves
from frusta.campaign.resolve import ResolvedTake
from frusta.material.observations import RecordedResponse

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


def best_response(takes: Sequence[ResolvedTake], curves: Mapping[str, TakeCurves]) -> RecordedResponse | None:
    """Return the response with the longest gate of the takes of one seating."""
    found = [recorded_response(take, curves[take.take.take]) for take in takes if take.take.take in curves]
    known = [response for response in found if response is not None]
    return max(known, key=lambda response: response.gate_s) if known else None
