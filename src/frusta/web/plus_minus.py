"""A figure with half of its 95 % interval, both in one unit."""

from __future__ import annotations

from frusta.publish.words import NBSP, decimals_for, plain, scaled


def plus_minus(value: float, half: float, unit: str) -> str:
    r"""Return a figure and half of its interval; the digits follow the interval.

    >>> plus_minus(3995.75, 17.6, "Hz"), plus_minus(0.0234, 0.0011, "")
    ('3.996\xa0±\xa00.018\xa0kHz', '0.0234\xa0±\xa00.0011')
    """
    factor, shown = scaled(value, unit)
    digits = decimals_for(half / factor, value / factor)
    text = f"{plain(value / factor, digits)}{NBSP}±{NBSP}{plain(half / factor, digits)}"
    return f"{text}{NBSP}{shown}" if shown else text
