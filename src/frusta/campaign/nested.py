"""Scatter by levels: takes nest in seatings, seatings in prints, prints in groups."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

Seatings = Mapping[int, Sequence[float]]
"""Values of the takes of one print, by seating."""

Groups = Mapping[str, Mapping[str, Seatings]]
"""Values by group, print and seating."""


@dataclass(frozen=True)
class Scatter:
    """Scatter within groups, pooled over all of them.

    Mean squares are those of *means*: of the takes in a seating, of the seating means in a print, of the print
    means in a group. A mean square without degrees of freedom is NaN.

    Attributes
    ----------
    print_square, seating_square, take_square : float
        Unweighted mean squares.
    print_degrees, seating_degrees, take_degrees : int
        Their degrees of freedom.
    variance_print, variance_seating, variance_take : float
        Variance components, not below zero; NaN where a level was never repeated. Where takes were not repeated,
        the seating's component holds the take's, and where seatings were not repeated the print's holds both.
    """

    print_square: float
    seating_square: float
    take_square: float
    print_degrees: int
    seating_degrees: int
    take_degrees: int
    variance_print: float
    variance_seating: float
    variance_take: float


@dataclass(frozen=True)
class Spread:
    """Variance of a mean or of a difference, and how well it is known.

    Attributes
    ----------
    variance : float
        Square of the standard error.
    degrees : float
        Degrees of freedom after Satterthwaite.
    """

    variance: float
    degrees: float


def print_mean(seatings: Seatings) -> float:
    """Return the mean of a print: every seating weighs the same, whatever its number of takes."""
    return float(np.mean([np.mean(takes) for takes in seatings.values()]))


def group_mean(prints: Mapping[str, Seatings]) -> float:
    """Return the mean of a group: every print weighs the same, whatever its number of seatings."""
    return float(np.mean([print_mean(seatings) for seatings in prints.values()]))


def scatter(groups: Groups) -> Scatter:
    """Return the scatter within groups, by the analysis of unweighted means.

    Parameters
    ----------
    groups : mapping
        Values by group, print and seating; any of the levels may be unbalanced.

    Returns
    -------
    Scatter
        In balanced data the classical nested analysis of variance; in unbalanced data each sum of squares is
        equated to its exact expectation.

    References
    ----------
    G. W. Snedecor, W. G. Cochran, Statistical Methods (1967), on nested classifications; R. K. Burdick,
    F. A. Graybill, Confidence Intervals on Variance Components (1992), on unweighted means.
    """
    take_sum, take_degrees = 0.0, 0
    seating_sum, seating_degrees, seating_takes = 0.0, 0, 0.0
    print_sum, print_degrees, print_seatings, print_takes = 0.0, 0, 0.0, 0.0
    for prints in groups.values():
        means, of_seating, of_take = [], [], []
        for seatings in prints.values():
            count = len(seatings)
            inner = [float(np.mean(takes)) for takes in seatings.values()]
            inverse = float(np.mean([1 / len(takes) for takes in seatings.values()]))
            take_sum += sum(
                float(np.sum((np.asarray(t) - m) ** 2)) for t, m in zip(seatings.values(), inner, strict=True)
            )
            take_degrees += sum(len(takes) - 1 for takes in seatings.values())
            seating_sum += float(np.sum((np.asarray(inner) - np.mean(inner)) ** 2))
            seating_degrees += count - 1
            seating_takes += (count - 1) * inverse
            means.append(float(np.mean(inner)))
            of_seating.append(1 / count)
            of_take.append(inverse / count)
        print_sum += float(np.sum((np.asarray(means) - np.mean(means)) ** 2))
        print_degrees += len(means) - 1
        if len(means) > 1:
            print_seatings += (1 - 1 / len(means)) * sum(of_seating)
            print_takes += (1 - 1 / len(means)) * sum(of_take)
    take = take_sum / take_degrees if take_degrees else np.nan
    known_take = take if take_degrees else 0.0
    seating = np.nan
    if seating_degrees:
        seating = max((seating_sum - known_take * seating_takes) / seating_degrees, 0.0)
    known_seating = seating if seating_degrees else 0.0
    between = np.nan
    if print_degrees:
        between = max((print_sum - known_seating * print_seatings - known_take * print_takes) / print_degrees, 0.0)
    return Scatter(
        print_square=print_sum / print_degrees if print_degrees else np.nan,
        seating_square=seating_sum / seating_degrees if seating_degrees else np.nan,
        take_square=take,
        print_degrees=print_degrees,
        seating_degrees=seating_degrees,
        take_degrees=take_degrees,
        variance_print=between,
        variance_seating=seating,
        variance_take=take,
    )


def difference_spread(pooled: Scatter, pooled_over: Groups, compared: Sequence[Mapping[str, Seatings]]) -> Spread:
    """Return the variance of a difference between two group means (or of one mean), counted by prints.

    The scatter of print means is what a difference feels, so it is used as it is; only where the groups compared
    have more or fewer seatings a print than those it was pooled over is the seatings' share corrected.

    Parameters
    ----------
    pooled : Scatter
        Of all groups of the figure.
    pooled_over : mapping
        The groups that `pooled` came from.
    compared : sequence of mapping
        The one or two groups of the mean or difference.

    Returns
    -------
    Spread
        Variance is NaN, with 0 degrees of freedom, where no group has two prints.

    References
    ----------
    F. E. Satterthwaite, An approximate distribution of estimates of variance components, Biometrics Bull. 2 (1946).
    """
    if not pooled.print_degrees:
        return Spread(np.nan, 0.0)
    prints = sum(1 / len(group) for group in compared)
    main = prints * pooled.print_square
    if not pooled.seating_degrees:
        return Spread(main, float(pooled.print_degrees))
    usual = _mean_inverse_seatings(pooled_over)
    here = sum(sum(1 / len(s) for s in group.values()) / len(group) ** 2 for group in compared)
    floor = here * pooled.seating_square
    correction = (here - prints * usual) * pooled.seating_square
    variance = main + correction
    if variance <= floor:  # print means scatter less than their seatings explain: by accident, so not believed
        return Spread(floor, float(pooled.print_degrees))
    squares = main**2 / pooled.print_degrees + correction**2 / pooled.seating_degrees
    return Spread(variance, variance**2 / squares if squares > 0 else float(pooled.print_degrees))


def add_spreads(first: Spread, second: Spread) -> Spread:
    """Return the spread of the sum of two independent quantities.

    Parameters
    ----------
    first, second : Spread
        Variances with their degrees of freedom; one without variance adds nothing.

    Returns
    -------
    Spread
        Degrees of freedom after Welch and Satterthwaite (JCGM 100:2008, G.4).
    """
    if not second.variance > 0 or not first.variance > 0:
        return first if not second.variance > 0 else second
    total = first.variance + second.variance
    degrees = total**2 / (first.variance**2 / first.degrees + second.variance**2 / second.degrees)
    return Spread(total, degrees)


def _mean_inverse_seatings(groups: Groups) -> float:
    """Mean of one over the seatings of a print, weighted as the pooled scatter of print means weights it."""
    total, weight = 0.0, 0.0
    for prints in groups.values():
        if len(prints) > 1:
            share = 1 - 1 / len(prints)
            total += share * sum(1 / len(seatings) for seatings in prints.values())
            weight += len(prints) - 1
    return total / weight
