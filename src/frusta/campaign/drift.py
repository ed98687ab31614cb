"""What the rig's level did from take to take, as the check cone heard it first and last in each session."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from frusta.campaign.findings import Reading


@dataclass(frozen=True)
class Drift:
    """Level of the rig at every take of a session that heard the check cone.

    Attributes
    ----------
    level_db : dict of str to float
        By take: level above the campaign's mean, to be subtracted from what was recorded.
    leans_on : dict of str to dict of str to float
        By take: the check cone's takes that its figure was interpolated from, with their weights.
    """

    level_db: dict[str, float] = field(default_factory=dict)
    leans_on: dict[str, dict[str, float]] = field(default_factory=dict)

    def check_weights(self, weights: Mapping[str, float]) -> dict[str, float]:
        """Return how a weighted sum of takes leans on each of the check cone's takes.

        Parameters
        ----------
        weights : mapping of str to float
            Weight of each take in the sum.

        Returns
        -------
        dict of str to float
            Weight of each check take; the variance they bring is the sum of their squares times the variance of
            one check reading.
        """
        total: dict[str, float] = {}
        for take, weight in weights.items():
            for check, share in self.leans_on.get(take, {}).items():
                total[check] = total.get(check, 0.0) + weight * share
        return total


def session_drift(readings: Sequence[Reading], taken_at_s: Mapping[str, float]) -> Drift:
    """Return the rig's drift, interpolated between the check cone's readings of each session.

    Parameters
    ----------
    readings : sequence of Reading
        All takes; those of kind ``check`` that have a level and need no repeat are used.
    taken_at_s : mapping of str to float
        When each take was recorded, seconds on any clock common to a session. Takes without a time, and all takes
        of sessions whose check takes lack it, get the session's mean.

    Returns
    -------
    Drift
        Empty where no check cone was heard. Two check cones in one session are averaged, each against its own
        mean over the campaign.
    """
    checks = [r for r in readings if r.kind == "check" and r.level_db is not None and r.quality != "repeat"]
    if not checks:
        return Drift()
    own = {
        specimen: float(np.mean(_session_means([r for r in checks if r.specimen == specimen])))
        for specimen in dict.fromkeys(r.specimen for r in checks)
    }
    drift = Drift()
    for reading in readings:
        here = [r for r in checks if r.session == reading.session]
        if reading.level_db is None or not here:
            continue
        weights = _interpolation([taken_at_s.get(r.take) for r in here], taken_at_s.get(reading.take))
        drift.leans_on[reading.take] = {r.take: w for r, w in zip(here, weights, strict=True) if w}
        drift.level_db[reading.take] = sum(
            w * (r.level_db - own[r.specimen]) for r, w in zip(here, weights, strict=True) if r.level_db is not None
        )
    return drift


def _session_means(checks: Sequence[Reading]) -> list[float]:
    sessions = dict.fromkeys(r.session for r in checks)
    return [float(np.mean([r.level_db for r in checks if r.session == s and r.level_db is not None])) for s in sessions]


def _interpolation(known: Sequence[float | None], wanted: float | None) -> list[float]:
    """Weights of the known times for a wanted one: linear between neighbours, constant beyond, else the mean."""
    times = [time for time in known if time is not None]
    if wanted is None or len(times) < len(known):
        return [1 / len(known)] * len(known)
    before = [time for time in times if time <= wanted]
    after = [time for time in times if time >= wanted]
    low, high = (max(before) if before else min(after)), (min(after) if after else max(before))
    share = (wanted - low) / (high - low) if high > low else 0.0
    weights = [(1 - share) * (time == low) + share * (time == high and high > low) for time in times]
    total = sum(weights)
    return [float(weight / total) for weight in weights]
