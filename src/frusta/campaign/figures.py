"""The figures of a reading: which there are, their units, and how two of them are compared."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from frusta.signal.figure_keys import FIGURES

READING_KEYS = FIGURES
"""Keys of the figures of a reading, in order."""


@dataclass(frozen=True)
class Figure:
    """How a figure is compared and put into words.

    Attributes
    ----------
    key : str
        Key of the reading.
    name : str
        What a person calls it.
    scale : {"log", "db"}
        A positive figure is compared by its logarithm, a figure in dB by its difference.
    more, less : str
        Words for "a has more": "{a} breaks up {amount} higher than {b}".
    """

    key: str
    name: str
    scale: Literal["log", "db"]
    more: str
    less: str


COMPARED = (
    Figure("breakup_hz", "break-up", "log", "{a} breaks up {by} higher than {b}", "{a} breaks up {by} lower than {b}"),
    Figure(
        "piston_limit_hz",
        "piston limit",
        "log",
        "{a} moves as one piece up to a frequency {by} higher than {b}",
        "{a} moves as one piece up to a frequency {by} lower than {b}",
    ),
    Figure(
        "breakup_loss_factor",
        "loss factor of the break-up",
        "log",
        "the break-up of {a} has a loss factor {by} higher than that of {b}",
        "the break-up of {a} has a loss factor {by} lower than that of {b}",
    ),
    Figure(
        "breakup_prominence_db",
        "prominence of the break-up",
        "db",
        "the break-up of {a} stands out {by} more than that of {b}",
        "the break-up of {a} stands out {by} less than that of {b}",
    ),
    Figure(
        "tallest_peak_hz",
        "tallest peak",
        "log",
        "the tallest peak of {a} lies {by} higher than that of {b}",
        "the tallest peak of {a} lies {by} lower than that of {b}",
    ),
    Figure(
        "tallest_peak_db",
        "height of the tallest peak",
        "db",
        "the tallest peak of {a} is {by} taller than that of {b}",
        "the tallest peak of {a} is {by} less tall than that of {b}",
    ),
    Figure("level_db", "level", "db", "{a} plays {by} louder than {b}", "{a} plays {by} softer than {b}"),
    Figure(
        "lower_limit_hz",
        "lower limit",
        "log",
        "{a} begins to play {by} higher than {b}",
        "{a} begins to play {by} lower than {b}",
    ),
    Figure(
        "upper_limit_hz",
        "upper limit",
        "log",
        "{a} plays up to a frequency {by} higher than {b}",
        "{a} plays up to a frequency {by} lower than {b}",
    ),
    Figure(
        "unevenness_db",
        "unevenness",
        "db",
        "{a} plays {by} less evenly than {b}",
        "{a} plays {by} more evenly than {b}",
    ),
    Figure(
        "unevenness_common_db",
        "unevenness in the common band",
        "db",
        "{a} plays {by} less evenly than {b} in the common band",
        "{a} plays {by} more evenly than {b} in the common band",
    ),
    Figure(
        "thd_peak_percent",
        "distortion",
        "log",
        "{a} distorts {by} more than {b}",
        "{a} distorts {by} less than {b}",
    ),
    Figure(
        "piston_thd_peak_percent",
        "distortion in the piston band",
        "log",
        "{a} distorts {by} more than {b} in the piston band",
        "{a} distorts {by} less than {b} in the piston band",
    ),
    Figure(
        "input_thd_peak_percent",
        "input distortion",
        "log",
        "{a} distorts {by} more than {b}, its own peaks taken out",
        "{a} distorts {by} less than {b}, its own peaks taken out",
    ),
    Figure("buzz_peak_percent", "buzz", "log", "{a} buzzes {by} more than {b}", "{a} buzzes {by} less than {b}"),
    Figure(
        "decay_5_percent_ms",
        "time to fall to 5 %",
        "log",
        "{a} takes {by} longer than {b} to fall to 5 %",
        "{a} falls to 5 % in {by} less time than {b}",
    ),
    Figure(
        "decay_2_percent_ms",
        "time to fall to 2 %",
        "log",
        "{a} takes {by} longer than {b} to fall to 2 %",
        "{a} falls to 2 % in {by} less time than {b}",
    ),
)
"""Figures that groups are compared by, the most telling first."""

FIGURE = {figure.key: figure for figure in COMPARED}
