"""The typed rows of every table of a package: one schema for CSV, shelf and Python.

Units stand in the names. A column that frusta does not know is kept in ``model_extra`` as text.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Annotated, ClassVar, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

SLUG_PATTERN = r"^[a-z0-9][a-z0-9._-]{0,63}$"

Slug = Annotated[str, StringConstraints(pattern=SLUG_PATTERN)]
Words = Annotated[str, StringConstraints(min_length=1)]
Positive = Annotated[float, Field(gt=0)]
NonNegative = Annotated[float, Field(ge=0)]
Channel = Annotated[int, Field(ge=1)]
Frequency = Annotated[float, Field(gt=0)]
Percent = Annotated[float, Field(ge=0, le=100)]
Celsius = Annotated[float, Field(ge=-60, le=400)]


class Row(BaseModel):
    """A row of a table; empty optional cells are None, unknown columns stand in ``model_extra``."""

    model_config = ConfigDict(extra="allow", frozen=True, str_strip_whitespace=True, allow_inf_nan=False)
    TABLE: ClassVar[str]
    """Name of the table; its file is ``TABLE.csv``."""
    KEY: ClassVar[str | None] = None
    """The column that names a row and may not repeat; None where rows have no key."""
    LINKS: ClassVar[Mapping[str, str]] = MappingProxyType({})
    """Column to the table whose key it must name."""
    FILES: ClassVar[tuple[str, ...]] = ()
    """Columns that name a file of the package."""


class Campaign(Row):
    """The question a package answers; its table holds exactly one row."""

    TABLE = "campaign"
    KEY = "campaign"
    campaign: Slug
    title: Words
    question: str | None = None
    band_low_hz: Frequency | None = None
    band_high_hz: Frequency | None = None
    licence: str | None = None
    notes: str | None = None


class Material(Row):
    """A filament."""

    TABLE = "materials"
    KEY = "material"
    material: Slug
    name: Words
    polymer: str | None = None
    density_kg_m3: Positive | None = None
    poisson: Annotated[float, Field(gt=-1, lt=0.5)] | None = None
    heat_deflection_c: Celsius | None = None
    notes: str | None = None


class Recipe(Row):
    """How a filament is printed."""

    TABLE = "recipes"
    KEY = "recipe"
    recipe: Slug
    layer_mm: Positive | None = None
    line_width_mm: Positive | None = None
    lines: Positive | None = None
    nozzle_c: Celsius | None = None
    bed_c: Celsius | None = None
    speed_mm_s: Positive | None = None
    orientation: Literal["neck-down", "rim-down", "flat", "upright"] | None = None
    dried: str | None = None
    notes: str | None = None


class Profile(Row):
    """The geometry of a cone; ``wall_rule`` is normal and ``cap`` is none where left empty."""

    TABLE = "profiles"
    KEY = "profile"
    profile: Slug
    shape: Literal["straight", "concave", "convex"]
    neck_radius_mm: Positive
    rim_radius_mm: Positive
    depth_mm: NonNegative
    bow_mm: float
    wall_mm: Positive
    wall_rule: Literal["normal", "line"] | None = None
    cap: Literal["none", "flat"] | None = None
    notes: str | None = None


class Rig(Row):
    """Motor, suspension, microphone and interface with their constants."""

    TABLE = "rigs"
    KEY = "rig"
    FILES = ("microphone_calibration",)
    rig: Slug
    mounting: Literal["free", "baffle"]
    microphone_distance_mm: Positive
    microphone_calibration: str | None = None
    suspension_stiffness_n_mm: NonNegative | None = None
    suspension_resistance_ns_m: NonNegative | None = None
    force_factor_tm: Positive | None = None
    moving_mass_g: NonNegative | None = None
    neck_stiffness_n_um: Positive | None = None
    coil_mass_g: Positive | None = None
    coil_resistance_ohm: Positive | None = None
    coil_inductance_mh: NonNegative | None = None
    full_scale_pa: Positive | None = None
    drive_full_scale_v: Positive | None = None
    notes: str | None = None


class Session(Row):
    """One sitting at the rig; its full scales override the rig's."""

    TABLE = "sessions"
    KEY = "session"
    LINKS = MappingProxyType({"rig": "rigs"})
    session: Slug
    rig: Slug
    date: Words
    full_scale_pa: Positive | None = None
    drive_full_scale_v: Positive | None = None
    temperature_c: Annotated[float, Field(ge=-40, le=60)] | None = None
    humidity_pct: Percent | None = None
    notes: str | None = None


