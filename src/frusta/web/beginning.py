"""How a sitting is to begin, as the page's forms tell it: everything may be left out, empty means none."""

from __future__ import annotations

import math
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, Field

from frusta.errors import ParameterError
from frusta.web.sitting import Beginning


def number_of(value: Any) -> Any:
    """Return a number that may be written with a decimal comma or a minus sign; None where nothing is written."""
    if isinstance(value, str):
        text = value.strip().replace(",", ".").replace("\u2212", "-")
        return text or None
    return value


READ = BeforeValidator(number_of)
"""Stands after the bounds of what may be left empty: bounds that come later are tried on None, too."""
Number = Annotated[float | None, Field(allow_inf_nan=False), READ]
Channel = Annotated[int | None, Field(ge=0, le=64), READ]
Key = Annotated[str, Field(max_length=64)]
REMEMBERED = (
    "microphone_channel",
    "reference_channel",
    "current_channel",
    "current_full_scale_a",
    "limit_dbfs",
    "limit_w",
    "target_db",
)


class RigTold(BaseModel):
    """What was told of rig and device; what is left out stays as remembered, what is empty is none."""

    device: Annotated[str, Field(max_length=200)] = ""
    input: Annotated[str, Field(max_length=200)] = ""
    rig: Key = ""
    sweep: Key = ""
    microphone_channel: Channel = None
    reference_channel: Channel = None
    current_channel: Channel = None
    current_full_scale_a: Annotated[float | None, Field(gt=0), READ] = None
    limit_dbfs: Annotated[float | None, Field(le=0), READ] = None
    limit_w: Annotated[float | None, Field(gt=0), READ] = None
    target_db: Number = None

    def remembered(self) -> dict[str, Any]:
        """Return the fields that a rig remembers, as far as they were told."""
        told = {name: getattr(self, name) for name in REMEMBERED if name in self.model_fields_set}
        if "input" in self.model_fields_set:
            told["input"] = self.input or None
        return told


class SittingTold(RigTold):
    """What was told of a sitting."""

    seatings: Annotated[int, BeforeValidator(lambda v: number_of(v) or 2), Field(ge=1, le=100)] = 2
    repeatability: Key = ""
    levels: Annotated[str, Field(max_length=80)] = "0"
    slow: Annotated[float, BeforeValidator(lambda v: number_of(v) or 1.0), Field(ge=1.0, le=20.0)] = 1.0
    equal_voltage: bool = False
    tolerance_db: Annotated[float, BeforeValidator(lambda v: number_of(v) or 0.5), Field(ge=0.1, le=6.0)] = 0.5
    temperature_c: Annotated[float | None, Field(gt=-40, lt=80), READ] = None
    humidity_pct: Annotated[float | None, Field(ge=0, le=100), READ] = None
    with_coil: bool = False

    def beginning(self) -> Beginning:
        """Return it as the bench takes it.

        Raises
        ------
        ParameterError
            If the levels are none.
        """
        return Beginning(
            self.device, self.rig, self.sweep, self.remembered(), self.seatings, self.repeatability,
            levels_of(self.levels), self.slow, self.equal_voltage, self.tolerance_db, self.temperature_c,
            self.humidity_pct, self.with_coil,
        )  # fmt: skip


class CalibratorTold(RigTold):
    """What was told of a calibrator over the microphone."""

    level_db: Annotated[float, BeforeValidator(lambda v: number_of(v) or 94.0), Field(ge=40.0, le=140.0)] = 94.0


class ConstantsTold(RigTold):
    """What was told of a measuring of the rig's constants."""

    specimen: Key
    added_mass_g: Annotated[float, BeforeValidator(number_of), Field(gt=0, le=1000)]
    gain_db: Annotated[float | None, Field(ge=-80.0, le=0.0), READ] = None


def levels_of(text: str) -> tuple[float, ...]:
    """Return a series of levels, dB.

    Raises
    ------
    ParameterError
        If they are not different numbers from -60 to 0.

    Examples
    --------
    >>> levels_of("0, \u22126 -12")
    (0.0, -6.0, -12.0)
    """
    words = text.replace("\u2212", "-").replace(";", " ").replace(", ", " ").replace(",", " ").split() or ["0"]
    try:
        levels = tuple(float(word) for word in words)
    except ValueError:
        levels = ()
    good = levels and all(math.isfinite(v) and -60.0 <= v <= 0.0 for v in levels) and len(set(levels)) == len(levels)
    if not good:
        raise ParameterError(
            f"a series must be different levels from -60 to 0 dB (got {text[:60]!r}); write for instance 0, -6, -12"
        )
    return levels
