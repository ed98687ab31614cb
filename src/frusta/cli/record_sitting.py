"""What `frusta record` does once its device is open: begin or resume a sitting, calibrate, say how it ended."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
import soundfile
import typer

from frusta.bench.device import Device
from frusta.bench.events import Began, Turn
from frusta.bench.fit_drawing import fit_svg
from frusta.bench.full_scale import LISTEN_S, full_scale_of_tone
from frusta.bench.guide import Guide
from frusta.bench.journal import FOLDER, journal_of, latest_session
from frusta.bench.judging import voltage_of
from frusta.bench.level_series import series_lines
from frusta.bench.live import BenchSettings
from frusta.bench.rehearsal import CALIBRATOR, VirtualDevice
from frusta.bench.repeatability import TIMES, repeatability_lines
from frusta.bench.rig_constants import RigConstants, fit_impedance, fit_sound, impedance_of, sound_of
from frusta.bench.rig_memory import RigMemory
from frusta.bench.sitting import (
    SLOW,
    begin_sitting,
    check_cone,
    planned_turns,
    seatings_made,
    session_key,
)
from frusta.bench.steps import replay
from frusta.bench.tables import edit_table
from frusta.bench.take_file import write_recording
from frusta.bench.unattended import run_unattended
from frusta.campaign.atomic import write_atomically
from frusta.campaign.datapackage import NAME as DESCRIPTION
from frusta.campaign.package import Package
from frusta.campaign.resolve import LoadedTake, law_of, played_of
from frusta.campaign.rows import Rig
from frusta.campaign.tables import cell_text
from frusta.errors import FrustaError, PackageError, ParameterError

CONSTANTS = (
    "force_factor_tm",
    "suspension_stiffness_n_mm",
    "suspension_resistance_ns_m",
    "coil_resistance_ohm",
    "coil_inductance_mh",
)


@dataclass(frozen=True)
class Choices:
    """What the options say, as far as it is not remembered."""

    sweep: str
    channels: dict[str, int]
    tolerance_db: float
    start_gain_db: float
    equal_voltage: bool
    levels_db: tuple[float, ...]
    seatings: int
    seed: int
    repeatability: str | None
    temperature_c: float | None
    humidity_pct: float | None
    with_coil: bool
    new_session: bool
    unattended: bool
    calibrator_db: float | None
    added_mass_g: float | None = None


def refuse_unfit(campaign: Path) -> None:
    """Refuse a package that cannot be recorded into.

    Raises
    ------
    PackageError
        If it is a zip, or was exported with hashes that recording would break.
    """
    if campaign.is_file():
        raise PackageError(
            f"{campaign}: must be a folder to record into (it is a file); unpack the zip and name the folder"
        )
    if (campaign / DESCRIPTION).exists():
        raise PackageError(
            f"{campaign}: was exported, and {DESCRIPTION} holds the hashes of its files, which recording changes; "
            f"remove {DESCRIPTION} first, export writes it anew"
        )


def slow_sweep(package: Package, key: str, factor: float) -> str:
    """Return the key of a sweep slower by a factor; its row is added where it is not there yet.

    Raises
    ------
    ParameterError
        If the sweep is a file.
    """
    row = package.sweeps[key]
    law = law_of(row, row.sample_rate_hz or 48000)
    if law is None:
        raise ParameterError(f"sweep {key} is a file and cannot be slowed down; give the slow one its own row")
    slow = f"{key}{SLOW}{factor:g}".replace("+", "")
    cells = {name: cell_text(value) for name, value in row.model_dump().items() if value is not None}
    edit_table(package.root, "sweeps", [cells | {"sweep": slow, "duration_s": f"{law.duration_s * factor:.6g}"}])
    return slow


def what_plays(package: Package, key: str, device: Device) -> str:
    """Return which sweep is played through what, in words."""
    played = played_of(package, package.sweeps[key], device.sample_rate_hz)
    law = played.sweep
    band = "" if law is None else f", {law.start_hz:g} to {law.stop_hz:g} Hz"
    seconds = played.samples.size / device.sample_rate_hz
    return f"Sweep {key}: {seconds:.1f} s{band}, {device.sample_rate_hz} Hz, through {device.name}."


def sit(package: Package, rig: Rig, device: Device, memory: RigMemory, choices: Choices) -> None:
    """Go through a sitting, from where it was left or from the beginning.

    Raises
    ------
    FrustaError
        If the device or the disk fails where nobody is there to mend it.
    """
    full_scale = _heard_calibrator(device, choices) if choices.calibrator_db is not None else None
    settings = BenchSettings(
        choices.sweep,
        choices.channels,
        memory.target_db,
        choices.tolerance_db,
        0.0 if memory.limit_dbfs is None else memory.limit_dbfs,
        memory.limit_w,
        memory.current_full_scale_a,
        0.0 if choices.equal_voltage else choices.start_gain_db,
        choices.unattended,
        0.0 if choices.unattended else 3.0,
    )
    guide = Guide(package.root, device, settings)
    left = None if choices.new_session or choices.repeatability else session_left(package)
    if left is not None:
        typer.echo(f"Going on with session {left} where it was left.")
        guide.resume(left)
    else:
        guide.begin(_beginning(package, rig, choices, full_scale))
    try:
        if choices.unattended:
            run_unattended(guide, lambda line: print(line, flush=True))
        else:
            _on_terminal(guide, choices)
    finally:
        guide.stop()
        guide.wait()
        for line in closing_lines(guide):
            typer.echo(line)


def session_left(package: Package) -> str | None:
    """Return the session of today that was not ended, or None."""
    session = latest_session(package.root)
    if session is None or session not in package.sessions:
        return None
    state = replay(journal_of(package.root, session).read())
    today = date.today().isoformat()
    return session if state and state.step != "done" and package.sessions[session].date == today else None


def closing_lines(guide: Guide) -> tuple[str, ...]:
    """Return how a sitting stands, in words."""
    state = guide.state
    kept = len(state.kept)
    lines = [f"{kept} take{'s' * (kept != 1)} kept, {len(state.made) - kept} set aside in recordings/{state.session}"]
    tests = [t for t in state.kept_takes if t.turn.why == "seating test"]
    lines += repeatability_lines(tests)
    if len(state.levels_db) > 1:
        lines += series_lines(state.kept_takes)
    if state.step != "done":
        lines.append("not finished: frusta record goes on where it was")
    return tuple(lines)


def _beginning(package: Package, rig: Rig, choices: Choices, full_scale_pa: float | None) -> Began:
    if choices.repeatability is not None:
        turns = _seating_test(package, choices.repeatability)
    else:
        turns = planned_turns(package, choices.seatings, choices.seed)
    if not turns:
        raise PackageError(
            f"{package.root.name}: all planned seatings are recorded; ask for more: --seatings {choices.seatings + 1}"
        )
    return begin_sitting(
        package,
        rig,
        turns,
        date.today(),
        levels_db=choices.levels_db,
        equal_voltage=choices.equal_voltage,
        full_scale_pa=full_scale_pa,
        temperature_c=choices.temperature_c,
        humidity_pct=choices.humidity_pct,
    )


def _seating_test(package: Package, specimen: str) -> tuple[Turn, ...]:
    if specimen not in package.specimens:
        raise PackageError(
            f"--repeatability must name a row of specimens.csv (got {specimen!r}); the check cone is best"
        )
    made = seatings_made(package).get(specimen, 0)
    return tuple(Turn(specimen, made + 1 + i, "seating test") for i in range(TIMES))


def _on_terminal(guide: Guide, choices: Choices) -> None:
    from rich.console import Console

    from frusta.cli.bench_terminal import BenchTerminal, on_terminal

    if not on_terminal():
        raise ParameterError(
            "frusta record needs a terminal for its keys (there is none); run it in one, or rehearse with --unattended"
        )
    typer.echo("Press Enter to begin.")
    sys.stdin.readline()
    terminal = BenchTerminal(guide, Console(), choices.with_coil)
    guide.on_change(terminal.changed)
    terminal.run()


def _heard_calibrator(device: Device, choices: Choices) -> float:
    """Hear a calibrator and return the microphone's full scale, Pa."""
    level_db = float(choices.calibrator_db or 0.0)
    if not choices.unattended:
        typer.echo(f"Put the calibrator ({level_db:g} dB, 1 kHz) over the microphone, switch it on, press Enter.")
        sys.stdin.readline()
    device.seat(CALIBRATOR, 0, f"{level_db:g}")
    heard = device.play(np.zeros(round(LISTEN_S * device.sample_rate_hz)))
    channel = choices.channels["microphone_channel"] - 1
    found = full_scale_of_tone(heard.samples[:, channel], device.sample_rate_hz, level_db)
    typer.echo(
        f"Full scale is {found.full_scale_pa:.4g} Pa peak, ± {found.u_db:.2f} dB (tone at {found.frequency_hz:.1f} Hz)."
    )
    return found.full_scale_pa


