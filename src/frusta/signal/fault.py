"""What can be wrong with a take, in the words of the trade, and what to do about it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

Quality = Literal["ok", "look", "repeat"]
FAULT_WORDS = (
    "clipped",
    "dropout",
    "silent",
    "wrong-sweep",
    "noisy",
    "burst",
    "reflection",
    "truncated",
    "misaligned",
    "clock",
    "level",
)


@dataclass(frozen=True)
class Fault:
    """One fault of a take.

    Attributes
    ----------
    fault : str
        One of `FAULT_WORDS`.
    where : str
        Time, and where it is known the frequency that was being swept.
    what_to_do : str
        In plain words.
    quality : "look" or "repeat"
        What this fault alone makes of the take.
    time_s, frequency_hz : float or None
        From the start of the recording; frequency swept then.
    """

    fault: str
    where: str
    what_to_do: str
    quality: Quality
    time_s: float | None = None
    frequency_hz: float | None = None


@dataclass(frozen=True)
class SweepPlace:
    """Where the exponential sweep stands in what was played; ``rate_s`` None if it is another signal.

    Attributes
    ----------
    begin_s, end_s : float
        Sounding part, s from the start of what was played.
    start_hz, stop_hz : float
        Hz.
    rate_s : float or None
        Time in which the frequency grows e-fold, s.
    """

    begin_s: float
    end_s: float
    start_hz: float
    stop_hz: float
    rate_s: float | None

    def frequency_at(self, time_s: float) -> float | None:
        """Return the frequency swept at a time of what was played, Hz; None outside the sweep."""
        if self.rate_s is None or not self.begin_s <= time_s <= self.end_s:
            return None
        return self.start_hz * math.exp((time_s - self.begin_s) / self.rate_s)

    def time_of(self, frequency_hz: float) -> float:
        """Return when a frequency is swept, s of what was played; the middle of the signal if it is no sweep."""
        if self.rate_s is None:
            return 0.5 * (self.begin_s + self.end_s)
        return self.begin_s + self.rate_s * math.log(frequency_hz / self.start_hz)


def place_in_words(time_s: float, frequency_hz: float | None) -> str:
    """Return "at 3.299 s, while 412 Hz was swept".

    Examples
    --------
    >>> place_in_words(3.2991, 412.3)
    'at 3.299 s, while 412 Hz was swept'
    >>> place_in_words(0.1, None)
    'at 0.100 s'
    """
    swept = "" if frequency_hz is None else f", while {frequency_hz:.0f} Hz was swept"
    return f"at {time_s:.3f} s{swept}"
