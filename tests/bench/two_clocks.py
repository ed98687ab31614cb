"""A microphone with a clock of its own, without any hardware: a driver that gives two devices, and air between them."""

from __future__ import annotations

import threading

import numpy as np

HALF = 48
"""Taps on each side; the window is Kaiser's with beta 9: images below −90 dB up to 0.45 of the rate."""

BLOCK = 480


class OtherClock:
    """Reads a signal at the moments of a clock that is fast by some parts per million, by a windowed sinc.

    Parameters
    ----------
    ppm : float
        Fast is positive: more samples come out than go in.
    """

    def __init__(self, ppm: float) -> None:
        self._step = 1.0 / (1.0 + 1e-6 * ppm)
        self._held = np.zeros(2 * HALF)
        self._at = float(HALF)

    def feed(self, samples: np.ndarray) -> np.ndarray:
        """Take samples, give those that can be told by now."""
        held = np.concatenate([self._held, samples])
        count = max(0, int(np.ceil((held.size - HALF - self._at) / self._step)))
        moments = self._at + self._step * np.arange(count)
        first = np.floor(moments).astype(int) - HALF + 1
        taps = first[:, None] + np.arange(2 * HALF)
        away = moments[:, None] - taps
        window = np.i0(9.0 * np.sqrt(np.clip(1.0 - (away / HALF) ** 2, 0.0, None))) / np.i0(9.0)
        found = np.sum(held[taps] * np.sinc(away) * window, axis=1)
        following = self._at + self._step * count
        drop = max(0, int(following) - HALF)
        self._held, self._at = held[drop:], following - drop
        return found


class TwoClockDriver:
    """What the sound card asks of its driver's library: a loudspeaker, and a microphone with a clock of its own.

    Parameters
    ----------
    ppm : float
        How much faster the microphone's clock is.
    """

    class PortAudioError(Exception):
        """As the driver's library names its errors."""

    def __init__(self, ppm: float) -> None:
        self.ppm = ppm
        self.opened: list[str] = []
        self._listener: _FakeStream | None = None

    def query_hostapis(self) -> list[dict[str, str]]:
        return [{"name": "fake"}]

    def query_devices(self) -> list[dict[str, object]]:
        common = {"hostapi": 0, "default_samplerate": 48000.0}
        return [
            {"index": 0, "name": "loudspeaker", "max_input_channels": 0, "max_output_channels": 2, **common},
            {"index": 1, "name": "usbmic", "max_input_channels": 1, "max_output_channels": 0, **common},
        ]

    def check_input_settings(self, **_: object) -> None:
        """Anything goes."""

    check_output_settings = check_input_settings

    def InputStream(self, **how: object) -> _FakeStream:
        self.opened.append("input")
        self._listener = _FakeStream(self, how["callback"], None)
        return self._listener

    def OutputStream(self, **how: object) -> _FakeStream:
        self.opened.append("output")
        return _FakeStream(self, how["callback"], self._listener)


class _FakeStream:
    """A player drives the listener: each block played is carried over at once, faster than time."""

    def __init__(self, driver: TwoClockDriver, callback, listener: _FakeStream | None) -> None:
        self.callback, self._listener = callback, listener
        self.active = False
        self._air = OtherClock(driver.ppm)
        self._thread = threading.Thread(target=self._run, daemon=True)

    def start(self) -> None:
        self.active = True
        if self._listener is not None:
            self._thread.start()

    def _run(self) -> None:
        while self.active:
            out = np.zeros((BLOCK, 2), np.float32)
            self.callback(out, BLOCK, None, None)
            heard = self._air.feed(out[:, 0]).astype(np.float32)[:, None]
            self._listener.callback(heard, len(heard), None, None)

    def abort(self, **_: object) -> None:
        self.active = False

    def close(self, **_: object) -> None:
        self.active = False
