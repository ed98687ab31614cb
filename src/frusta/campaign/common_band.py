"""Unevenness over the band that every cone of the campaign reaches, so that an early end is no reward."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from frusta.campaign.curves import TakeCurves
from frusta.campaign.findings import Reading
from frusta.signal.level import unevenness_db

LOW_HZ = 200.0


def with_common_unevenness(readings: Sequence[Reading], curves: Mapping[str, TakeCurves]) -> list[Reading]:
    """Return the readings with ``unevenness_common_db`` filled in, or the reason why it cannot be.

    Parameters
    ----------
    readings : sequence of Reading
        Of the whole campaign.
    curves : mapping of str to TakeCurves
        By take.

    Returns
    -------
    list of Reading
        In the same order. The band runs from 200 Hz to the lowest upper limit of any cone (takes to repeat left
        out); a cone whose response does not fall within the sweep does not limit it.
    """
    limits = [r.upper_limit_hz for r in readings if _counts(r) and r.upper_limit_hz is not None]
    top_hz = min(limits, default=None)
    return [_with(reading, top_hz, curves) for reading in readings]


def unevenness_in_band(
    readings: Sequence[Reading],
    curves: Mapping[str, TakeCurves],
    low_hz: float | None,
    high_hz: float | None,
) -> dict[str, float]:
    """Return half of max − min of the 1/12-octave-smoothed response within the campaign's band, dB, by take.

    Parameters
    ----------
    readings : sequence of Reading
        With ``unevenness_common_db`` filled in, which is given where the campaign names no band.
    curves : mapping of str to TakeCurves
        By take.
    low_hz, high_hz : float or None
        The band; without its lower end 200 Hz.

    Returns
    -------
    dict of str to float
        Takes whose response does not span the band are left out.
    """
    found: dict[str, float] = {}
    for reading in readings:
        value = reading.unevenness_common_db
        if high_hz is not None:
            value = _unevenness(curves.get(reading.take), low_hz or LOW_HZ, high_hz)
        if value is not None:
            found[reading.take] = value
    return found


def _unevenness(curves: TakeCurves | None, low_hz: float, high_hz: float) -> float | None:
    """Unevenness between two frequencies, or None where the response does not span them."""
    if curves is None or not low_hz < high_hz:
        return None
    table = curves.table
    known = np.isfinite(table["level_db"]) & (table["frequency_hz"] > 0)
    frequency_hz, level = table["frequency_hz"][known], table["level_db"][known]
    if not frequency_hz.size or frequency_hz[0] > low_hz * 1.01 or frequency_hz[-1] < high_hz * 0.99:
        return None
    return unevenness_db(frequency_hz, 10 ** (level / 10), low_hz, high_hz)


def _counts(reading: Reading) -> bool:
    return reading.kind == "cone" and reading.quality != "repeat"


def _with(reading: Reading, top_hz: float | None, curves: Mapping[str, TakeCurves]) -> Reading:
    if reading.take not in curves:
        return reading
    value, why = None, "no cone of the campaign has an upper limit within the sweep"
    if reading.kind == "coupon":
        why = "a coupon is tapped, not played"
    elif top_hz is not None and top_hz <= LOW_HZ:
        why = f"the band common to all cones ends at {top_hz:.0f} Hz, below 200 Hz"
    elif top_hz is not None:
        value = _unevenness(curves[reading.take], LOW_HZ, top_hz)
        why = f"the response of this take does not span 200 Hz to {top_hz:.0f} Hz"
    reasons = {key: text for key, text in reading.reasons.items() if key != "unevenness_common_db"}
    if value is None:
        reasons["unevenness_common_db"] = why
    return reading.model_copy(update={"unevenness_common_db": value, "reasons": reasons})
