"""How many prints it takes to show a difference, and how small a difference some prints can show."""

from __future__ import annotations

import math

from scipy.stats import t as student_t

from frusta.campaign.studentized import joint_factor
from frusta.errors import ParameterError

POWER = 0.8
"""How surely a true difference is to be shown."""

MOST_PRINTS = 99


def smallest_gap(prints: float, sd: float, groups: int = 2, power: float = POWER) -> float:
    """Return the true difference that `prints` prints each would show with probability `power`.

    Parameters
    ----------
    prints : float
        Prints a group, > 1; the harmonic mean where groups differ.
    sd : float
        Standard deviation of a print's mean (natural logarithm of the figure), >= 0.
    groups : int, optional
        Groups compared jointly, >= 2.
    power : float, optional
        Probability that the joint 95 % interval leaves out no difference, above 0.5 and below 1.

    Returns
    -------
    float
        Difference of the natural logarithms; the usual central-t approximation, a few per cent high for two
        prints each.

    Raises
    ------
    ParameterError
        If there is no more than one print a group.
    """
    if not prints > 1 or groups < 2 or not 0.5 < power < 1:
        raise ParameterError(
            f"prints must be above 1, groups 2 or more, power from 0.5 to 1 (got {prints}, {groups}, {power}); "
            "one print a group shows no scatter"
        )
    degrees = groups * (prints - 1)
    reach = joint_factor(groups, degrees) + float(student_t.ppf(power, degrees))
    return reach * sd * math.sqrt(2 / prints)


def prints_needed(gap: float, sd: float, groups: int = 2, power: float = POWER) -> int | None:
    """Return the prints each group needs to show a true difference `gap`, or None above `MOST_PRINTS`.

    Parameters
    ----------
    gap : float
        Difference of the natural logarithms.
    sd : float
        Standard deviation of a print's mean, on the same scale.
    groups : int, optional
        Groups compared jointly.
    power : float, optional
        Probability of showing it.

    Returns
    -------
    int or None
        At least 2.
    """
    low, high = 2, MOST_PRINTS
    if smallest_gap(high, sd, groups, power) > abs(gap):
        return None
    while low < high:
        middle = (low + high) // 2
        if smallest_gap(middle, sd, groups, power) <= abs(gap):
            high = middle
        else:
            low = middle + 1
    return low
