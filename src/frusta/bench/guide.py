"""The bench at work: steps, device, disk and journal together. Terminal and page are two views of one guide.

The guide holds the state; a view shows `Guide.state` and `Guide.live` and sends events. Sound runs in a thread of its
own. Every event is in the journal before it counts; every take is on the disk before its verdict is sought.
"""

from __future__ import annotations

import io
import math
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import numpy as np
import soundfile

from frusta.bench.device import Block, Device, DeviceError, Floats
from frusta.bench.events import (
    Began,
    Event,
    Failed,
    Kept,
    Levelled,
    Mended,
    Recorded,
    Repeated,
    Reseated,
    SoundStopped,
    SweepBegan,
    Undone,
    Weighed,
)
from frusta.bench.journal import Journal, journal_of, other_journals
from frusta.bench.judging import Earlier, judge_take, seating_scatter
from frusta.bench.levelling import LevelMeter, LevelReading, largest_gain_db, make_level_noise
from frusta.bench.steps import State, TakeMade, after, begin, replay
from frusta.bench.tables import bring_in_line
from frusta.bench.thermal import gain_within_power_db
from frusta.campaign.atomic import write_atomically
from frusta.campaign.package import open_package
from frusta.campaign.resolve import ResolvedTake, calibration_of, played_of, resolve_take
from frusta.campaign.rigid_response import rigid_response
from frusta.campaign.rows import Take
from frusta.errors import FrustaError, PackageError, ParameterError

QUIET_START_DB = -30.0
RAMP_S = 2.0
"""The noise starts so far below its gain and rises to it in this time."""

DEAF_S = 4.0
LONGEST_NOISE_S = 120.0

COUNTDOWN_S = 3.0
RECORDINGS = "recordings"


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
    level: LevelReading | None = None
    seconds_left: float = 0.0
    progress: float = 0.0
    frequency_hz: float = 0.0
    peak_dbfs: float = -200.0


