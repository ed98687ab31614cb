"""What the bench remembers of a rig on this machine: its device, channels and limits; nothing of it travels."""

from __future__ import annotations

import json
import os
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path

from frusta.campaign.atomic import write_atomically
from frusta.errors import OutputError

FOLDER_VARIABLE = "FRUSTA_CONFIG"


@dataclass(frozen=True)
class RigMemory:
    """Choices for one rig; None is what was never chosen.

    Parameters
    ----------
    output, input : str or None
        Names of the devices.
    microphone_channel, reference_channel, current_channel : int or None
    limit_dbfs : float or None
        Loudest that the output may become, dB re digital full scale.
    limit_w : float or None
        Most power that the coil may take over a sweep.
    target_db : float or None
    current_full_scale_a : float or None
        Peak coil current at digital full scale of the current channel.
    """

    output: str | None = None
    input: str | None = None
    microphone_channel: int | None = None
    reference_channel: int | None = None
    current_channel: int | None = None
    limit_dbfs: float | None = None
    limit_w: float | None = None
    target_db: float | None = None
    current_full_scale_a: float | None = None

    def with_choices(self, **choices: object) -> RigMemory:
        """Return the same with what was chosen now; None leaves what was."""
        return replace(self, **{k: v for k, v in choices.items() if v is not None})  # type: ignore[arg-type]


def remember(rig: str, memory: RigMemory) -> None:
    """Write down the choices for a rig; a folder that cannot be written is no reason to stop."""
    known = _read()
    known[rig] = {k: v for k, v in asdict(memory).items() if v is not None}
    try:
        write_atomically(_path(), (json.dumps(known, indent=2, sort_keys=True) + "\n").encode())
    except OutputError:
        return


def recall(rig: str) -> RigMemory:
    """Return the choices made for a rig before; none where there are none or they cannot be read."""
    names = {f.name for f in fields(RigMemory)}
    found = _read().get(rig)
    if not isinstance(found, dict):
        return RigMemory()
    return RigMemory().with_choices(**{k: v for k, v in found.items() if k in names})


def _path() -> Path:
    own = os.environ.get(FOLDER_VARIABLE)
    if own:
        return Path(own) / "rigs.json"
    import platformdirs

    return Path(platformdirs.user_config_dir("frusta", appauthor=False)) / "rigs.json"


def _read() -> dict[str, dict[str, object]]:
    try:
        found = json.loads(_path().read_text("utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}
