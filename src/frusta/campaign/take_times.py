"""When takes were recorded."""

from __future__ import annotations

from datetime import datetime

from frusta.campaign.package import Package


def take_times(package: Package) -> dict[str, float]:
    """Return when each take was recorded, seconds; takes without a time, or with one that is none, are left out."""
    times: dict[str, float] = {}
    for key, take in package.takes.items():
        try:
            when = datetime.fromisoformat(take.taken_at) if take.taken_at else None
        except ValueError:
            when = None
        if when is not None:
            naive = when.replace(tzinfo=None) - (when.utcoffset() or when - when)
            times[key] = (naive - datetime(1970, 1, 1)).total_seconds()
    return times
