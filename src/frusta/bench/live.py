"""What a sitting runs with, and what moves while it sounds: what a view of the bench is told."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from frusta.bench.levelling import LevelReading

COUNTDOWN_S = 3.0


@dataclass(frozen=True)
class BenchSettings:
    """What a sitting runs with.

    Parameters
    ----------
    sweep : str
        Key of the sweep.
    channels : mapping of str to int
        ``microphone_channel``, and ``reference_channel`` and ``current_channel`` where there are such.
    target_db : float or None
        Level that cones are brought to; None: what the first one has.
    tolerance_db : float
    limit_dbfs : float
        The output never goes above this.
    limit_w : float or None
        Nor the mean power of a sweep into the coil above this.
    current_full_scale_a : float or None
        Peak coil current at digital full scale of the current channel.
    start_gain_db : float
        Drive gain before the first levelling.
    automatic_gain : bool
        Whether the gain follows the meter by itself.
    countdown_s : float
    """

    sweep: str
    channels: Mapping[str, int]
    target_db: float | None = None
    tolerance_db: float = 0.5
    limit_dbfs: float = 0.0
    limit_w: float | None = None
    current_full_scale_a: float | None = None
    start_gain_db: float = 0.0
    automatic_gain: bool = False
    countdown_s: float = COUNTDOWN_S


@dataclass(frozen=True)
class Live:
    """What moves while sound plays.

    Parameters
    ----------
    sound : {"", "noise", "countdown", "sweep", "reading"}
        What goes on.
    gain_db : float
        Drive gain.
    limited : bool
        Whether the gain stands at the limit of output or coil.
    level : LevelReading or None
    seconds_left : float
    progress : float
        0 to 1.
    frequency_hz : float
        Where the sweep is.
    peak_dbfs : float
        Loudest so far at the microphone.
    """

    sound: str = ""
    gain_db: float = 0.0
    limited: bool = False
    level: LevelReading | None = None
    seconds_left: float = 0.0
    progress: float = 0.0
    frequency_hz: float = 0.0
    peak_dbfs: float = -200.0
