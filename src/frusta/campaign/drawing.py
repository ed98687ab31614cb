"""The geometry of a cone from its row of profiles.csv: millimetres become metres, empty words what they stand for."""

from __future__ import annotations

from frusta.campaign.rows import Profile
from frusta.cone.profile import ConeProfile


def cone_of(profile: Profile) -> ConeProfile:
    """Return the geometry of a cone profile.

    Raises
    ------
    ParameterError
        If there can be no such cone.
    """
    return ConeProfile(
        shape=profile.shape,
        neck_radius_m=1e-3 * profile.neck_radius_mm,
        rim_radius_m=1e-3 * profile.rim_radius_mm,
        depth_m=1e-3 * profile.depth_mm,
        bow_m=1e-3 * profile.bow_mm,
        wall_m=1e-3 * profile.wall_mm,
        wall_rule=profile.wall_rule or "normal",
        cap=profile.cap or "none",
    )
