"""A real sound device through PortAudio: streams of our own, with pre-roll; slips are sought in the audio.

One device is one duplex stream. Two devices have two clocks, which a duplex stream would force into step, tearing the
sound: each then has a stream of its own, and the recording tells how the clocks differ.

The driver library is loaded when a device is first asked for, so that all else works without it.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Iterator
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


class _CannotOpen(DeviceError):
    """The driver refuses the stream."""


class SoundCard:
    """One device, or one for each direction.

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
        self._devices: tuple[int | None, int | None] = (input_.index, output.index)
        self._names = ((input_.name, input_.api), (output.name, output.api))
        self._driver = load_driver()
        self._stop = threading.Event()
        self._gain = 1.0
        self._streams: list[Any] = []
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
            for stream in self._streams:
                stream.abort(ignore_errors=True)

    def close(self) -> None:
        """Stop."""
        self.stop()

    def play(self, signal: Floats, *, repeat: bool = False, heard: Heard | None = None) -> Playing:
        """Play and record; see `frusta.bench.device.Device`.

        A driver that gave up over a slip (a busy machine) is asked once more, from the start: a device that is gone
        cannot be opened again, and is told. One that was plugged in again is looked for by its name.
        """
        self._stop.clear()
        ended: DeviceError | None = None
        for _ in range(ATTEMPTS):
            try:
                return self._play_once(signal, repeat, heard)
            except _StreamEnded as error:
                ended = error
            except _CannotOpen as error:
                if ended is not None or not self._found_again():
                    raise ended or error from error
                ended = error
        raise ended or DeviceError(self._silent())

    def _found_again(self) -> bool:
        """Look for the devices by name once the driver has looked at the machine anew; whether they are there."""
        with self._lock:
            self._driver._terminate()
            self._driver._initialize()
            there = {(d.name, d.api): d.index for d in list_devices()}
            places = [there.get(name) for name in self._names]
            if any(place is None for place in places):
                return False
            self._devices = (places[0], places[1])
            return True

    def _silent(self) -> str:
        return (
            f"{self.name}: stopped answering; plug it in again, close what else uses it, then go on. "
            "The take is not counted"
        )

    def _play_once(self, signal: Floats, repeat: bool, heard: Heard | None) -> Playing:
        """Play and record on a new stream."""
        work = _Stream(np.asarray(signal, dtype=np.float32), repeat, self)
        try:
            with self._lock:
                for stream in self._open(work):
                    self._streams.append(stream)
                    stream.start()
            return self._follow(work, heard)
        except self._driver.PortAudioError as error:
            raise _CannotOpen(_in_words(self.name, error)) from error
        finally:
            with self._lock:
                streams, self._streams = self._streams, []
            for stream in streams:
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
                    raise _StreamEnded(self._silent()) from None
                continue
            last = time.monotonic()
            if heard is not None:
                heard(block[:, : self.channels])
            if not repeat_forever(work):
                blocks.append(block)
                got += len(block)
                if work.wanted is not None and got >= work.wanted:
                    break
        samples = np.concatenate(blocks) if blocks else np.zeros((0, self.channels), dtype=np.float32)
        skip = work.begun or 0
        return Playing(
            np.asarray(samples[skip : work.wanted], dtype=np.float64), self._stop.is_set(), tuple(sorted(work.flags))
        )

    def _alive(self) -> bool:
        """Whether the driver still runs, or the stream was stopped on purpose."""
        with self._lock:
            running = bool(self._streams) and all(bool(stream.active) for stream in self._streams)
            return self._stop.is_set() or running

    def _open(self, work: _Stream) -> Iterator[Any]:
        """Give each stream once the one before runs; the microphone listens first."""
        shared = {"samplerate": self.sample_rate_hz, "blocksize": 0, "dtype": "float32", "latency": "high"}
        to_hear, to_play = self._devices
        if to_hear == to_play:
            channels = (self.channels, self._output_channels)
            yield self._driver.Stream(device=self._devices, channels=channels, callback=work.callback, **shared)
            return
        yield self._driver.InputStream(device=to_hear, channels=self.channels, callback=work.hear, **shared)
        yield self._driver.OutputStream(device=to_play, channels=self._output_channels, callback=work.say, **shared)

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
        self.post_roll = round(POST_ROLL_S * rate)
        self.begun: int | None = None
        self.handed = 0
        self.signal = signal
        self.repeat = repeat
        self.heard: queue.SimpleQueue[Block] = queue.SimpleQueue()
        self.flags: set[str] = set()
        self.place = -self.pre_roll
        self.card = card
        self.gain = card._gain if not repeat else 0.0
        self.step = 1.0 / max(1.0, GAIN_S * rate)

    @property
    def wanted(self) -> int | None:
        """Frames to record; None until the signal has begun."""
        return None if self.begun is None else self.begun + len(self.signal) + self.post_roll

    def callback(self, indata: Block, outdata: Block, frames: int, time_: object, status: Any) -> None:
        """Say a block and hear one."""
        self.say(outdata, frames, time_, status)
        self.hear(indata, frames, time_, None)

    def say(self, outdata: Block, frames: int, _time: object, status: Any) -> None:
        """Fill a block."""
        if status:
            self.flags.add(str(status))
        outdata[:] = 0.0
        if not self.card._stop.is_set():
            self._fill(outdata, frames)

    def hear(self, indata: Block, frames: int, _time: object, status: Any) -> None:
        """Hand a block over."""
        if status:
            self.flags.add(str(status))
        self.heard.put(indata.copy())
        self.handed += frames

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
            if self.begun is None and self.place + frames > 0:
                self.begun = self.handed - self.place
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
