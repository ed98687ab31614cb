"""The rig's constants from the page: one cone swept as it is, then with a known mass more; kept only when told so."""

from __future__ import annotations

import logging
import threading
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from frusta.bench.device import Block, Device
from frusta.bench.rig_calibration import RigCalibration, keep_constants
from frusta.bench.rig_constants import RigConstants
from frusta.campaign.resolve import LoadedTake, played_of
from frusta.campaign.rows import Rig
from frusta.errors import FrustaError, ParameterError
from frusta.web.edits import Edits
from frusta.web.problems import Problem, problem_of

Step = Literal["bare", "loaded", "found"]
HEAVIEST_G = 1000.0

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class MeasuringState:
    """Where the measuring stands.

    Parameters
    ----------
    rig, specimen : str
    added_g : float
        The known mass.
    by_current : bool
        Whether the coil's current is recorded: then all constants can be had.
    step : {"bare", "loaded", "found"}
        To sweep as it is, to sweep with the mass, to keep what was found.
    sounding : bool
        Whether a sweep plays or is being read.
    problem : Problem or None
        Why the last sweep gave nothing.
    found : RigConstants or None
    """

    rig: str
    specimen: str
    added_g: float
    by_current: bool
    step: Step = "bare"
    sounding: bool = False
    problem: Problem | None = None
    found: RigConstants | None = None


class RigMeasuring:
    """One measuring of a rig's constants; its device is open until it is closed.

    Parameters
    ----------
    calibration : RigCalibration
    specimen : str
        The cone that is on.
    added_g : float
        The known mass, g.
    """

    def __init__(self, calibration: RigCalibration, specimen: str, added_g: float) -> None:
        _refuse_unfit(calibration, specimen, added_g)
        self._calibration = calibration
        self._lock = threading.RLock()
        self._thread: threading.Thread | None = None
        self._stopping = threading.Event()
        self._takes: tuple[LoadedTake, ...] = ()
        self._samples, self._done, self._peak = 1, 0, 0.0
        by_current = "current_channel" in calibration.channels
        self.state = MeasuringState(calibration.rig.rig, specimen, added_g, by_current)

    @property
    def rig(self) -> Rig:
        """The row that the constants belong to."""
        return self._calibration.rig

    @property
    def device(self) -> Device:
        """What plays."""
        return self._calibration.device

    @property
    def progress(self) -> float:
        """How much of the sweep was heard, 0 to 1."""
        return min(1.0, self._done / self._samples)

    @property
    def seconds_left(self) -> float:
        """Of the sweep."""
        return max(0, self._samples - self._done) / self.device.sample_rate_hz

    @property
    def peak_dbfs(self) -> float:
        """Loudest so far at the microphone."""
        return 20.0 * float(np.log10(self._peak + 1e-10))

    def sweep(self) -> None:
        """Begin the sweep that is next; `state` tells when it ends.

        Raises
        ------
        ParameterError
            If one plays, or both were heard.
        """
        with self._lock:
            if self.state.sounding:
                raise ParameterError("a sweep is playing; wait for its end, or stop it")
            if self.state.step == "found":
                raise ParameterError("both sweeps were heard; keep what was found, or go back and sweep again")
            self._stopping.clear()
            row = self._calibration.package.sweeps[self._calibration.sweep]
            self._samples = played_of(self._calibration.package, row, self.device.sample_rate_hz).samples.size
            self._done, self._peak = 0, 0.0
            self.state = replace(self.state, sounding=True, problem=None)
            self._thread = threading.Thread(target=self._sound, name="frusta-constants", daemon=True)
            self._thread.start()

    def back(self) -> None:
        """Go back by one sweep; raises as `sweep` where one plays."""
        with self._lock:
            if self.state.sounding:
                raise ParameterError("a sweep is playing; stop it first")
            step: Step = "loaded" if self.state.step == "found" else "bare"
            self.state = replace(self.state, step=step, problem=None, found=None)
            self._takes = self._takes[: 1 if step == "loaded" else 0]

    def keep(self, edits: Edits) -> str:
        """Write what was found into rigs.csv, as `frusta record --calibrate` does, and say so.

        Raises
        ------
        ParameterError
            If nothing was found yet.
        OutputError
            If it cannot be written.
        """
        with self._lock:
            found, rig = self.state.found, self.state.rig
            if found is None:
                raise ParameterError("there is nothing to keep yet; hear both sweeps first")
            root = self._calibration.package.root
            said = f"Wrote the constants of {rig} into rigs.csv."
            edits.change(root, "rigs", said, lambda: keep_constants(root, rig, found))
            return said

    def stop(self) -> None:
        """Silence it; from any thread."""
        self._stopping.set()
        self.device.stop()

    def wait(self, timeout_s: float | None = None) -> None:
        """Wait until no sweep plays and none is being read."""
        if self._thread is not None:
            self._thread.join(timeout_s)

    def close(self) -> None:
        """Stop, and let the device go."""
        self.stop()
        self.wait()
        self.device.close()

    def _sound(self) -> None:
        before = new = self.state
        try:
            new = self._heard(before)
            if self._stopping.is_set():
                new = before
        except FrustaError as error:
            new = replace(new, problem=None if self._stopping.is_set() else problem_of(error))
        except Exception as error:  # a thread must not end unheard
            log.exception("measuring the rig's constants failed")
            told = f"{type(error).__name__}: {error}"
            new = replace(new, problem=Problem("Something went wrong inside frusta.", told, "Sweep again."))
        self.state = replace(new, sounding=False)  # nothing else changes it while a sweep plays

    def _heard(self, state: MeasuringState) -> MeasuringState:
        """Play and read one sweep; the state that follows."""
        added_kg = 1e-3 * state.added_g
        if state.step == "bare":
            self._takes = (self._calibration.take(state.specimen, 0.0, 0, self._block),)
            return replace(state, step="loaded")
        second = self._calibration.take(state.specimen, added_kg, 1, self._block)
        return replace(state, step="found", found=self._calibration.constants((*self._takes, second), added_kg))

    def _block(self, block: Block) -> None:
        if self._stopping.is_set():  # stopped in the moment before it sounded
            self.device.stop()
        channel = self._calibration.channels["microphone_channel"] - 1
        self._peak = max(self._peak, float(np.max(np.abs(block[:, channel]), initial=0.0)))
        self._done += len(block)


def _refuse_unfit(calibration: RigCalibration, specimen: str, added_g: float) -> None:
    """Refuse before anything sounds what would give nothing afterwards."""
    row = calibration.package.specimens.get(specimen)
    if row is None or row.kind == "coupon":
        raise ParameterError("the cone must be one of specimens.csv that goes on the rig; choose another")
    if not 0.0 < added_g <= HEAVIEST_G:
        raise ParameterError(
            f"the added mass must be above 0 and at most {HEAVIEST_G:g} g (got {added_g:g} g); weigh it"
        )
    if "current_channel" not in calibration.channels:
        return
    lacks = [
        words
        for words, there in (
            ("the channel of the loopback", "reference_channel" in calibration.channels),
            ("the coil current at full scale, A", calibration.current_full_scale_a is not None),
            (
                "the rig's volts at full scale (drive_full_scale_v in the table of rigs)",
                calibration.rig.drive_full_scale_v,
            ),
        )
        if not there
    ]
    if lacks:
        raise ParameterError(
            f"with the coil's current on a channel the impedance is read, which needs {' and '.join(lacks)}; fill it "
            "in, or empty the channel of the coil current to read the sound alone"
        )
