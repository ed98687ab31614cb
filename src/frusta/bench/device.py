"""What the bench asks of any sound device, real or virtual: play a signal, hand back what was heard, stop at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from frusta.errors import FrustaError

Floats = NDArray[np.float64]
Block = NDArray[np.float32]

Heard = Callable[[Block], None]
"""Called with each block of recorded samples, shape (frames, channels), as it comes."""


class DeviceError(FrustaError):
    """The sound device cannot do what is asked, or stopped doing it; the take is not counted."""


@dataclass(frozen=True)
class Playing:
    """What came of playing a signal.

    Parameters
    ----------
    samples : ndarray, shape (n, channels)
        What was recorded from the first played sample on.
    stopped : bool
        Whether it was stopped before the end.
    flags : tuple of str
        What the driver said of slips; it does not say all, and not all that it says is one.
    """

    samples: Floats
    stopped: bool = False
    flags: tuple[str, ...] = ()


class Device(Protocol):
    """A full-duplex sound device at one sample rate.

    Parameters
    ----------
    name : str
        As the maker reads it.
    sample_rate_hz : int
    channels : int
        Input channels that are recorded.
    """

    name: str
    sample_rate_hz: int
    channels: int

    def play(self, signal: Floats, *, repeat: bool = False, heard: Heard | None = None) -> Playing:
        """Play a signal and record meanwhile; returns at its end, or within 50 ms of `stop`.

        Parameters
        ----------
        signal : ndarray, shape (n,)
            ±1.
        repeat : bool
            Play it over and over until stopped; then nothing is kept but what `heard` was told.
        heard : callable, optional

        Raises
        ------
        DeviceError
            If the device fails; nothing sounds then.
        """

    def stop(self) -> None:
        """Silence the output within 50 ms; from any thread, any number of times."""

    def set_gain(self, gain_db: float) -> None:
        """Change the gain of what is playing, without a click (over 20 ms)."""

    def seat(self, specimen: str, seating: int, take: str = "") -> None:
        """Say what stands on the rig; only a virtual device needs to know."""

    def close(self) -> None:
        """Let the device go."""
