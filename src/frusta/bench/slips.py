"""Lost, doubled or torn samples, found in a loopback of what was played.

The loopback is read as if it were a take: it is the cleanest there can be, flat and without a room, so that what the
reading finds of lost samples in a microphone's channel it finds here down to a single one.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from frusta.signal.fault import Fault
from frusta.signal.reading import Conditions, TakeSignals, read_take
from frusta.signal.sweep import Sweep

Floats = NDArray[np.float64]

TORN = ("dropout", "truncated", "wrong-sweep", "burst")
"""What a loopback can only show if samples are missing or torn: nothing bangs in a cable."""

GAP_PERIODS = 2.0
GAP_SHARE = 0.1
"""A window of two periods of the lowest frequency, less than a tenth as loud as the others: silence."""


def find_slip(reference: Floats, played: Sweep | Floats, sample_rate_hz: float) -> Fault | None:
    """Return the gravest sign of lost or torn samples in a loopback, or None if it is whole.

    Parameters
    ----------
    reference : ndarray, shape (n,)
        The loopback as recorded.
    played : Sweep or ndarray, shape (m,)
        What was played.
    sample_rate_hz : float

    Returns
    -------
    Fault or None
        None for a silent loopback, too: that is another fault. A steady drift, as of two clocks, is none.
    """
    if not np.any(reference):
        return None
    law = played if isinstance(played, Sweep) else None
    file = None if isinstance(played, Sweep) else played
    found = read_take(TakeSignals(reference, sample_rate_hz, played=file, sweep=law), Conditions())
    torn = next((f for f in found.faults if f.fault in TORN and f.quality == "repeat"), None)
    return torn or (None if law is None else _gap(reference, law))


def _gap(reference: Floats, sweep: Sweep) -> Fault | None:
    """A stretch of silence within the sweep, whose loopback is equally loud throughout."""
    size = max(1, round(GAP_PERIODS / sweep.start_hz * sweep.sample_rate_hz))
    count = reference.size // size
    peaks = np.max(np.abs(reference[: count * size].reshape(count, size)), axis=1)
    loud = np.flatnonzero(peaks > 0.5 * np.max(peaks))
    inside = peaks[loud[0] : loud[-1] + 1]
    quiet = np.flatnonzero(inside < GAP_SHARE * np.median(inside))
    if quiet.size == 0:
        return None
    at_s = float((loud[0] + quiet[0]) * size / sweep.sample_rate_hz)
    return Fault("dropout", f"at {at_s:.2f} s, silence within the sweep", "sweep again", "repeat", at_s)
