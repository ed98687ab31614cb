"""From a word to an open device: the virtual rig, or a sound card chosen by name, number or memory."""

from __future__ import annotations

from frusta.bench.device import Device, DeviceError
from frusta.bench.rehearsal import VirtualDevice, parse_rehearsal, rehearsal_rig
from frusta.bench.sound_card import SoundCard, choose_device, list_devices
from frusta.campaign.package import Package
from frusta.campaign.rows import Rig

VIRTUAL = "virtual"


def open_device(
    package: Package,
    rig: Rig,
    output: str | None,
    input_: str | None,
    sample_rate_hz: int,
    channels: int,
    current_full_scale_a: float | None = None,
) -> Device:
    """Return an open device.

    Parameters
    ----------
    package : Package
        Its cones stand beside a virtual rig.
    rig : Rig
    output, input_ : str or None
        ``virtual`` (see `frusta.bench.rehearsal`), or name, number or part of the name of a device; the input is
        the same device where None.
    sample_rate_hz : int
        Of the sweep.
    channels : int
        Input channels.
    current_full_scale_a : float, optional
        Of the virtual rig's current channel.

    Raises
    ------
    DeviceError
        If no device was chosen, none or several fit (they are listed), or it offers not what is asked.
    """
    if output is not None and output.partition(":")[0] == VIRTUAL:
        how = parse_rehearsal(output)
        return VirtualDevice(rehearsal_rig(package, rig), sample_rate_hz, channels, how, current_full_scale_a or 1.0)
    devices = list_devices()
    if output is None:
        listed = "; ".join(str(d) for d in devices) or "none at all: plug one in"
        raise DeviceError(
            f"a sound device must be chosen once for rig {rig.rig} (none is remembered); name one with --device, or "
            f"--device virtual to rehearse. There are: {listed}"
        )
    out = choose_device(devices, output, "output")
    return SoundCard(out, choose_device(devices, input_ or output, "input"), sample_rate_hz, channels)
