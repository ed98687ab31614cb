"""Goal and limits of a search for the best cone, as a maker writes them in the terminal or on the page."""

from __future__ import annotations

import re
from collections.abc import Mapping

from frusta.campaign.allowed_cones import Wish
from frusta.design.goal import PARTS, Goal, read_goal
from frusta.errors import ParameterError

OPTIONS = {"rim_mm": "--rim-mm", "depth_mm": "--depth-mm", "bow_mm": "--bow-mm", "wall_mm": "--wall-mm"}
"""What the limits are called in the terminal."""
_ANY_BAND = (1.0, 2.0)


def wish_of(goal: str | None, limits: Mapping[str, str | None], called: Mapping[str, str] = OPTIONS) -> Wish:
    """Return goal and limits as told.

    Parameters
    ----------
    goal : str or None
        As `frusta.design.goal.read_goal` takes it; None leaves it to the campaign.
    limits : mapping of str to (str or None)
        By name of a field of `Wish`: LOW:HIGH, "LOW to HIGH" or one number that holds it, mm; None where the campaign
        decides.
    called : mapping of str to str
        What a refusal calls them.

    Raises
    ------
    ParameterError
        If one cannot be read, the band is none, or nothing weighs.

    Examples
    --------
    >>> wish_of("mass 10", {"rim_mm": "40:50", "bow_mm": "0"}).rim_mm
    (40.0, 50.0)
    """
    weights, band = (None, None) if goal is None else read_goal(goal)
    if weights is not None:
        Goal(band or _ANY_BAND, weights, dict.fromkeys(PARTS, 1.0))  # says at once what no search could use
    spans = {name: _span(called[name], text) for name, text in limits.items() if text is not None}
    return Wish(weights, band, **spans)


def _span(called: str, text: str) -> tuple[float, float]:
    ends = re.split(r":|\.\.|\bto\b", text.replace("\u2212", "-"))
    try:
        low, high = (float(end.strip().replace(",", ".")) for end in (ends[0], ends[-1]))
    except ValueError:
        low, high = 1.0, 0.0
    if len(ends) > 2 or not low <= high:
        example = f"{called} 40:50" if called.startswith("--") else "40:50"
        raise ParameterError(f"{called} must be LOW:HIGH or one number, in mm (got {text}); write it as in {example}")
    return low, high
