"""The bench behind the page: one guide for all tabs, its state and live view as plain values."""

from __future__ import annotations

import math
import secrets
import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from frusta.bench.device import Device
from frusta.bench.events import Began, Event, Mended, Turn, Undone, from_plain
from frusta.bench.full_scale import FullScale
from frusta.bench.guide import Guide
from frusta.bench.journal import journal_of, latest_session
from frusta.bench.live import COUNTDOWN_S, BenchSettings
from frusta.bench.opening import VIRTUAL, open_device
from frusta.bench.repeatability import TIMES
from frusta.bench.rig_calibration import RigCalibration, gain_within_limits_db, hear_calibrator
from frusta.bench.rig_memory import RigMemory, recall, remember
from frusta.bench.sitting import (
    begin_sitting,
    planned_turns,
    seatings_made,
    slow_sweep,
    sweep_rate_hz,
    the_rig,
    the_sweep,
)
from frusta.bench.steps import replay
from frusta.campaign.package import Package, open_package
from frusta.campaign.rows import Rig
from frusta.errors import FrustaError, PackageError, ParameterError
from frusta.web.desk import READING, Desk
from frusta.web.rig_measuring import RigMeasuring

PRESSABLE = frozenset(
    {
        "Fetched", "Skipped", "Chosen", "Weighed", "NotWeighed", "Seated", "Kept", "Repeated", "Reseated", "Mended",
        "Ending", "Ended", "Undone",
    }
)  # fmt: skip
UNHEARD_S = 10.0
"""Noise that no page has listened to for so long is stopped."""
START_GAIN_DB = -12.0


@dataclass(frozen=True)
class Beginning:
    """How a sitting is to begin.

    Parameters
    ----------
    device : str
        As of ``frusta record --device``; empty: as remembered.
    rig, sweep : str
        Keys; empty: the only one there is.
    told : mapping of str to object
        Fields of `RigMemory` that were told, None for none; the others stay as remembered.
    seatings : int
        Of each cone.
    repeatability : str
        A specimen to seat five times instead; empty for none.
    levels_db : tuple of float
        Of a series, dB re the levelled gain.
    slow : float
        Sweep slower by this factor.
    equal_voltage : bool
        Do not level.
    tolerance_db : float
    temperature_c, humidity_pct : float or None
    with_coil : bool
        Whether cones are weighed with their coils on.
    """

    device: str = ""
    rig: str = ""
    sweep: str = ""
    told: Mapping[str, Any] = field(default_factory=dict)
    seatings: int = 2
    repeatability: str = ""
    levels_db: tuple[float, ...] = (0.0,)
    slow: float = 1.0
    equal_voltage: bool = False
    tolerance_db: float = 0.5
    temperature_c: float | None = None
    humidity_pct: float | None = None
    with_coil: bool = False


@dataclass(frozen=True)
class OpenRig:
    """A rig whose device is open."""

    package: Package
    rig: Rig
    sweep: str
    memory: RigMemory
    channels: dict[str, int]
    device: Device
    virtual: bool


def open_rig(desk: Desk, how: Beginning) -> OpenRig:
    """Open the device of a rig and remember what was chosen for it.

    Raises
    ------
    FrustaError
        If the campaign is a zip, rig or sweep are not clear, or the device does not open.
    """
    package = open_package(desk.writable)
    rig = the_rig(package, how.rig or None)
    sweep = the_sweep(package, how.sweep or None)
    if how.slow > 1.0:
        sweep = slow_sweep(package, sweep, how.slow)
        package = open_package(desk.writable)
    memory = replace(recall(rig.rig), **how.told).with_choices(output=how.device or desk.device)
    virtual = (memory.output or "").partition(":")[0] == VIRTUAL
    channels = _channels(memory, virtual)
    device = open_device(
        package, rig, memory.output, memory.input, sweep_rate_hz(package, sweep), max(channels.values()),
        memory.current_full_scale_a,
    )  # fmt: skip
    remember(rig.rig, replace(memory, output=None, input=None) if virtual else memory)
    return OpenRig(package, rig, sweep, memory, channels, device, virtual)