class SweepRow(Row):
    """What was played: a file (``signal``), or the numbers of a synchronised exponential sweep."""

    TABLE = "sweeps"
    KEY = "sweep"
    FILES = ("signal",)
    sweep: Slug
    signal: str | None = None
    start_hz: Frequency | None = None
    stop_hz: Frequency | None = None
    duration_s: Positive | None = None
    lead_in_s: NonNegative | None = None
    tail_s: NonNegative | None = None
    fade_in_s: NonNegative | None = None
    fade_out_s: NonNegative | None = None
    level_dbfs: Annotated[float, Field(le=0)] | None = None
    sample_rate_hz: Annotated[int, Field(ge=44100, le=192000)] | None = None


class Specimen(Row):
    """One printed cone, finished driver, check cone or tapped coupon."""

    TABLE = "specimens"
    KEY = "specimen"
    LINKS = MappingProxyType({"material": "materials", "recipe": "recipes", "profile": "profiles"})
    specimen: Slug
    kind: Literal["cone", "driver", "check", "coupon"]
    material: Slug | None = None
    recipe: Slug | None = None
    profile: Slug | None = None
    mass_g: Positive | None = None
    mass_with_coil_g: Positive | None = None
    mass_u_g: NonNegative | None = None
    coil_mass_g: Positive | None = None
    coil_resistance_ohm: Positive | None = None
    coil_inductance_mh: NonNegative | None = None
    wall_neck_mm: Positive | None = None
    wall_rim_mm: Positive | None = None
    rim_radius_mm: Positive | None = None
    printed_on: str | None = None
    batch: str | None = None
    notes: str | None = None


class Coupon(Row):
    """Size of a specimen that is a stick or a disc."""

    TABLE = "coupons"
    KEY = "specimen"
    LINKS = MappingProxyType({"specimen": "specimens"})
    specimen: Slug
    coupon: Literal["stick", "disc"]
    length_mm: Positive | None = None
    width_mm: Positive | None = None
    thickness_mm: Positive
    diameter_mm: Positive | None = None
    orientation: Literal["upright", "flat"]


class HistoryEvent(Row):
    """Something that happened to a specimen on a date."""

    TABLE = "history"
    LINKS = MappingProxyType({"specimen": "specimens"})
    specimen: Slug
    date: Words
    event: Words
    details: str | None = None


class Take(Row):
    """One recording; ``recording_is`` is sweep where left empty."""

    TABLE = "takes"
    KEY = "take"
    LINKS = MappingProxyType({"specimen": "specimens", "session": "sessions", "rig": "rigs", "sweep": "sweeps"})
    FILES = ("recording",)
    take: Slug
    specimen: Slug
    session: Slug | None = None
    rig: Slug | None = None
    sweep: Slug | None = None
    seating: Annotated[int, Field(ge=0)]
    recording: Words
    recording_is: Literal["sweep", "impulse", "tap"] | None = None
    microphone_channel: Channel | None = None
    reference_channel: Channel | None = None
    current_channel: Channel | None = None
    drive_gain_db: float | None = None
    rotation_deg: float | None = None
    taken_at: str | None = None
    notes: str | None = None


class Overhang(Row):
    """How steep a material prints cleanly."""

    TABLE = "overhangs"
    LINKS = MappingProxyType({"material": "materials", "recipe": "recipes"})
    material: Slug
    recipe: Slug | None = None
    coupon: str | None = None
    clean_to_deg: Annotated[float, Field(ge=0, le=90)] | None = None
    failed_at_deg: Annotated[float, Field(ge=0, le=90)] | None = None
    failed_height_mm: NonNegative | None = None
    notes: str | None = None


TABLES: Mapping[str, type[Row]] = MappingProxyType(
    {
        row.TABLE: row
        for row in (
            Campaign,
            Material,
            Recipe,
            Profile,
            Rig,
            Session,
            SweepRow,
            Specimen,
            Coupon,
            HistoryEvent,
            Take,
            Overhang,
        )
    }
)
"""Every table by name, in the order in which a package is read and written."""
