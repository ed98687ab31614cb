"""A real sound device through PortAudio: one duplex stream of our own, with pre-roll; slips are sought in the audio.

The driver library is loaded when a device is first asked for, so that all else works without it.
"""

from __future__ import annotations

import queue
import threading
import time
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from frusta.bench.device import Block, DeviceError, Floats, Heard, Playing

PRE_ROLL_S = 1.0
POST_ROLL_S = 0.5
"""Recorded after the last sample was handed over: more than any latency that PortAudio's `high` gives."""

GAIN_S = 0.02
ATTEMPTS = 3
SILENT_S = 2.0
"""A stream that hands over nothing for so long has lost its device."""


@dataclass(frozen=True)
class DeviceInfo:
    """One device as the system names it."""

    index: int
    name: str
    api: str
    inputs: int
    outputs: int
    rate_hz: float

    def __str__(self) -> str:
        return f"{self.index}: {self.name} ({self.api}, {self.inputs} in, {self.outputs} out)"


def load_driver() -> Any:
    """Return the sounddevice module.

    Raises
    ------
    DeviceError
        If it or PortAudio is not there.
    """
    try:
        import sounddevice
    except (ImportError, OSError) as error:
        raise DeviceError(
            f"a sound device needs PortAudio ({error}); install libportaudio2 and sounddevice, or use --device virtual"
        ) from error
    return sounddevice


def list_devices() -> tuple[DeviceInfo, ...]:
    """Return all devices of the system."""
    sounddevice = load_driver()
    apis = [api["name"] for api in sounddevice.query_hostapis()]
    return tuple(
        DeviceInfo(
            int(d["index"]),
            str(d["name"]),
            str(apis[d["hostapi"]]),
            int(d["max_input_channels"]),
            int(d["max_output_channels"]),
            float(d["default_samplerate"]),
        )
        for d in sounddevice.query_devices()
    )


def choose_device(devices: tuple[DeviceInfo, ...], wanted: str, direction: str) -> DeviceInfo:
    """Return the one device that a word means.

    Parameters
    ----------
    devices : tuple of DeviceInfo
    wanted : str
        Its number, its whole name, or a part of its name; in any case of letters.
    direction : {"input", "output"}

    Raises
    ------
    DeviceError
        If none or more than one fits; the candidates are listed.
    """
    able = [d for d in devices if (d.inputs if direction == "input" else d.outputs) > 0]
    if wanted.isdigit():
        found = [d for d in able if d.index == int(wanted)]
    else:
        word = wanted.lower()
        found = [d for d in able if d.name.lower() == word] or [d for d in able if word in str(d).lower()]
    if len(found) == 1:
        return found[0]
    listed = "; ".join(map(str, found or able)) or "none at all: plug one in"
    what = f"{len(found)} fit" if found else "there is none of that name"
    raise DeviceError(f"the {direction} device must be one of those there ({wanted!r}: {what}); name one of: {listed}")


class _StreamEnded(DeviceError):
    """The driver ended the stream or fell silent."""