def calibrate_rig(package: Package, rig: Rig, device: Device, memory: RigMemory, choices: Choices) -> None:
    """Sweep one cone without and with a known mass, and write the rig's constants into rigs.csv.

    Raises
    ------
    ParameterError
        If the fit does not deserve belief.
    """
    specimen = choices.repeatability or check_cone(package) or next(iter(package.specimens), None)
    if specimen is None:
        raise PackageError("--calibrate needs a cone in specimens.csv; add the check cone")
    added_kg = _added_mass(choices) * 1e-3
    takes = []
    for number, more in enumerate((0.0, added_kg)):
        what = f"with {1e3 * more:g} g more, near the neck" if more else "as it is"
        if not choices.unattended:
            typer.echo(f"Push {specimen} on, {what}. Press Enter; the sweep follows.")
            sys.stdin.readline()
        if isinstance(device, VirtualDevice):
            device.add_mass(more)
        device.seat(specimen, 0, f"calibrate-{number}")
        takes.append(_calibration_take(package, device, choices, number))
    if "current_channel" in choices.channels:
        found = _by_impedance(takes, rig, memory, choices, device.sample_rate_hz, added_kg)
    else:
        first, second = (sound_of(t.recording, _played(t), device.sample_rate_hz) for t in takes)
        found = fit_sound(first, second, added_kg)
    for line in found.lines:
        typer.echo(line)
    drawing = package.root / FOLDER / "rig-constants.svg"
    write_atomically(drawing, fit_svg(found).encode())
    typer.echo(f"Drawing of the fit: {drawing}")
    cells = {name: f"{found.values[name]:.5g}" for name in CONSTANTS if name in found.values}
    cells |= {f"{name}_u": f"{found.uncertainties[f'{name}_u']:.2g}" for name in cells}
    edit_table(package.root, "rigs", [{"rig": rig.rig, **cells}])
    typer.echo(f"Written into rigs.csv: {', '.join(cells)}")


