"""What the bench plays and what it hears of it: noise until the level stands, a countdown, a sweep. It decides nothing.

Noise starts quietly and rises; nothing passes the limits of output and coil; a microphone that hears nothing ends it.
"""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from frusta.bench.device import Block, Device, DeviceError, Floats
from frusta.bench.levelling import LevelMeter, LevelReading, largest_gain_db, make_level_noise
from frusta.bench.live import BenchSettings, Live
from frusta.signal.sweep import Sweep

QUIET_START_DB = -30.0
RAMP_S = 2.0
"""The noise starts so far below its gain and rises to it in this time."""

DEAF_S = 4.0
LONGEST_NOISE_S = 120.0
LIMITED_S = 15.0
"""A gain that follows by itself has settled by then: at its limit it gets no further."""


class Sounds:
    """Plays on a device, and shows what moves meanwhile.

    Parameters
    ----------
    device : Device
        At the sweep's sample rate.
    settings : BenchSettings
    played : ndarray, shape (n,)
        The sweep.
    law : Sweep or None
        How it was made, where that is known.
    """

    def __init__(self, device: Device, settings: BenchSettings, played: Floats, law: Sweep | None) -> None:
        self.settings = settings
        self.live = Live(gain_db=settings.start_gain_db)
        self.changed: Callable[[], None] = lambda: None
        self.coil_gain_db = math.inf
        self.amplitude = float(np.max(np.abs(played)))
        self.noise = make_level_noise(device.sample_rate_hz)
        self._device = device
        self._played = played
        self._law = law
        self._stopping = threading.Event()

    @property
    def largest_gain_db(self) -> float:
        """Drive gain at which output or coil reaches its limit."""
        return min(largest_gain_db(self.settings.limit_dbfs, self.amplitude, self.noise), self.coil_gain_db)

    def show(self, **changes: object) -> None:
        """Change what a view is told."""
        self.live = replace(self.live, **changes)  # type: ignore[arg-type]
        self.changed()

    def set_gain(self, gain_db: float) -> None:
        """Set the drive gain, within the limits."""
        self._show_gain(gain_db)
        self._device.set_gain(self.live.gain_db)

    def ready(self) -> None:
        """Forget an earlier stop."""
        self._stopping.clear()

    def stop(self) -> None:
        """Silence everything within 50 ms; from any thread."""
        self._stopping.set()
        self._device.stop()

    def level(self, full_scale_pa: float | None, target_db: float | None, gain_db: float) -> LevelReading | None:
        """Play noise until its level stands, on the target if there is one; None if stopped.

        Raises
        ------
        DeviceError
            If the microphone hears nothing, or the level does not stand still in time.
        """
        meter = LevelMeter(self.noise, self.amplitude, full_scale_pa, target_db, self.settings.tolerance_db)
        channel = self.settings.channels["microphone_channel"] - 1
        played_s, sounded = 0.0, False
        accepted: list[LevelReading] = []
        self.show(sound="noise", level=None)
        self._show_gain(gain_db)

        def heard(block: Block) -> None:
            nonlocal played_s, sounded
            played_s += len(block) / self._device.sample_rate_hz
            sounded = sounded or bool(np.any(block[:, channel]))
            self._refuse_endless(played_s, sounded)
            down = max(0.0, 1.0 - played_s / RAMP_S) * QUIET_START_DB
            self._device.set_gain(self.live.gain_db + down)
            reading = meter.feed(np.asarray(block[:, channel], dtype=np.float64))
            if down < 0.0:
                if reading is not None:
                    meter.restart()
                return
            if reading is None:
                return
            self.show(level=reading)
            if self._follow(reading):
                meter.restart()
            if reading.accepted and not accepted:
                accepted.append(reading)
                self._device.stop()

        self._device.set_gain(self.live.gain_db + QUIET_START_DB)
        self._device.play(self.noise.samples, repeat=True, heard=heard)
        return None if self._stopping.is_set() or not accepted else accepted[0]

    def count_down(self) -> bool:
        """Wait, showing the seconds; False if stopped."""
        end = time.monotonic() + self.settings.countdown_s
        while (left := end - time.monotonic()) > 0:
            self.show(sound="countdown", seconds_left=left, progress=0.0, peak_dbfs=-200.0)
            if self._stopping.wait(min(0.1, left)):
                return False
        return not self._stopping.is_set()

    def sweep(self, gain_db: float) -> Floats | None:
        """Play the sweep; returns what was recorded, shape (n, channels), or None if stopped.

        Raises
        ------
        DeviceError
            If the microphone hears nothing, or the device fails.
        """
        total_s = self._played.size / self._device.sample_rate_hz
        channel = self.settings.channels["microphone_channel"] - 1
        begun, peak, law = time.monotonic(), 0.0, self._law

        def heard(block: Block) -> None:
            nonlocal peak
            peak = max(peak, float(np.max(np.abs(block[:, channel]), initial=0.0)))
            gone = time.monotonic() - begun
            at = 0.0 if law is None else min(max(gone - law.lead_in_s, 0.0), law.sounding_s)
            self.show(
                sound="sweep",
                seconds_left=max(0.0, total_s - gone),
                progress=min(1.0, gone / total_s),
                frequency_hz=0.0 if law is None else law.frequency_at(at),
                peak_dbfs=20.0 * math.log10(peak + 1e-10),
            )

        played = self._device.play(self._played * 10.0 ** (gain_db / 20.0), heard=heard)
        if played.stopped or self._stopping.is_set():
            return None
        if not np.any(played.samples[:, channel]):
            raise DeviceError(self._deaf())
        self.show(sound="reading", seconds_left=0.0, progress=1.0)
        return played.samples

    def _show_gain(self, gain_db: float) -> None:
        most = self.largest_gain_db
        self.show(gain_db=min(gain_db, most), limited=gain_db >= most)

    def _follow(self, reading: LevelReading) -> bool:
        """Let the gain follow the meter, where it is to do so by itself; whether it moved."""
        if not self.settings.automatic_gain or reading.deficit_db is None:
            return False
        if abs(reading.deficit_db) <= 0.5 * self.settings.tolerance_db:
            return False
        self.set_gain(self.live.gain_db + reading.deficit_db)
        return True

    def _refuse_endless(self, played_s: float, heard: bool) -> None:
        """Noise does not play for ever, nor to a microphone that hears nothing, nor below a target out of reach."""
        if played_s > DEAF_S and not heard:
            raise DeviceError(self._deaf())
        lacks_db = self.live.level.deficit_db if self.live.level else None
        short = self.live.limited and lacks_db is not None and lacks_db > self.settings.tolerance_db
        if short and played_s > (LIMITED_S if self.settings.automatic_gain else LONGEST_NOISE_S):
            raise DeviceError(
                f"the drive gain stands at the stated limit, {lacks_db:.1f} dB below the target; turn the amplifier "
                "up, lower --target, or raise the limit if output and coil bear it"
            )
        if played_s > LONGEST_NOISE_S:
            raise DeviceError(
                f"the level did not stand still on its target within {LONGEST_NOISE_S:g} s; set the amplifier nearer "
                "to it, or widen --tolerance"
            )

    def _deaf(self) -> str:
        return (
            f"{self._device.name}: hears nothing at all, every sample is zero; check that the microphone is "
            "plugged in, switched on and allowed. The take is not counted"
        )
