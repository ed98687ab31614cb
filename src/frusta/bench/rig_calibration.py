"""Calibrate what stays on the bench: the microphone by a calibrator, the rig's constants by two sweeps of one cone."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
import soundfile

from frusta.bench.device import Device, Heard
from frusta.bench.fit_drawing import fit_svg
from frusta.bench.full_scale import LISTEN_S, FullScale, full_scale_of_tone
from frusta.bench.journal import FOLDER
from frusta.bench.judging import voltage_of
from frusta.bench.rehearsal import CALIBRATOR, VirtualDevice
from frusta.bench.rig_constants import Impedance, RigConstants, fit_impedance, fit_sound, impedance_of, sound_of
from frusta.bench.rig_memory import RigMemory
from frusta.bench.sitting import session_key
from frusta.bench.tables import edit_table
from frusta.bench.take_file import write_recording
from frusta.bench.thermal import gain_within_power_db
from frusta.campaign.atomic import write_atomically
from frusta.campaign.package import Package
from frusta.campaign.resolve import LoadedTake, played_of
from frusta.campaign.rows import Rig
from frusta.errors import FrustaError, ParameterError

CONSTANTS = (
    "force_factor_tm",
    "suspension_stiffness_n_mm",
    "suspension_resistance_ns_m",
    "coil_resistance_ohm",
    "coil_inductance_mh",
)


def hear_calibrator(device: Device, channel: int, level_db: float) -> FullScale:
    """Hear a calibrator that is over the microphone.

    Parameters
    ----------
    device : Device
    channel : int
        Of the microphone, from 1.
    level_db : float
        Of the calibrator, dB rms re 20 µPa.

    Raises
    ------
    ParameterError
        If there is no steady 1 kHz tone, or it clips.
    """
    device.seat(CALIBRATOR, 0, f"{level_db:g}")
    heard = device.play(np.zeros(round(LISTEN_S * device.sample_rate_hz)))
    if heard.stopped:
        raise ParameterError("the calibrator must be heard to its end (it was stopped); listen again")
    return full_scale_of_tone(heard.samples[:, channel - 1], device.sample_rate_hz, level_db)


@dataclass(frozen=True)
class RigCalibration:
    """Two sweeps of one cone, as it is and with a known mass more, give the rig's constants.

    Parameters
    ----------
    package : Package
    rig : Rig
    device : Device
    sweep : str
        Key of the sweep.
    channels : mapping of str to int
        With a ``current_channel`` by impedance, else by sound.
    start_gain_db : float
        Drive gain of both sweeps.
    current_full_scale_a : float or None
        Peak coil current at digital full scale of the current channel.
    """

    package: Package
    rig: Rig
    device: Device
    sweep: str
    channels: Mapping[str, int]
    start_gain_db: float
    current_full_scale_a: float | None = None

    def take(self, specimen: str, added_kg: float, number: int, heard: Heard | None = None) -> LoadedTake:
        """Sweep once; the recording is kept beside the journal.

        Parameters
        ----------
        specimen : str
            The cone that is on.
        added_kg : float
            Mass put on.
        number : int
            0 without, 1 with the mass.
        heard : callable, optional
            Told of what is recorded as it comes.

        Raises
        ------
        FrustaError
            If nothing was heard, or it was stopped.
        """
        device = self.device
        if isinstance(device, VirtualDevice):
            device.add_mass(added_kg)
        device.seat(specimen, 0, f"calibrate-{number}")
        played = played_of(self.package, self.package.sweeps[self.sweep], device.sample_rate_hz)
        sound = device.play(played.samples * 10.0 ** (self.start_gain_db / 20.0), heard=heard)
        if sound.stopped:
            raise ParameterError("the sweep must be heard to its end (it was stopped); sweep again")
        path = self.package.root / FOLDER / f"{session_key(self.package, date.today())}-calibration-{number}.wav"
        path.unlink(missing_ok=True)
        write_recording(path, sound.samples, device.sample_rate_hz)
        samples, rate = soundfile.read(path, always_2d=True)
        channel = {name: samples[:, place - 1] for name, place in self.channels.items()}
        if not np.any(channel["microphone_channel"]):
            raise FrustaError(f"{device.name}: hears nothing; check the microphone")
        return LoadedTake(
            channel["microphone_channel"],
            channel.get("reference_channel"),
            channel.get("current_channel"),
            played,
            int(rate),
            24,
        )

    def constants(self, takes: Sequence[LoadedTake], added_kg: float) -> RigConstants:
        """Return the constants of two takes, without and with the mass; a drawing of the fit is kept with the takes.

        Raises
        ------
        ParameterError
            If the fit does not deserve belief.
        """
        rate = self.device.sample_rate_hz
        if "current_channel" in self.channels:
            curves = [self._impedance(take) for take in takes]
            found = fit_impedance(curves[0], curves[1], added_kg)
        else:
            first, second = (sound_of(take.recording, _played(take), rate) for take in takes)
            found = fit_sound(first, second, added_kg)
        write_atomically(self.package.root / FOLDER / "rig-constants.svg", fit_svg(found).encode())
        return found

    def _impedance(self, take: LoadedTake) -> Impedance:
        if self.current_full_scale_a is None or self.rig.drive_full_scale_v is None:
            raise ParameterError(
                "impedance needs --current-full-scale (A) and drive_full_scale_v of the rig (V); measure both once"
            )
        if take.current is None:
            raise ParameterError("the current channel was not recorded; name it with --current")
        voltage = voltage_of(take, self.rig.drive_full_scale_v, self.start_gain_db)
        return impedance_of(voltage, take.current * self.current_full_scale_a, self.device.sample_rate_hz)


def gain_within_limits_db(
    package: Package, rig: Rig, sweep: str, sample_rate_hz: int, gain_db: float, memory: RigMemory
) -> float:
    """Return a drive gain that passes no limit that is remembered of the rig.

    Parameters
    ----------
    package : Package
    rig : Rig
    sweep : str
        Key of the sweep.
    sample_rate_hz : int
    gain_db : float
        Wanted.
    memory : RigMemory
        Its ``limit_dbfs`` and ``limit_w``.

    Raises
    ------
    ParameterError
        If a limit of power is remembered, and the volts at the coil or its resistance are not known.
    """
    amplitude = float(np.max(np.abs(played_of(package, package.sweeps[sweep], sample_rate_hz).samples)))
    most_db = (0.0 if memory.limit_dbfs is None else memory.limit_dbfs) - 20.0 * math.log10(amplitude)
    if memory.limit_w is not None:
        if rig.drive_full_scale_v is None or rig.coil_resistance_ohm is None:
            raise ParameterError(
                "a limit of power needs drive_full_scale_v and coil_resistance_ohm of the rig (rigs.csv lacks one); "
                "fill it in, or leave the limit out"
            )
        coil_db = gain_within_power_db(memory.limit_w, amplitude, rig.drive_full_scale_v, rig.coil_resistance_ohm)
        most_db = min(most_db, coil_db)
    return min(gain_db, most_db)


def keep_constants(root: Path, rig: str, found: RigConstants) -> bool:
    """Write constants into the row of a rig in rigs.csv; returns whether it changed.

    Raises
    ------
    OutputError
        If it cannot be written; the table is then as it was.
    """
    return edit_table(root, "rigs", [{"rig": rig, **rig_cells(found)}])


def rig_cells(found: RigConstants) -> dict[str, str]:
    """Return constants as cells of rigs.csv, with their uncertainties in columns of their own."""
    cells = {name: f"{found.values[name]:.5g}" for name in CONSTANTS if name in found.values}
    return cells | {f"{name}_u": f"{found.uncertainties[f'{name}_u']:.2g}" for name in cells}


def _played(take: LoadedTake) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    if take.played is None:
        raise ParameterError("what was played must be known; name a sweep")
    return take.played.samples
