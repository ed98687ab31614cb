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
    campaign: Slug = Field(description="Key of the campaign.")
    title: Words = Field(description="What it is called.")
    question: str | None = Field(default=None, description="What it is to decide.")
    band_low_hz: Frequency | None = Field(
        default=None, description="Lower end of the band where the next driver will be used; ranked over it."
    )
    band_high_hz: Frequency | None = Field(default=None, description="Upper end of that band.")
    licence: str | None = Field(default=None, description="What others may do with the package.")
    notes: str | None = Field(default=None, description="Anything else.")


class Material(Row):
    """A filament."""

    TABLE = "materials"
    KEY = "material"
    material: Slug = Field(description="Key of the filament.")
    name: Words = Field(description="What it is called.")
    polymer: str | None = Field(default=None, description="Its base, such as PLA or PETG.")
    density_kg_m3: Positive | None = Field(default=None, description="Density as the maker states or as weighed.")
    poisson: Annotated[float, Field(gt=-1, lt=0.5)] | None = Field(
        default=None, description="Poisson's ratio in the plane of the layers, if known."
    )
    heat_deflection_c: Celsius | None = Field(default=None, description="Heat deflection temperature.")
    notes: str | None = Field(default=None, description="Anything else.")


class Recipe(Row):
    """How a filament is printed."""

    TABLE = "recipes"
    KEY = "recipe"
    recipe: Slug = Field(description="Key of the recipe.")
    layer_mm: Positive | None = Field(default=None, description="Height of a layer.")
    line_width_mm: Positive | None = Field(default=None, description="Width of a printed line.")
    lines: Positive | None = Field(default=None, description="How many lines make the wall.")
    nozzle_c: Celsius | None = Field(default=None, description="Temperature of the nozzle.")
    bed_c: Celsius | None = Field(default=None, description="Temperature of the bed.")
    speed_mm_s: Positive | None = Field(default=None, description="Speed of the wall's lines.")
    orientation: Literal["neck-down", "rim-down", "flat", "upright"] | None = Field(
        default=None, description="How it lay on the bed."
    )
    dried: str | None = Field(default=None, description="How the filament was dried.")
    notes: str | None = Field(default=None, description="Anything else.")


class Profile(Row):
    """The geometry of a cone; ``wall_rule`` is normal and ``cap`` is none where left empty."""

    TABLE = "profiles"
    KEY = "profile"
    profile: Slug = Field(description="Key of the cone profile.")
    shape: Literal["straight", "concave", "convex"] = Field(description="Its meridian.")
    neck_radius_mm: Positive = Field(description="Radius of the mid-surface at the neck.")
    rim_radius_mm: Positive = Field(description="Radius of the mid-surface at the rim.")
    depth_mm: NonNegative = Field(description="From neck to rim along the axis.")
    bow_mm: float = Field(description="Bow of the meridian half way out: above 0 convex, below 0 concave.")
    wall_mm: Positive = Field(description="Thickness of the wall: along the normal, or of its lines (see wall_rule).")
    wall_rule: Literal["normal", "line"] | None = Field(
        default=None,
        description="normal: wall_mm is along the normal; line: whole lines of that horizontal width. Empty: normal.",
    )
    cap: Literal["none", "flat"] | None = Field(default=None, description="What closes the neck. Empty is none.")
    notes: str | None = Field(default=None, description="Anything else.")


class Rig(Row):
    """Motor, suspension, microphone and interface with their constants."""

    TABLE = "rigs"
    KEY = "rig"
    FILES = ("microphone_calibration",)
    rig: Slug = Field(description="Key of the rig.")
    mounting: Literal["free", "baffle"] = Field(description="Cone in free air, or its rim in a large baffle.")
    microphone_distance_mm: Positive = Field(description="From the plane of the rim to the microphone, on the axis.")
    microphone_calibration: str | None = Field(
        default=None, description="File with two or three columns: Hz, dB that the microphone reads too high, degrees."
    )
    suspension_stiffness_n_mm: NonNegative | None = Field(
        default=None, description="Stiffness of what centres the coil."
    )
    suspension_resistance_ns_m: NonNegative | None = Field(
        default=None, description="Mechanical resistance of the suspension."
    )
    force_factor_tm: Positive | None = Field(default=None, description="Force factor Bl.")
    moving_mass_g: NonNegative | None = Field(default=None, description="What moves besides cone and coil.")
    neck_stiffness_n_um: Positive | None = Field(
        default=None, description="Axial stiffness of the joint between coil and neck; empty where unknown."
    )
    coil_mass_g: Positive | None = Field(default=None, description="Mass of a coil, where every coil is alike.")
    coil_resistance_ohm: Positive | None = Field(
        default=None, description="Resistance of a coil, where every coil is alike."
    )
    coil_inductance_mh: NonNegative | None = Field(
        default=None, description="Inductance of a coil, where every coil is alike."
    )
    full_scale_pa: Positive | None = Field(
        default=None, description="Peak sound pressure at digital full scale; without it levels are relative."
    )
    drive_full_scale_v: Positive | None = Field(
        default=None, description="Peak voltage at the coil at digital full scale and drive_gain_db = 0."
    )
    notes: str | None = Field(default=None, description="Anything else.")


