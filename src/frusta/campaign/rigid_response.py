"""The rigid cone's own response for each take: same shape, mass, motor, mounting, distance and air."""

from __future__ import annotations

from frusta.campaign.resolve import ResolvedTake
from frusta.signal.level import RigidResponse


def rigid_response(resolved: ResolvedTake) -> tuple[RigidResponse | None, str | None]:
    """Return the rigid cone's response on axis, or the reason why it cannot be computed."""
    return None, "the rigid cone's response is not computed yet"
