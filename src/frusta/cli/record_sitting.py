"""What `frusta record` does once its device is open: begin or resume a sitting, calibrate, say how it ended."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import typer

from frusta.bench.device import Device
from frusta.bench.events import Began, Turn
from frusta.bench.guide import Guide
from frusta.bench.journal import FOLDER, journal_of, latest_session
from frusta.bench.level_series import series_lines
from frusta.bench.live import BenchSettings
from frusta.bench.repeatability import TIMES, repeatability_lines
from frusta.bench.rig_calibration import (
    RigCalibration,
    gain_within_limits_db,
    hear_calibrator,
    keep_constants,
    rig_cells,
)
from frusta.bench.rig_memory import RigMemory
from frusta.bench.sitting import (
    begin_sitting,
    check_cone,
    planned_turns,
    seatings_made,
)
from frusta.bench.steps import replay
from frusta.bench.unattended import run_unattended
from frusta.campaign.datapackage import NAME as DESCRIPTION
from frusta.campaign.package import Package
from frusta.campaign.resolve import played_of
from frusta.campaign.rows import Rig
from frusta.cli.say import say, spoken
from frusta.errors import PackageError, ParameterError


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
        say(f"Going on with session {left} where it was left.")
        guide.resume(left)
    else:
        guide.begin(_beginning(package, rig, choices, full_scale))
    try:
        if choices.unattended:
            run_unattended(guide, lambda line: print(spoken(line), flush=True))
        else:
            _on_terminal(guide, choices)
    finally:
        guide.stop()
        guide.wait()
        for line in closing_lines(guide):
            say(line)


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
    say("Press Enter to begin.")
    sys.stdin.readline()
    terminal = BenchTerminal(guide, Console(), choices.with_coil)
    guide.on_change(terminal.changed)
    terminal.run()


def _heard_calibrator(device: Device, choices: Choices) -> float:
    """Hear a calibrator and return the microphone's full scale, Pa."""
    level_db = float(choices.calibrator_db or 0.0)
    if not choices.unattended:
        say(f"Put the calibrator ({level_db:g} dB, 1 kHz) over the microphone, switch it on, press Enter.")
        sys.stdin.readline()
    found = hear_calibrator(device, choices.channels["microphone_channel"], level_db)
    say(
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
    gain_db = gain_within_limits_db(package, rig, choices.sweep, device.sample_rate_hz, choices.start_gain_db, memory)
    rigged = RigCalibration(package, rig, device, choices.sweep, choices.channels, gain_db, memory.current_full_scale_a)
    takes = []
    for number, more in enumerate((0.0, added_kg)):
        what = f"with {1e3 * more:g} g more, near the neck" if more else "as it is"
        if not choices.unattended:
            say(f"Push {specimen} on, {what}. Press Enter; the sweep follows.")
            sys.stdin.readline()
        takes.append(rigged.take(specimen, more, number))
    found = rigged.constants(takes, added_kg)
    for line in found.lines:
        say(line)
    say(f"Drawing of the fit: {package.root / FOLDER / 'rig-constants.svg'}")
    keep_constants(package.root, rig.rig, found)
    say(f"Written into rigs.csv: {', '.join(rig_cells(found))}")


def _added_mass(choices: Choices) -> float:
    """The mass that is put on, g; asked for if it was not given."""
    if choices.added_mass_g is not None:
        return choices.added_mass_g
    if choices.unattended:
        raise ParameterError("--calibrate --unattended needs the mass that is put on; give it with --added-mass")
    text = typer.prompt(spoken("Mass that will be put on the cone, near its neck, in grams"))
    try:
        return float(str(text).replace(",", "."))
    except ValueError:
        raise ParameterError(f"the added mass must be a number in grams (got {text!r}); weigh it") from None