class Session(Row):
    """One sitting at the rig; its full scales override the rig's."""

    TABLE = "sessions"
    KEY = "session"
    LINKS = MappingProxyType({"rig": "rigs"})
    session: Slug = Field(description="Key of the sitting.")
    rig: Slug = Field(description="The rig.")
    date: Words = Field(description="Its day, as YYYY-MM-DD.")
    full_scale_pa: Positive | None = Field(default=None, description="As in rigs; overrides it.")
    drive_full_scale_v: Positive | None = Field(default=None, description="As in rigs; overrides it.")
    temperature_c: Annotated[float, Field(ge=-40, le=60)] | None = Field(
        default=None, description="Temperature of the air."
    )
    humidity_pct: Percent | None = Field(default=None, description="Relative humidity.")
    notes: str | None = Field(default=None, description="Anything else.")


class SweepRow(Row):
    """What was played: a file (``signal``), or the numbers of a synchronised exponential sweep."""

    TABLE = "sweeps"
    KEY = "sweep"
    FILES = ("signal",)
    sweep: Slug = Field(description="Key of the sweep.")
    signal: str | None = Field(
        default=None, description="WAV or FLAC of what was played; where it is given, it is divided out."
    )
    start_hz: Frequency | None = Field(default=None, description="Frequency where it starts.")
    stop_hz: Frequency | None = Field(default=None, description="Frequency where it stops.")
    duration_s: Positive | None = Field(
        default=None, description="Duration asked for; the synchronised sweep rounds it."
    )
    lead_in_s: NonNegative | None = Field(default=None, description="Silence before it.")
    tail_s: NonNegative | None = Field(default=None, description="Silence after it.")
    fade_in_s: NonNegative | None = Field(default=None, description="Raised-cosine fade at its start.")
    fade_out_s: NonNegative | None = Field(default=None, description="Raised-cosine fade at its end.")
    level_dbfs: Annotated[float, Field(le=0)] | None = Field(
        default=None, description="Its level; 0 is a peak of digital full scale."
    )
    sample_rate_hz: Annotated[int, Field(ge=44100, le=192000)] | None = Field(
        default=None, description="Its sample rate, which is that of the recordings."
    )


class Specimen(Row):
    """One printed cone, finished driver, check cone or tapped coupon."""

    TABLE = "specimens"
    KEY = "specimen"
    LINKS = MappingProxyType({"material": "materials", "recipe": "recipes", "profile": "profiles"})
    specimen: Slug = Field(description="Key of the specimen: the mark on the cone.")
    kind: Literal["cone", "driver", "check", "coupon"] = Field(
        description="What it is; check is the cone measured first and last in every session."
    )
    material: Slug | None = Field(default=None, description="Its filament.")
    recipe: Slug | None = Field(default=None, description="How it was printed.")
    profile: Slug | None = Field(default=None, description="Its drawing.")
    mass_g: Positive | None = Field(default=None, description="Its mass without its coil.")
    mass_with_coil_g: Positive | None = Field(
        default=None, description="Its mass as weighed with the coil on; give either or both."
    )
    mass_u_g: NonNegative | None = Field(default=None, description="Standard uncertainty of the mass.")
    coil_mass_g: Positive | None = Field(default=None, description="Mass of its coil.")
    coil_resistance_ohm: Positive | None = Field(default=None, description="Resistance of its coil.")
    coil_inductance_mh: NonNegative | None = Field(default=None, description="Inductance of its coil.")
    wall_neck_mm: Positive | None = Field(default=None, description="Wall at the neck by callipers, along the normal.")
    wall_rim_mm: Positive | None = Field(default=None, description="Wall at the rim by callipers, along the normal.")
    rim_radius_mm: Positive | None = Field(default=None, description="Radius of a finished driver's cone.")
    printed_on: str | None = Field(default=None, description="Day of printing, as YYYY-MM-DD.")
    batch: str | None = Field(default=None, description="Spool or batch of the filament.")
    notes: str | None = Field(default=None, description="Anything else.")