class SoundCard:
    """A duplex stream on one device, or on one for each direction.

    Parameters
    ----------
    output, input_ : DeviceInfo
        May be different devices: their clocks then differ, and the reading corrects it.
    sample_rate_hz : int
    channels : int
        Input channels.
    output_channels : int
        All carry the same signal.

    Raises
    ------
    DeviceError
        If the devices do not offer rate or channels, or are in use.
    """

    def __init__(
        self, output: DeviceInfo, input_: DeviceInfo, sample_rate_hz: int, channels: int, output_channels: int = 2
    ) -> None:
        if channels > input_.inputs:
            raise DeviceError(
                f"{input_.name}: must have {channels} input channels (it has {input_.inputs}); "
                "name other channels or another device"
            )
        self.name = output.name if output.index == input_.index else f"{output.name} and {input_.name}"
        self.sample_rate_hz = sample_rate_hz
        self.channels = channels
        self._output_channels = min(max(output_channels, 1), output.outputs)
        self._devices = (input_.index, output.index)
        self._driver = load_driver()
        self._stop = threading.Event()
        self._gain = 1.0
        self._stream: Any = None
        self._lock = threading.Lock()
        self._check()

    def set_gain(self, gain_db: float) -> None:
        """Change the gain of what is playing."""
        self._gain = 10.0 ** (gain_db / 20.0)

    def seat(self, specimen: str, seating: int, take: str = "") -> None:
        """A real rig knows by itself what is on it."""

    def stop(self) -> None:
        """Silence the output: zeros from now on, and what the driver still holds is thrown away."""
        self._stop.set()
        with self._lock:
            if self._stream is not None:
                self._stream.abort(ignore_errors=True)

    def close(self) -> None:
        """Stop."""
        self.stop()

    def play(self, signal: Floats, *, repeat: bool = False, heard: Heard | None = None) -> Playing:
        """Play and record; see `frusta.bench.device.Device`.

        A driver that gave up over a slip (a busy machine) is asked once more, from the start: a device that is gone
        cannot be opened again, and is told.
        """
        self._stop.clear()
        for _ in range(ATTEMPTS - 1):
            try:
                return self._play_once(signal, repeat, heard)
            except _StreamEnded:
                continue
        return self._play_once(signal, repeat, heard)

    def _play_once(self, signal: Floats, repeat: bool, heard: Heard | None) -> Playing:
        """Play and record on a new stream."""
        work = _Stream(np.asarray(signal, dtype=np.float32), repeat, self)
        try:
            with self._lock:
                self._stream = self._open(work.callback)
                self._stream.start()
            return self._follow(work, heard)
        except self._driver.PortAudioError as error:
            raise DeviceError(_in_words(self.name, error)) from error
        finally:
            with self._lock:
                stream, self._stream = self._stream, None
            if stream is not None:
                stream.abort(ignore_errors=True)
                stream.close(ignore_errors=True)

    def _follow(self, work: _Stream, heard: Heard | None) -> Playing:
        """Collect what the callback hands over until the end, a stop, or a silence of the driver."""
        blocks: list[Block] = []
        got = 0
        last = time.monotonic()
        while not self._stop.is_set():
            try:
                block = work.heard.get(timeout=0.05)
            except queue.Empty:
                if time.monotonic() - last > SILENT_S or not self._alive():
                    raise _StreamEnded(
                        f"{self.name}: stopped answering; plug it in again, close what else uses it, then go on. "
                        "The take is not counted"
                    ) from None
                continue
            last = time.monotonic()
            if heard is not None:
                heard(block[:, : self.channels])
            if not repeat_forever(work):
                blocks.append(block)
                got += len(block)
                if got >= work.wanted:
                    break
        samples = np.concatenate(blocks) if blocks else np.zeros((0, self.channels), dtype=np.float32)
        skip = work.pre_roll
        return Playing(
            np.asarray(samples[skip : work.wanted], dtype=np.float64), self._stop.is_set(), tuple(sorted(work.flags))
        )

    def _alive(self) -> bool:
        """Whether the driver still runs, or the stream was stopped on purpose."""
        with self._lock:
            return self._stop.is_set() or (self._stream is not None and bool(self._stream.active))

    def _open(self, callback: Any) -> Any:
        return self._driver.Stream(
            samplerate=self.sample_rate_hz,
            blocksize=0,
            device=self._devices,
            channels=(self.channels, self._output_channels),
            dtype="float32",
            latency="high",
            callback=callback,
        )

    def _check(self) -> None:
        try:
            self._driver.check_input_settings(
                device=self._devices[0], channels=self.channels, dtype="float32", samplerate=self.sample_rate_hz
            )
            self._driver.check_output_settings(
                device=self._devices[1], channels=self._output_channels, dtype="float32", samplerate=self.sample_rate_hz
            )
        except (self._driver.PortAudioError, ValueError) as error:
            raise DeviceError(_in_words(self.name, error, self.sample_rate_hz)) from error


class _Stream:
    """What runs in the driver's thread: hand samples over, nothing else."""

    def __init__(self, signal: NDArray[np.float32], repeat: bool, card: SoundCard) -> None:
        rate = card.sample_rate_hz
        self.pre_roll = 0 if repeat else round(PRE_ROLL_S * rate)
        self.wanted = self.pre_roll + len(signal) + round(POST_ROLL_S * rate)
        self.signal = signal
        self.repeat = repeat
        self.heard: queue.SimpleQueue[Block] = queue.SimpleQueue()
        self.flags: set[str] = set()
        self.place = -self.pre_roll
        self.card = card
        self.gain = card._gain if not repeat else 0.0
        self.step = 1.0 / max(1.0, GAIN_S * rate)

    def callback(self, indata: Block, outdata: Block, frames: int, _time: object, status: Any) -> None:
        """Hand over a block."""
        if status:
            self.flags.add(str(status))
        outdata[:] = 0.0
        if not self.card._stop.is_set():
            self._fill(outdata, frames)
        self.heard.put(indata.copy())

    def _fill(self, outdata: Block, frames: int) -> None:
        size = len(self.signal)
        if self.repeat:
            index = (self.place + np.arange(frames)) % size
            target = self.card._gain
            ramp = np.clip(target - self.gain, -self.step * frames, self.step * frames)
            gains = self.gain + ramp * np.linspace(1.0 / frames, 1.0, frames)
            outdata[:] = (self.signal[index] * gains)[:, None]
            self.gain += float(ramp)
        else:
            first, last = max(self.place, 0), min(self.place + frames, size)
            if last > first:
                at = first - self.place
                outdata[at : at + last - first] = self.signal[first:last, None]
        self.place += frames


def repeat_forever(work: _Stream) -> bool:
    """Whether a stream goes on until it is stopped."""
    return work.repeat


def _in_words(name: str, error: Exception, rate_hz: int | None = None) -> str:
    """A driver's refusal as one line: what, where, what to do."""
    text = str(error)
    if "sample rate" in text.lower() and rate_hz:
        return f"{name}: must offer the sweep's {rate_hz} Hz (it does not); choose a sweep of another rate"
    if "unavailable" in text.lower() or "busy" in text.lower():
        return f"{name}: must be free (something else uses it); close that program, then go on"
    short = text.partition("[")[0].strip() or type(error).__name__
    return f"{name}: cannot be used ({short}); check cable and settings, or name another with --device"
