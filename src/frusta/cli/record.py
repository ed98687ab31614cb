"""`frusta record`: the bench in a terminal."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from frusta.cli.say import say

if TYPE_CHECKING:
    from frusta.bench.rig_memory import RigMemory

CAUTION = """Sweeps at measuring level can harm hearing: protect your ears, start with
the amplifier turned down, keep others out of the room. Coils and amplifiers
get hot. Local codes and qualified practice go first. While sound plays, Esc
silences it at once."""


def record(
    campaign: Annotated[Path, typer.Argument(metavar="CAMPAIGN", help="The package, a folder.")],
    device: Annotated[
        str | None,
        typer.Option("--device", help="Output: name, number or part of the name; or virtual. Remembered per rig."),
    ] = None,
    input_: Annotated[
        str | None, typer.Option("--input", help="Input, if it is another device: a USB microphone.")
    ] = None,
    rig: Annotated[str | None, typer.Option("--rig", help="Row of rigs.csv; needed if there are several.")] = None,
    sweep: Annotated[
        str | None, typer.Option("--sweep", help="Row of sweeps.csv; needed if there are several.")
    ] = None,
    microphone: Annotated[int | None, typer.Option("--microphone", min=1, help="Input channel.")] = None,
    reference: Annotated[
        int | None, typer.Option("--reference", min=0, help="Channel of the loopback; 0 for none.")
    ] = None,
    current: Annotated[
        int | None, typer.Option("--current", min=0, help="Channel of the coil's current; 0 for none.")
    ] = None,
    current_full_scale: Annotated[
        float | None, typer.Option("--current-full-scale", help="Peak current at digital full scale, A.")
    ] = None,
    target: Annotated[
        float | None, typer.Option("--target", help="Level at the microphone that every cone is brought to, dB.")
    ] = None,
    tolerance: Annotated[float, typer.Option("--tolerance", min=0.1, help="Of the level, dB.")] = 0.5,
    equal_voltage: Annotated[
        bool, typer.Option("--equal-voltage", help="Do not level: the same voltage for every cone.")
    ] = False,
    levels: Annotated[str, typer.Option("--levels", help="A series of levels on each seating, dB: 0,-6,-12.")] = "0",
    slow: Annotated[
        float, typer.Option("--slow", min=1.0, help="Sweep slower by this factor: less noise, lower harmonics.")
    ] = 1.0,
    limit_dbfs: Annotated[
        float | None, typer.Option("--limit-dbfs", max=0.0, help="Never play louder than this. Remembered.")
    ] = None,
    limit_w: Annotated[
        float | None, typer.Option("--limit-w", help="Most power the coil may take over a sweep, W. Remembered.")
    ] = None,
    start_gain: Annotated[
        float, typer.Option("--start-gain", max=0.0, help="Drive gain before the first levelling, dB.")
    ] = -12.0,
    seatings: Annotated[
        int, typer.Option("--seatings", min=1, help="Seatings of each cone, where no plan is saved.")
    ] = 2,
    seed: Annotated[int, typer.Option("--seed", help="Of the shuffled order, where no plan is saved.")] = 1,
    repeatability: Annotated[
        str | None,
        typer.Option("--repeatability", metavar="SPECIMEN", help="Seat this cone five times: what a seating does."),
    ] = None,
    calibrate: Annotated[
        bool, typer.Option("--calibrate", help="Find the rig's constants: coil, force factor, suspension.")
    ] = False,
    added_mass: Annotated[
        float | None, typer.Option("--added-mass", metavar="G", help="Mass put on for --calibrate, grams.")
    ] = None,
    calibrator: Annotated[
        float | None,
        typer.Option("--calibrator", metavar="DB", help="First hear a 1 kHz calibrator of this level, dB (94, 114)."),
    ] = None,
    temperature: Annotated[float | None, typer.Option("--temperature", help="Of the room, °C.")] = None,
    humidity: Annotated[float | None, typer.Option("--humidity", help="Of the room, %.")] = None,
    with_coil: Annotated[bool, typer.Option("--with-coil", help="Cones are weighed with their coils on.")] = False,
    new_session: Annotated[bool, typer.Option("--new-session", help="Begin anew instead of going on.")] = False,
    list_devices: Annotated[bool, typer.Option("--list-devices", help="List sound devices and stop.")] = False,
    unattended: Annotated[
        bool, typer.Option("--unattended", help="Take every advised answer by itself: for rehearsals.")
    ] = False,
) -> None:
    """Record at the bench: which cone next, weigh, seat, level, sweep, keep or repeat.

    Every take is on the disk before its verdict is shown, every decision in a journal: leave at any moment (or lose
    power) and `frusta record` goes on where it was. `--device virtual` rehearses on the built-in virtual rig.

    Single keys: Enter does what is advised, Esc silences everything at once, U takes the last decision back.
    """
    from dataclasses import replace

    from frusta.bench.opening import open_device
    from frusta.bench.rig_memory import recall, remember
    from frusta.bench.sitting import slow_sweep, sweep_rate_hz, the_rig, the_sweep
    from frusta.campaign.package import open_package
    from frusta.cli import record_sitting

    if list_devices:
        _say_devices()
        return
    record_sitting.refuse_unfit(campaign)
    package = open_package(campaign)
    row = the_rig(package, rig)
    memory = recall(row.rig).with_choices(
        output=device,
        input=input_ or device,
        microphone_channel=microphone,
        reference_channel=reference,
        current_channel=current,
        current_full_scale_a=current_full_scale,
        limit_dbfs=limit_dbfs,
        limit_w=limit_w,
        target_db=target,
    )
    virtual = (memory.output or "").partition(":")[0] == "virtual"
    channels = _channels(memory, virtual)
    key = the_sweep(package, sweep)
    if slow > 1.0:
        key = slow_sweep(package, key, slow)
        package = open_package(campaign)
    rate = sweep_rate_hz(package, key)
    opened = open_device(
        package, row, memory.output, memory.input, rate, max(channels.values()), memory.current_full_scale_a
    )
    remember(row.rig, replace(memory, output=None, input=None) if virtual else memory)
    say(CAUTION)
    say(record_sitting.what_plays(package, key, opened))
    choices = record_sitting.Choices(
        key, channels, tolerance, start_gain, equal_voltage, _levels(levels), seatings, seed, repeatability,
        temperature, humidity, with_coil, new_session, unattended, calibrator,
        added_mass,
    )  # fmt: skip
    try:
        if calibrate:
            record_sitting.calibrate_rig(package, row, opened, memory, choices)
        else:
            record_sitting.sit(package, row, opened, memory, choices)
    finally:
        opened.close()


def _channels(memory: RigMemory, virtual: bool) -> dict[str, int]:
    """Input channels by column; the virtual rig has microphone, loopback and current in this order."""
    microphone = memory.microphone_channel or 1
    reference = memory.reference_channel
    if reference is None and virtual:
        reference = 2
    found = {
        "microphone_channel": microphone,
        "reference_channel": reference or 0,
        "current_channel": memory.current_channel or 0,
    }
    return {name: channel for name, channel in found.items() if channel}


def _levels(text: str) -> tuple[float, ...]:
    from frusta.errors import ParameterError

    try:
        levels = tuple(float(word) for word in text.split(","))
    except ValueError:
        levels = ()
    if not levels or any(not -60.0 <= level <= 0.0 for level in levels) or len(set(levels)) < len(levels):
        raise ParameterError(f"--levels must be different levels from -60 to 0 dB (got {text!r}); such as 0,-6,-12")
    return levels


def _say_devices() -> None:
    from frusta.bench.sound_card import list_devices

    for found in list_devices():
        say(str(found))