def _by_impedance(
    takes: list[LoadedTake], rig: Rig, memory: RigMemory, choices: Choices, rate: int, added_kg: float
) -> RigConstants:
    if memory.current_full_scale_a is None or rig.drive_full_scale_v is None:
        raise ParameterError(
            "impedance needs --current-full-scale (A) and drive_full_scale_v of the rig (V); measure both once"
        )
    curves = []
    for take in takes:
        if take.current is None:
            raise ParameterError("the current channel was not recorded; name it with --current")
        voltage = voltage_of(take, rig.drive_full_scale_v, choices.start_gain_db)
        curves.append(impedance_of(voltage, take.current * memory.current_full_scale_a, rate))
    return fit_impedance(curves[0], curves[1], added_kg)


def _calibration_take(package: Package, device: Device, choices: Choices, number: int) -> LoadedTake:
    """Sweep once; the recording is kept beside the journal."""
    played = played_of(package, package.sweeps[choices.sweep], device.sample_rate_hz)
    heard = device.play(played.samples * 10.0 ** (choices.start_gain_db / 20.0))
    stem = f"{session_key(package, date.today())}-calibration-{number}"
    path = package.root / FOLDER / f"{stem}.wav"
    path.unlink(missing_ok=True)
    write_recording(path, heard.samples, device.sample_rate_hz)
    samples, rate = soundfile.read(path, always_2d=True)
    channel = {name: samples[:, number - 1] for name, number in choices.channels.items()}
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


def _played(take: LoadedTake) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    if take.played is None:
        raise ParameterError("what was played must be known; name a sweep")
    return take.played.samples


def _added_mass(choices: Choices) -> float:
    """The mass that is put on, g; asked for if it was not given."""
    if choices.added_mass_g is not None:
        return choices.added_mass_g
    if choices.unattended:
        raise ParameterError("--calibrate --unattended needs the mass that is put on; give it with --added-mass")
    text = typer.prompt("Mass that will be put on the cone, near its neck, in grams")
    try:
        return float(str(text).replace(",", "."))
    except ValueError:
        raise ParameterError(f"the added mass must be a number in grams (got {text!r}); weigh it") from None
