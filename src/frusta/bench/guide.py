"""The bench at work: steps, sound, disk and journal together. Terminal and page are two views of one guide.

The guide holds the state; a view shows `Guide.state` and `Guide.live` and sends events. Sound runs in a thread of its
own. Every event is in the journal before it counts; every take is on the disk before its verdict is sought.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from frusta.bench.device import Device
from frusta.bench.earlier import SittingBefore, past_of, seating_before, seating_pairs, sittings_before, standing
from frusta.bench.events import (
    Began,
    Ended,
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
    Tabled,
    Undone,
    Weighed,
)
from frusta.bench.journal import Journal, journal_of
from frusta.bench.judging import judge_take, seating_scatter
from frusta.bench.live import BenchSettings, Live
from frusta.bench.since_before import past_line
from frusta.bench.sounds import Sounds
from frusta.bench.steps import State, after, begin, last_tabled, replay
from frusta.bench.table_sittings import TableSittings
from frusta.bench.tables import bring_in_line
from frusta.bench.take_file import new_take, recording_of, remove_unfinished, write_recording
from frusta.bench.thermal import gain_within_power_db
from frusta.campaign.package import open_package
from frusta.campaign.resolve import ResolvedTake, calibration_of, played_of, resolve_take
from frusta.campaign.rigid_response import rigid_response
from frusta.campaign.rows import Take
from frusta.errors import FrustaError, PackageError, ParameterError


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
        self._device = device
        self._now = now or (lambda: datetime.now(UTC))
        self._lock = threading.RLock()
        self._work: threading.Thread | None = None
        self._state: State | None = None
        self._tabled: State | None = None
        self._journal: Journal | None = None
        self._known: tuple[SittingBefore, ...] = ()
        self._untold = TableSittings()
        package = open_package(root)
        row = package.sweeps.get(settings.sweep)
        if row is None:
            raise PackageError(f"sweep must be a row of sweeps.csv (got {settings.sweep!r}); name one that is there")
        played = played_of(package, row, device.sample_rate_hz)
        self._sounds = Sounds(device, settings, played.samples, played.sweep)
        self.on_change(changed or (lambda: None))

    @property
    def settings(self) -> BenchSettings:
        """What the sitting runs with."""
        return self._sounds.settings

    @property
    def live(self) -> Live:
        """What moves while sound plays."""
        return self._sounds.live

    @property
    def state(self) -> State:
        """Where the bench stands."""
        if self._state is None:
            raise ParameterError("no sitting has begun; begin or resume one")
        return self._state

    @property
    def largest_gain_db(self) -> float:
        """Drive gain at which the output or the coil of the cone at hand reaches its limit."""
        return self._sounds.largest_gain_db

    def on_change(self, changed: Callable[[], None]) -> None:
        """Call this, from any thread, whenever state or live view changes."""
        self._changed = changed
        self._sounds.changed = changed

    def begin(self, event: Began) -> None:
        """Begin a sitting; its session must stand in sessions.csv.

        Raises
        ------
        OutputError
            If the journal cannot be written.
        """
        with self._lock:
            self._journal = journal_of(self.root, event.session)
            remove_unfinished(self.root, event.session)
            self._journal.write(event)
            self._state = self._tabled = begin(event)
            self._known = sittings_before(self.root, event.session)
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
            events = self._journal.read()
            self._state, self._tabled = replay(events), last_tabled(events)
            if self._state is None:
                raise PackageError(f"session {session} has no journal; begin the sitting anew")
            self._known = sittings_before(self.root, session)
            remove_unfinished(self.root, session)
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
            if isinstance(event, Mended | Ended):
                self._in_line()  # what a full disk kept out of the tables
            self._put(event)
            if isinstance(event, Kept | Repeated | Reseated | Undone | Weighed):
                self._try_in_line()
        self._start_sound()

    def stop(self) -> None:
        """Silence everything within 50 ms; keeps nothing, loses nothing."""
        self._sounds.stop()

    def undo(self) -> None:
        """Take the last decision back; sound is stopped first."""
        self.stop()
        self.wait()
        self.press(Undone())

    def add_gain(self, step_db: float) -> None:
        """Raise or lower the drive gain while the noise plays, within the limit."""
        self._sounds.set_gain(self.live.gain_db + step_db)

    def set_automatic(self, automatic: bool) -> None:
        """Let the gain follow the meter by itself, or not."""
        self._sounds.settings = replace(self.settings, automatic_gain=automatic)

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
        if bring_in_line(self.root, self.state, channels, self.settings.sweep, self._tabled):
            self._put(Tabled())
        self._tabled = self.state

    def _try_in_line(self) -> None:
        try:
            self._in_line()
        except FrustaError as error:
            self._fail(error)

    def _start_sound(self) -> None:
        """Start what the step asks for."""
        if self.state.step not in ("level", "sweep") or self.sounding:
            return
        self._sounds.ready()
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
            self._sounds.show(sound="")

    def _level(self) -> bool:
        """Play noise until the level is accepted; False if stopped."""
        turn = self.state.queue[0]
        package = open_package(self.root)
        self._device.seat(turn.specimen, turn.seating)
        resolved = resolve_take(package, self._row(self.state.session, "level"))
        rigid_response(resolved)  # computed before the verdict needs it
        self._sounds.coil_gain_db = self._gain_of_coil(resolved)
        equal_voltage = self.state.level_rule == "equal voltage"
        target = self.state.target_db if self.state.target_db is not None else self.settings.target_db
        accepted = self._sounds.level(
            resolved.full_scale_pa,
            None if equal_voltage else target,
            self.settings.start_gain_db if equal_voltage else self.live.gain_db,
        )
        if accepted is None:
            return False
        level = accepted.level_db
        new_target = level if target is None and not equal_voltage else None
        self._put(Levelled(round(self.live.gain_db, 4), round(level, 3), new_target and round(new_target, 3)))
        return True

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
            self.settings.limit_w, self._sounds.amplitude, resolved.drive_full_scale_v, resolved.coil_resistance_ohm
        )

    def _sweep(self) -> bool:
        """Count down, play, write, judge; False if stopped."""
        if not self._sounds.count_down():
            return False
        state = self.state
        turn = state.queue[0]
        gain_db = (state.drive_gain_db or 0.0) + state.levels_db[state.level_index]
        gain_db = min(gain_db, self.largest_gain_db)
        take = new_take(self.root, state, open_package(self.root).takes)
        self._device.seat(turn.specimen, turn.seating, take)
        self._put(SweepBegan(take, round(gain_db, 4)))
        taken_at = self._now().astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        samples = self._sounds.sweep(gain_db)
        if samples is None:
            return False
        recording = recording_of(state.session, take)
        write_recording(self.root / recording, samples, self._device.sample_rate_hz)
        self._judge(take, recording, taken_at, round(gain_db, 4))
        return True

    def _judge(self, take: str, recording: str, taken_at: str, gain_db: float) -> None:
        state = self.state
        package = open_package(self.root)
        row = self._row(state.session, take, recording, gain_db)
        resolved = resolve_take(package, row)
        here = standing(state.kept_takes, package)
        before = seating_before(here, state)
        sittings = [standing(one.kept, package) for one in self._known]
        scatter = seating_scatter(seating_pairs([*sittings, here]))
        verdict = judge_take(
            package,
            resolved,
            calibration_of(package, resolved.rig),
            before,
            scatter,
            self.settings.current_full_scale_a,
        )
        sweep = self.settings.sweep
        untold = self._untold.last(package, state, sweep, {one.session for one in self._known})
        past = past_of([*self._known, *([untold] if untold else [])], state, package, sweep)
        if past is not None and verdict.quality != "repeat":
            line = past_line(verdict.figures, verdict.uncertainties, past, scatter)
            place = max(len(verdict.faults), 1) + (before is not None)  # after what is said of the take and its seating
            verdict = replace(
                verdict, lines=(*verdict.lines[:place], *([line] if line else []), *verdict.lines[place:])
            )
        self._put(Recorded(take, recording, verdict, taken_at, gain_db))

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

    def _settle_interrupted(self) -> None:
        """A sitting that ended while sound played: a take that got to the disk is judged, else seat again."""
        state = self.state
        name = state.running
        recording = recording_of(state.session, name or "")
        if name is not None and (self.root / recording).exists():
            taken = datetime.fromtimestamp((self.root / recording).stat().st_mtime, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
            gain_db = (state.drive_gain_db or 0.0) + state.levels_db[state.level_index]
            self._judge(name, recording, taken, round(min(gain_db, self.largest_gain_db), 4))
        else:
            self._put(SoundStopped())