class Coupon(Row):
    """Size of a specimen that is a stick or a disc."""

    TABLE = "coupons"
    KEY = "specimen"
    LINKS = MappingProxyType({"specimen": "specimens"})
    specimen: Slug = Field(description="The specimen that is a stick or a disc.")
    coupon: Literal["stick", "disc"] = Field(description="Which of the two.")
    length_mm: Positive | None = Field(default=None, description="Length of a stick.")
    width_mm: Positive | None = Field(default=None, description="Width of a stick.")
    thickness_mm: Positive = Field(description="Thickness.")
    diameter_mm: Positive | None = Field(default=None, description="Diameter of a disc.")
    orientation: Literal["upright", "flat"] = Field(
        description="How it lay on the bed: upright, layers run across it; flat, along it."
    )


class HistoryEvent(Row):
    """Something that happened to a specimen on a date."""

    TABLE = "history"
    LINKS = MappingProxyType({"specimen": "specimens"})
    specimen: Slug = Field(description="The specimen.")
    date: Words = Field(description="The day, as YYYY-MM-DD.")
    event: Words = Field(description="What happened: printed, annealed, coated, played, dropped, stored.")
    details: str | None = Field(default=None, description="How, how long, with what.")


class Take(Row):
    """One recording; ``recording_is`` is sweep where left empty."""

    TABLE = "takes"
    KEY = "take"
    LINKS = MappingProxyType({"specimen": "specimens", "session": "sessions", "rig": "rigs", "sweep": "sweeps"})
    FILES = ("recording",)
    take: Slug = Field(description="Key of the recording.")
    specimen: Slug = Field(description="What was heard.")
    session: Slug | None = Field(default=None, description="The sitting, which names the rig.")
    rig: Slug | None = Field(default=None, description="The rig, where there is no session.")
    sweep: Slug | None = Field(default=None, description="What was played.")
    seating: Annotated[int, Field(ge=0)] = Field(
        description="Which pushing-on of this specimen; takes without pulling it off share their number."
    )
    recording: Words = Field(description="WAV or FLAC of the package.")
    recording_is: Literal["sweep", "impulse", "tap"] | None = Field(
        default=None, description="A recorded sweep, an impulse response, or a tap on rim or coupon. Empty is sweep."
    )
    microphone_channel: Channel | None = Field(
        default=None,
        description="Channel of the microphone, counted from 1. Empty is the first that is neither of the others.",
    )
    reference_channel: Channel | None = Field(
        default=None, description="Channel with a loopback of what was played, if any."
    )
    current_channel: Channel | None = Field(default=None, description="Channel with the coil's current, if any.")
    drive_gain_db: float | None = Field(default=None, description="Gain against the session's reference. Empty is 0.")
    rotation_deg: float | None = Field(default=None, description="How far the cone was turned on its seat.")
    taken_at: str | None = Field(default=None, description="When, as YYYY-MM-DDThh:mm:ss.")
    notes: str | None = Field(default=None, description="Anything else.")


class Overhang(Row):
    """How steep a material prints cleanly."""

    TABLE = "overhangs"
    LINKS = MappingProxyType({"material": "materials", "recipe": "recipes"})
    material: Slug = Field(description="The filament.")
    recipe: Slug | None = Field(default=None, description="How it was printed.")
    coupon: str | None = Field(default=None, description="Which coupon.")
    clean_to_deg: Annotated[float, Field(ge=0, le=90)] | None = Field(
        default=None, description="Steepest lean from the upright that came out clean."
    )
    failed_at_deg: Annotated[float, Field(ge=0, le=90)] | None = Field(
        default=None, description="Lean from the upright that failed."
    )
    failed_height_mm: NonNegative | None = Field(default=None, description="Height of the coupon where it failed.")
    notes: str | None = Field(default=None, description="Anything else.")


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