class Guide:
    """One sitting at the bench.

    Parameters
    ----------
    root : Path
        Folder of the package.
    device : Device
        At the sweep's sample rate.
    settings : BenchSettings
    changed : callable, optional
        Called, from any thread, whenever state or live view changed.
    now : callable, optional
        Clock for ``taken_at``.
    """

    def __init__(
        self,
        root: Path,
        device: Device,
        settings: BenchSettings,
        changed: Callable[[], None] | None = None,
        now: Callable[[], datetime] | None = None,
    ) -> None:
        self.root = root
        self.settings = settings
        self.live = Live(gain_db=settings.start_gain_db)
        self._device = device
        self._changed = changed or (lambda: None)
        self._now = now or (lambda: datetime.now(UTC))
        self._lock = threading.RLock()
        self._work: threading.Thread | None = None
        self._stopping = threading.Event()
        self._state: State | None = None
        self._journal: Journal | None = None
        self._known: tuple[TakeMade, ...] = ()
        self._noise = make_level_noise(device.sample_rate_hz)
        self._coil_gain_db = math.inf
        package = open_package(root)
        row = package.sweeps.get(settings.sweep)
        if row is None:
            raise PackageError(f"sweep must be a row of sweeps.csv (got {settings.sweep!r}); name one that is there")
        played = played_of(package, row, device.sample_rate_hz)
        self._played: Floats = played.samples
        self._law = played.sweep
        self._amplitude = float(np.max(np.abs(played.samples)))

    @property
    def state(self) -> State:
        """Where the bench stands."""
        if self._state is None:
            raise ParameterError("no sitting has begun; begin or resume one")
        return self._state

    @property
    def largest_gain_db(self) -> float:
        """Drive gain at which the output or the coil of the cone at hand reaches its limit."""
        return min(largest_gain_db(self.settings.limit_dbfs, self._amplitude, self._noise), self._coil_gain_db)

    def on_change(self, changed: Callable[[], None]) -> None:
        """Call this, from any thread, whenever state or live view changes."""
        self._changed = changed

    def begin(self, event: Began) -> None:
        """Begin a sitting; its session must stand in sessions.csv.

        Raises
        ------
        OutputError
            If the journal cannot be written.
        """
        with self._lock:
            self._journal = journal_of(self.root, event.session)
            self._sweep_up(event.session)
            self._journal.write(event)
            self._state = begin(event)
            self._known = _kept_before(self.root, event.session)
        self._changed()

    def resume(self, session: str) -> None:
        """Go on where a sitting was left, however it ended.

        Raises
        ------
        PackageError
            If there is no journal of that session, or it is damaged.
        """
        with self._lock:
            self._journal = journal_of(self.root, session)
            self._state = replay(self._journal.read())
            if self._state is None:
                raise PackageError(f"session {session} has no journal; begin the sitting anew")
            self._known = _kept_before(self.root, session)
            self._sweep_up(session)
            self._in_line()
            if self._state.step in ("level", "sweep"):
                self._settle_interrupted()
        self._changed()

    def press(self, event: Event) -> None:
        """Do what the maker decided.

        Raises
        ------
        ParameterError
            If it cannot be done in this step; nothing changes.
        OutputError
            If it cannot be written down; nothing changes.
        """
        if self.sounding and self.state.step in ("level", "sweep"):
            raise ParameterError("sound is playing; stop it first")
        self.wait()
        with self._lock:
            if isinstance(event, Mended):
                self._in_line()
            self._put(event)
            if isinstance(event, Kept | Repeated | Reseated | Undone | Weighed):
                self._try_in_line()
        self._start_sound()

    def stop(self) -> None:
        """Silence everything within 50 ms; keeps nothing, loses nothing."""
        self._stopping.set()
        self._device.stop()

    def undo(self) -> None:
        """Take the last decision back; sound is stopped first."""
        self.stop()
        self.wait()
        self.press(Undone())

    def add_gain(self, step_db: float) -> None:
        """Raise or lower the drive gain while the noise plays, within the limit."""
        self._set_gain(self.live.gain_db + step_db)

    def set_automatic(self, automatic: bool) -> None:
        """Let the gain follow the meter by itself, or not."""
        self.settings = replace(self.settings, automatic_gain=automatic)

    def wait(self, timeout_s: float | None = None) -> None:
        """Wait until no sound plays and no take is being read."""
        work = self._work
        if work is not None and work is not threading.current_thread():
            work.join(timeout_s)

    @property
    def sounding(self) -> bool:
        """Whether sound plays or a take is being read."""
        return self._work is not None and self._work.is_alive()

    def close(self) -> None:
        """Stop, and let the device go."""
        self.stop()
        self.wait()
        self._device.close()

    def _put(self, event: Event) -> None:
        """Write an event down, then let it count."""
        with self._lock:
            new = after(self.state, event)
            if self._journal is None:
                raise ParameterError("no sitting has begun; begin or resume one")
            self._journal.write(event)
            self._state = new
        self._changed()

    def _fail(self, error: FrustaError) -> None:
        """Show a failure; if even that cannot be written down, it counts all the same."""
        what, _, remedy = str(error).rpartition("; ")
        event = Failed(what or str(error), "", remedy)
        try:
            self._put(event)
        except FrustaError:
            self._state = after(self.state, event)
            self._changed()

    def _in_line(self) -> None:
        channels = {k: str(v) for k, v in self.settings.channels.items()}
        bring_in_line(self.root, self.state, channels, self.settings.sweep)

    def _try_in_line(self) -> None:
        try:
            self._in_line()
        except FrustaError as error:
            self._fail(error)

    def _start_sound(self) -> None:
        """Start what the step asks for."""
        if self.state.step not in ("level", "sweep") or self.sounding:
            return
        self._stopping.clear()
        self._work = threading.Thread(target=self._sound, name="frusta-sound", daemon=True)
        self._work.start()

    def _sound(self) -> None:
        """Level, then sweep, as far as it goes."""
        try:
            if self.state.step == "level" and not self._level():
                self._put(SoundStopped())
                return
            if not self._sweep():
                self._put(SoundStopped())
        except FrustaError as error:
            with self._lock:
                self._fail(error)
        finally:
            self._show(sound="")

    def _level(self) -> bool:
        """Play noise until the level is accepted; False if stopped."""
        turn = self.state.queue[0]
        package = open_package(self.root)
        self._device.seat(turn.specimen, turn.seating)
        resolved = resolve_take(package, self._row(self.state.session, "level"))
        rigid_response(resolved)  # computed before the verdict needs it
        self._coil_gain_db = self._gain_of_coil(resolved)
        target = self.state.target_db if self.state.target_db is not None else self.settings.target_db
        if self.state.level_rule == "equal voltage":
            target = None
        meter = LevelMeter(self._noise, self._amplitude, resolved.full_scale_pa, target, self.settings.tolerance_db)
        channel = self.settings.channels["microphone_channel"] - 1
        gain = self.settings.start_gain_db if self.state.level_rule == "equal voltage" else self.live.gain_db
        begun = [0.0]
        sounded = [False]
        accepted: list[LevelReading] = []
        self._show(sound="noise", level=None, gain_db=min(gain, self.largest_gain_db))

        def heard(block: Block) -> None:
            rate = self._device.sample_rate_hz
            begun[0] += len(block) / rate
            played_s = begun[0]
            sounded[0] = sounded[0] or bool(np.any(block[:, channel]))
            self._refuse_endless(played_s, sounded[0])
            down = max(0.0, 1.0 - played_s / RAMP_S) * QUIET_START_DB
            self._device.set_gain(self.live.gain_db + down)
            reading = meter.feed(np.asarray(block[:, channel], dtype=np.float64))
            if reading is None or down < 0.0:
                if down < 0.0:
                    meter.restart()
                return
            self._show(level=reading)
            far = reading.deficit_db is not None and abs(reading.deficit_db) > 0.5 * self.settings.tolerance_db
            if self.settings.automatic_gain and far and reading.deficit_db is not None:
                self._set_gain(self.live.gain_db + reading.deficit_db)
                meter.restart()
            if reading.accepted and not accepted:
                accepted.append(reading)
                self._device.stop()

        self._device.set_gain(self.live.gain_db + QUIET_START_DB)
        self._device.play(self._noise.samples, repeat=True, heard=heard)
        if not accepted or self._stopping.is_set():
            return False
        level = accepted[0].level_db
        new_target = level if target is None and self.state.level_rule == "equal level" else None
        self._put(Levelled(round(self.live.gain_db, 4), round(level, 3), new_target and round(new_target, 3)))
        return True

    def _refuse_endless(self, played_s: float, heard: bool) -> None:
        """Noise does not play for ever, nor to a microphone that hears nothing."""
        if played_s > DEAF_S and not heard:
            raise DeviceError(self._deaf())
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

    def _gain_of_coil(self, resolved: ResolvedTake) -> float:
        """Largest drive gain that the coil's stated limit of power allows."""
        if self.settings.limit_w is None:
            return math.inf
        if resolved.drive_full_scale_v is None or resolved.coil_resistance_ohm is None:
            raise ParameterError(
                "a limit of power needs drive_full_scale_v of the rig and coil_resistance_ohm (the tables lack one); "
                "fill it in, or leave out --limit-w"
            )
        return gain_within_power_db(
            self.settings.limit_w, self._amplitude, resolved.drive_full_scale_v, resolved.coil_resistance_ohm
        )

    def _sweep(self) -> bool:
        """Count down, play, write, judge; False if stopped."""
        if not self._count_down():
            return False
        state = self.state
        turn = state.queue[0]
        gain_db = (state.drive_gain_db or 0.0) + state.levels_db[state.level_index]
        gain_db = min(gain_db, self.largest_gain_db)
        take = self._name(state)
        self._device.seat(turn.specimen, turn.seating, take)
        self._put(SweepBegan(take, round(gain_db, 4)))
        taken_at = self._now().astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        samples = self._play_sweep(gain_db)
        if samples is None:
            return False
        recording = f"{RECORDINGS}/{state.session}/{take}.wav"
        self._show(sound="reading", seconds_left=0.0, progress=1.0)
        write_recording(self.root / recording, samples, self._device.sample_rate_hz)
        self._judge(take, recording, taken_at, round(gain_db, 4))
        return True

    def _judge(self, take: str, recording: str, taken_at: str, gain_db: float) -> None:
        state = self.state
        package = open_package(self.root)
        row = self._row(state.session, take, recording, gain_db)
        resolved = resolve_take(package, row)
        verdict = judge_take(
            package,
            resolved,
            calibration_of(package, resolved.rig),
            _earlier(self._known, state),
            seating_scatter(_pairs([*self._known, *state.kept_takes])),
            self.settings.current_full_scale_a,
        )
        self._put(Recorded(take, recording, verdict, taken_at, gain_db))

    def _play_sweep(self, gain_db: float) -> Floats | None:
        rate = self._device.sample_rate_hz
        total_s = self._played.size / rate
        channel = self.settings.channels["microphone_channel"] - 1
        begun = time.monotonic()
        peak = [0.0]

        def heard(block: Block) -> None:
            peak[0] = max(peak[0], float(np.max(np.abs(block[:, channel]), initial=0.0)))
            gone = time.monotonic() - begun
            law = self._law
            at = 0.0 if law is None else min(max(gone - law.lead_in_s, 0.0), law.sounding_s)
            self._show(
                sound="sweep",
                seconds_left=max(0.0, total_s - gone),
                progress=min(1.0, gone / total_s),
                frequency_hz=0.0 if law is None else law.frequency_at(at),
                peak_dbfs=20.0 * float(np.log10(peak[0] + 1e-10)),
            )

        played = self._device.play(self._played * 10.0 ** (gain_db / 20.0), heard=heard)
        if played.stopped or self._stopping.is_set():
            return None
        if not np.any(played.samples[:, channel]):
            raise DeviceError(self._deaf())
        return played.samples

    def _count_down(self) -> bool:
        end = time.monotonic() + self.settings.countdown_s
        while (left := end - time.monotonic()) > 0:
            self._show(sound="countdown", seconds_left=left, progress=0.0, peak_dbfs=-200.0)
            if self._stopping.wait(min(0.1, left)):
                return False
        return not self._stopping.is_set()

    def _set_gain(self, gain_db: float) -> None:
        self._show(gain_db=min(gain_db, self.largest_gain_db))
        self._device.set_gain(self.live.gain_db)

    def _show(self, **changes: object) -> None:
        self.live = replace(self.live, **changes)  # type: ignore[arg-type]
        self._changed()

    def _row(self, session: str, take: str, recording: str = "-", gain_db: float = 0.0) -> Take:
        turn = self.state.queue[0]
        cells = {
            "take": take,
            "specimen": turn.specimen,
            "session": session,
            "sweep": self.settings.sweep,
            "seating": turn.seating,
            "recording": recording,
            "recording_is": "sweep",
            "drive_gain_db": gain_db,
        }
        return Take.model_validate(cells | dict(self.settings.channels))

    def _name(self, state: State) -> str:
        """A name that no take and no file has: specimen, seating, level of a series, and a number if repeated."""
        turn = state.queue[0]
        series = f"-l{state.level_index + 1}" if len(state.levels_db) > 1 else ""
        stem = f"{turn.specimen[:48]}-{turn.seating}{series}"
        taken = set(open_package(self.root).takes) | {t.take for t in state.made}
        folder = self.root / RECORDINGS / state.session
        number, name = 1, stem
        while name in taken or (folder / f"{name}.wav").exists():
            number += 1
            name = f"{stem}.{number}"
        return name

    def _settle_interrupted(self) -> None:
        """A sitting that ended while sound played: a take that got to the disk is judged, else seat again."""
        state = self.state
        name = state.running
        recording = f"{RECORDINGS}/{state.session}/{name}.wav"
        if name is not None and (self.root / recording).exists():
            taken = datetime.fromtimestamp((self.root / recording).stat().st_mtime, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
            gain_db = (state.drive_gain_db or 0.0) + state.levels_db[state.level_index]
            self._judge(name, recording, taken, round(min(gain_db, self.largest_gain_db), 4))
        else:
            self._put(SoundStopped())

    def _sweep_up(self, session: str) -> None:
        """Remove what a killed process left half written beside the takes and tables."""
        for folder in (self.root, self.root / RECORDINGS / session):
            if folder.is_dir():
                for part in folder.glob(".*.part"):
                    if part.is_file():
                        part.unlink(missing_ok=True)


def write_recording(path: Path, samples: Floats, sample_rate_hz: int) -> None:
    """Write a take beside its place, flushed, and move it there: 24 bits, or float where it goes over full scale.

    Raises
    ------
    OutputError
        If it cannot be written; nothing is left behind.
    """
    subtype = "PCM_24" if float(np.max(np.abs(samples), initial=0.0)) < 1.0 else "FLOAT"
    held = io.BytesIO()
    soundfile.write(held, samples, sample_rate_hz, subtype=subtype, format="WAV")
    write_atomically(path, held.getvalue(), overwrite=False)


def _earlier(known: Sequence[TakeMade], state: State) -> Earlier | None:
    """The kept take of the seating before, of the cone at hand at the same level of the series."""
    turn = state.queue[0]
    before = [
        t
        for t in (*known, *state.kept_takes)
        if t.turn.specimen == turn.specimen and t.level_index == state.level_index and t.turn.seating < turn.seating
    ]
    if not before:
        return None
    last = max(before, key=lambda t: t.turn.seating)
    return Earlier(last.turn.seating, last.verdict.figures, last.verdict.uncertainties)


def _pairs(kept: Sequence[TakeMade]) -> list[tuple[dict[str, float], dict[str, float]]]:
    """Figures of consecutive kept seatings of the same cone at the same level."""
    by_cone: dict[tuple[str, int], list[TakeMade]] = {}
    for take in kept:
        by_cone.setdefault((take.turn.specimen, take.level_index), []).append(take)
    return [
        (a.verdict.figures, b.verdict.figures)
        for takes in by_cone.values()
        for a, b in pairwise(takes)
        if a.turn.seating != b.turn.seating
    ]


def _kept_before(root: Path, session: str) -> tuple[TakeMade, ...]:
    """Kept takes of all other sittings that left a journal, oldest first; a damaged journal is passed over."""
    kept: list[TakeMade] = []
    for journal in other_journals(root, session):
        try:
            state = replay(journal.read())
        except FrustaError:
            continue
        kept += state.kept_takes if state else ()
    return tuple(kept)