class Sitting:
    """The sitting at the bench, if there is one.

    Parameters
    ----------
    desk : Desk
    """

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._lock = threading.RLock()
        self._counting = threading.Lock()  # of its own: who listens never waits for a device that opens
        self._guide: Guide | None = None
        self._last: tuple[object, object] = (None, None)
        self._number = secrets.randbelow(2**40)
        self._heard_s = time.monotonic()
        self.device_name = ""
        self.with_coil = False
        self.relative = False
        self.full_scale_pa: float | None = None
        self.calibrating: Device | None = None
        self._measuring: RigMeasuring | None = None

    @property
    def guide(self) -> Guide:
        """The guide.

        Raises
        ------
        ParameterError
            If no sitting has begun.
        """
        if self._guide is None:
            raise ParameterError("no sitting has begun; begin one on the Bench")
        return self._guide

    @property
    def going(self) -> bool:
        """Whether there is a sitting."""
        return self._guide is not None

    @property
    def number(self) -> int:
        """Names the state, another for each and for each run of the program; a press names the one it was meant for."""
        with self._counting:
            guide, measuring = self._guide, self._measuring
            state = (guide.state if guide else None, measuring.state if measuring else None)
            if any(now is not last for now, last in zip(state, self._last, strict=True)):
                self._last = state
                self._number += 1
            return self._number

    def left(self) -> str | None:
        """Return the session of today that was not ended, as `frusta record` goes on with it; None if there is none."""
        package = self._desk.package
        session = latest_session(package.root) if self._desk.path.is_dir() else None
        if session is None or session not in package.sessions:
            return None
        try:
            state = replay(journal_of(package.root, session).read())
        except FrustaError:
            return None
        today = date.today().isoformat()
        return session if state and state.step != "done" and package.sessions[session].date == today else None

    def begin(self, how: Beginning) -> None:
        """Open the device and begin a sitting, or go on with the one of today.

        Raises
        ------
        FrustaError
            If the device does not open, or nothing is left to do.
        """
        with self._lock:
            if self._guide is not None and self._guide.state.step != "done":
                raise ParameterError("a sitting is going on; end it before you begin another")
            self._refuse_while_measuring()
            self.close()
            opened = open_rig(self._desk, how)
            memory, package = opened.memory, opened.package
            fast = "fast" in (memory.output or "").partition(":")[2]
            settings = BenchSettings(
                opened.sweep,
                opened.channels,
                memory.target_db,
                how.tolerance_db,
                limit_dbfs=0.0 if memory.limit_dbfs is None else memory.limit_dbfs,
                limit_w=memory.limit_w,
                current_full_scale_a=memory.current_full_scale_a,
                start_gain_db=0.0 if how.equal_voltage else START_GAIN_DB,
                automatic_gain=opened.virtual,
                countdown_s=0.0 if opened.virtual and fast else COUNTDOWN_S,
            )
            try:
                guide = Guide(package.root, opened.device, settings, self._changed)
                session = self.left()
                if session is not None and not how.repeatability:
                    guide.resume(session)
                else:
                    guide.begin(self._beginning(opened, how))
            except FrustaError:
                opened.device.close()
                raise
            self._desk.works.stop(READING)
            self._desk.at_bench = True
            self._guide = guide
            self.device_name = str(opened.device.name)
            self.with_coil = how.with_coil
            here = open_package(package.root)
            row = here.sessions.get(guide.state.session)
            self.relative = (row.full_scale_pa if row else None) is None and opened.rig.full_scale_pa is None

    def _beginning(self, opened: OpenRig, how: Beginning) -> Began:
        package = opened.package
        if how.repeatability:
            if how.repeatability not in package.specimens:
                raise ParameterError("the cone to seat five times must be one of specimens.csv; choose another")
            made = seatings_made(package).get(how.repeatability, 0)
            turns = tuple(Turn(how.repeatability, made + 1 + i, "seating test") for i in range(TIMES))
        else:
            turns = planned_turns(package, how.seatings)
        if not turns:
            raise PackageError("all planned seatings are recorded; ask for more seatings, or add a cone")
        return begin_sitting(
            package,
            opened.rig,
            turns,
            date.today(),
            levels_db=how.levels_db,
            equal_voltage=how.equal_voltage,
            full_scale_pa=self.full_scale_pa,
            temperature_c=how.temperature_c,
            humidity_pct=how.humidity_pct,
        )

    def hear_calibrator(self, how: Beginning, level_db: float) -> FullScale:
        """Hear a calibrator over the microphone; the sittings that begin afterwards measure in pascals.

        Raises
        ------
        FrustaError
            If a sitting is going on, the device does not open, or no steady tone is heard.
        """
        with self._lock:
            if self._guide is not None and self._guide.state.step != "done":
                raise ParameterError("a sitting is going on; end it before you hear the calibrator")
            self._refuse_while_measuring()
            if self.calibrating is not None:
                raise ParameterError("the calibrator is being heard already; wait for it")
            opened = open_rig(self._desk, how)
            self.calibrating = opened.device
        try:
            found = hear_calibrator(opened.device, opened.channels["microphone_channel"], level_db)
        finally:
            self.calibrating = None
            opened.device.close()
        self.full_scale_pa = found.full_scale_pa
        return found

    @property
    def measuring(self) -> RigMeasuring | None:
        """What measures the rig's constants, while that goes on."""
        return self._measuring

    def measure_constants(self, how: Beginning, specimen: str, added_g: float, gain_db: float = START_GAIN_DB) -> None:
        """Open the device and begin to measure the rig's constants; nothing sounds before it is asked to.

        Parameters
        ----------
        how : Beginning
            Device, rig and sweep of it.
        specimen : str
            The cone that is swept.
        added_g : float
            The known mass, g.
        gain_db : float
            Drive gain, dB; lowered to the limits that are remembered.

        Raises
        ------
        FrustaError
            If a sitting goes on, the device does not open, or something is missing without which nothing can be found.
        """
        with self._lock:
            if self._guide is not None and self._guide.state.step != "done":
                raise ParameterError("a sitting is going on; end it before you measure the rig's constants")
            if self.calibrating is not None:
                raise ParameterError("the calibrator is being heard; wait for it")
            self._refuse_while_measuring()
            self.close()
            opened = open_rig(self._desk, how)
            try:
                rate = opened.device.sample_rate_hz
                gain_db = gain_within_limits_db(opened.package, opened.rig, opened.sweep, rate, gain_db, opened.memory)
                calibration = RigCalibration(
                    opened.package, opened.rig, opened.device, opened.sweep, opened.channels, gain_db,
                    opened.memory.current_full_scale_a,
                )  # fmt: skip
                self._measuring = RigMeasuring(calibration, specimen, added_g)
            except FrustaError:
                opened.device.close()
                raise
            self._desk.works.stop(READING)
            self._desk.at_bench = True

    def press_constants(self, name: str, number: int | None) -> str:
        """Do what was pressed while the rig's constants are measured, and return what is to be said.

        Parameters
        ----------
        name : {"sweep", "back", "keep", "leave"}
        number : int or None
            Of the state it was meant for.

        Raises
        ------
        FrustaError
            If nothing is measured, it was meant for a state that has passed, or cannot be done in this one.
        """
        with self._lock:
            measuring = self._measuring
            if measuring is None:
                raise ParameterError("the rig's constants are not being measured; begin that on the Bench")
            if number is not None and number != self.number:
                raise ParameterError("the bench has moved on since this was shown; look at it again, then press")
            if name == "sweep":
                measuring.sweep()
                return ""
            if name == "back":
                measuring.back()
                return ""
            said = measuring.keep(self._desk.edits) if name == "keep" else ""
            self.close()
            return said

    def _refuse_while_measuring(self) -> None:
        if self._measuring is not None:
            raise ParameterError("the rig's constants are being measured; keep or leave them first")

    @property
    def desk(self) -> Desk:
        """The desk it sits at."""
        return self._desk

    def press(self, name: str, details: Mapping[str, Any], number: int | None) -> None:
        """Do what was pressed on the page.

        Raises
        ------
        ParameterError
            If it is no button's, cannot be done in this step, or was meant for a state that has passed.
        """
        if name not in PRESSABLE:
            raise ParameterError(f"a press must be one of {', '.join(sorted(PRESSABLE))} (got {name[:40]!r})")
        event: Event = from_plain({**details, "event": name})
        with self._lock:
            guide = self.guide
            if number is not None and number != self.number:
                raise ParameterError("the bench has moved on since this was shown; look at it again, then press")
            if isinstance(event, Undone):
                guide.undo()
            else:
                if isinstance(event, Mended):
                    guide.wait(1.0)
                guide.press(event)
            self._desk.at_bench = guide.state.step != "done"

    def stop(self) -> None:
        """Silence everything at once; never waits for anything."""
        guide = self._guide
        if guide is not None:
            guide.stop()
        device = self.calibrating
        if device is not None:
            device.stop()
        measuring = self._measuring
        if measuring is not None:
            measuring.stop()

    def close(self) -> None:
        """Stop and let the device go."""
        guide, measuring = self._guide, self._measuring
        self._guide, self._measuring = None, None
        self._desk.at_bench = False
        if guide is not None:
            guide.close()
        if measuring is not None:
            measuring.close()

    def listened(self) -> None:
        """A page is listening."""
        self._heard_s = time.monotonic()

    def live(self) -> dict[str, Any]:
        """Return what moves, for the page; plain finite values."""
        if self.calibrating is not None:
            return {"number": self.number, "step": "", "sound": "calibration"}
        measuring = self._measuring
        if measuring is not None:
            heard_all = measuring.progress >= 1.0
            return {
                "number": self.number,
                "step": "constants",
                "sound": ("reading" if heard_all else "sweep") if measuring.state.sounding else "",
                "seconds_left": _round(measuring.seconds_left, 2),
                "progress": _round(measuring.progress, 4),
                "frequency_hz": 0.0,
                "peak_dbfs": _round(measuring.peak_dbfs, 1),
            }
        if self._guide is None:
            return {"number": self.number, "step": "", "sound": ""}
        live, settings = self._guide.live, self._guide.settings
        told: dict[str, Any] = {
            "number": self.number,
            "step": self._guide.state.step,
            "sound": live.sound,
            "gain_db": _round(live.gain_db, 2),
            "seconds_left": _round(live.seconds_left, 2),
            "progress": _round(live.progress, 4),
            "frequency_hz": _round(live.frequency_hz, 1),
            "peak_dbfs": _round(live.peak_dbfs, 1),
            "relative": self.relative,
            "automatic": settings.automatic_gain,
            "largest_gain_db": _round(self._guide.largest_gain_db, 2),
        }
        level = live.level
        if level is not None and live.sound == "noise":
            told["level_db"] = _round(level.level_db, 2)
            told["deficit_db"] = None if level.deficit_db is None else _round(level.deficit_db, 2)
            told["steady_s"] = _round(level.steady_s, 2)
            told["noise_db"] = None if level.noise_db is None else _round(level.noise_db, 1)
            told["tolerance_db"] = settings.tolerance_db
        return told

    def _changed(self) -> None:
        """Anything changed; noise that nobody listens to ends."""
        guide = self._guide
        if guide is not None and guide.live.sound == "noise" and time.monotonic() - self._heard_s > UNHEARD_S:
            guide.stop()


def _channels(memory: RigMemory, virtual: bool) -> dict[str, int]:
    """The channels as remembered; the virtual rig has microphone, loopback and current in this order."""
    reference = memory.reference_channel
    if reference is None and virtual:
        reference = 2
    found = {
        "microphone_channel": memory.microphone_channel or 1,
        "reference_channel": reference or 0,
        "current_channel": memory.current_channel or 0,
    }
    return {name: channel for name, channel in found.items() if channel}


def _round(value: float, digits: int) -> float:
    return round(value, digits) if math.isfinite(value) else 0.0
