"""What ``findings.json`` holds: typed rows of every list, and the whole.

A null is always explained: `reasons` of the row says why, key by key. Standard uncertainties end in ``_u``;
those of a reading are left out of the JSON where none can be given. Numbers are finite or null.
"""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, SerializerFunctionWrapHandler, model_serializer

from frusta.campaign.figures import READING_KEYS

Quality = Literal["ok", "look", "repeat"]
ScatterFrom = Literal["these prints", "this shelf", "none"]


class Row(BaseModel):
    """One row of a list: unknown names are refused, and so are numbers that are not finite."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True)

    reasons: dict[str, str] = Field(default_factory=dict)

    @model_serializer(mode="wrap")
    def _as_written(self, handler: SerializerFunctionWrapHandler) -> dict[str, Any]:
        row: dict[str, Any] = handler(self)
        for key in self.left_out_when_null():
            if row.get(key) is None:
                row.pop(key, None)
        row["reasons"] = row.pop("reasons")
        return row

    @staticmethod
    def left_out_when_null() -> tuple[str, ...]:
        """Keys that are absent from the JSON instead of null."""
        return ()


class TakeFault(BaseModel):
    """A fault of one take: its word, where in the take, and what to do."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    fault: str
    where: str
    what_to_do: str


class Reading(Row):
    """The figures drawn from one take; definitions stand in the documentation under the same keys."""

    take: str
    specimen: str
    kind: str
    material: str | None
    recipe: str | None
    profile: str | None
    session: str | None
    seating: int
    level_db: float | None = None
    level_db_u: float | None = None
    lower_limit_hz: float | None = None
    lower_limit_hz_u: float | None = None
    upper_limit_hz: float | None = None
    upper_limit_hz_u: float | None = None
    unevenness_db: float | None = None
    unevenness_db_u: float | None = None
    unevenness_common_db: float | None = None
    unevenness_common_db_u: float | None = None
    breakup_hz: float | None = None
    breakup_hz_u: float | None = None
    breakup_loss_factor: float | None = None
    breakup_loss_factor_u: float | None = None
    breakup_prominence_db: float | None = None
    breakup_prominence_db_u: float | None = None
    tallest_peak_hz: float | None = None
    tallest_peak_hz_u: float | None = None
    tallest_peak_db: float | None = None
    tallest_peak_db_u: float | None = None
    piston_limit_hz: float | None = None
    piston_limit_hz_u: float | None = None
    thd_peak_percent: float | None = None
    thd_peak_percent_u: float | None = None
    thd_peak_hz: float | None = None
    thd_peak_hz_u: float | None = None
    piston_thd_peak_percent: float | None = None
    piston_thd_peak_percent_u: float | None = None
    piston_thd_peak_hz: float | None = None
    piston_thd_peak_hz_u: float | None = None
    input_thd_peak_percent: float | None = None
    input_thd_peak_percent_u: float | None = None
    input_thd_peak_hz: float | None = None
    input_thd_peak_hz_u: float | None = None
    buzz_peak_percent: float | None = None
    buzz_peak_percent_u: float | None = None
    buzz_peak_hz: float | None = None
    buzz_peak_hz_u: float | None = None
    decay_5_percent_ms: float | None = None
    decay_5_percent_ms_u: float | None = None
    decay_2_percent_ms: float | None = None
    decay_2_percent_ms_u: float | None = None
    decay_bandlimit_ms: float | None = None
    decay_bandlimit_ms_u: float | None = None
    delay_ms: float | None = None
    delay_ms_u: float | None = None
    snr_db: float | None = None
    snr_db_u: float | None = None
    clock_ppm: float | None = None
    clock_ppm_u: float | None = None
    quality: Quality
    faults: tuple[TakeFault, ...] = ()

    @staticmethod
    def left_out_when_null() -> tuple[str, ...]:
        """Uncertainties that cannot be given."""
        return tuple(f"{key}_u" for key in READING_KEYS)


class ModeRow(Row):
    """One resonance of one take: as recorded, and as the bare cone would have it."""

    take: str
    mode_number: int
    circumferential_order: int
    frequency_hz: float
    frequency_hz_u: float
    loss_factor: float
    loss_factor_u: float
    prominence_db: float
    free_frequency_hz: float | None = None
    free_frequency_hz_u: float | None = None
    free_loss_factor: float | None = None
    free_loss_factor_u: float | None = None


class BlipRow(Row):
    """One narrow feature below break-up, what may cause it, and the one test that separates the causes.

    `harmonic` is absent for a feature of the response; for narrow distortion it is the strongest order, `frequency_hz`
    the drive frequency and `height_db` the prominence of the total of orders 2 to 5; it then has no uncertainty and
    no loss factor.
    """

    take: str
    frequency_hz: float
    frequency_hz_u: float | None = None
    height_db: float
    harmonic: int | None = None
    loss_factor: float | None = None
    loss_factor_u: float | None = None
    candidates: tuple[str, ...] = ()
    test: str | None = None

    @staticmethod
    def left_out_when_null() -> tuple[str, ...]:
        """The order of distortion, which a feature of the response has not, and what distortion has not."""
        return ("harmonic", "frequency_hz_u", "loss_factor", "loss_factor_u")


class Difference(Row):
    """One comparison of two groups in one profile by one figure.

    `ratio` is a over b; for figures in dB it is the ratio of pressures, 10^(difference/20). `sd_print` and
    `sd_seating` are standard deviations of the natural logarithm of the ratio (0.01 is 1 %), print to print
    and seating to seating. The intervals of one figure and profile hold together at 95 %.
    """

    figure: str
    profile: str
    a: str
    b: str
    ratio: float | None
    low_95: float | None
    high_95: float | None
    probability_a_higher: float | None
    prints_a: int
    prints_b: int
    seatings: int
    sd_print: float | None
    sd_seating: float | None
    scatter_from: ScatterFrom
    verdict: str


class Estimate(Row):
    """What is known of a material: each modulus, loss factor and density with its uncertainty."""

    material: str
    recipe: str | None
    hoop_modulus_gpa: float | None = None
    hoop_modulus_gpa_u: float | None = None
    layer_shear_modulus_gpa: float | None = None
    layer_shear_modulus_gpa_u: float | None = None
    axial_modulus_gpa: float | None = None
    axial_modulus_gpa_u: float | None = None
    loss_factor: float | None = None
    loss_factor_u: float | None = None
    density_kg_m3: float | None = None
    density_kg_m3_u: float | None = None
    identified: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
    correlation: dict[str, dict[str, float]] | None = None
    chi_square: float | None = None
    print_scatter_percent: float | None = None


class RankingPart(BaseModel):
    """One part of a score: its weight, the figure's mean over the prints, and the points it earns (0 to 100)."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True)

    part: str
    figure: str
    weight: float
    value: float | None
    points: float | None


class RankingRow(Row):
    """The standing of one group in the campaign's band."""

    material: str
    recipe: str | None
    score: float | None
    score_low: float | None
    score_high: float | None
    rank_low: int | None
    rank_high: int | None
    probability_best: float | None
    parts: tuple[RankingPart, ...]
    verdict: str


class FaultRow(Row):
    """A fault of a table or a take: where, and what to do."""

    table: str | None = None
    take: str | None = None
    row: int | None = None
    column: str | None = None
    fault: str
    where: str
    what_to_do: str


class Findings(BaseModel):
    """The whole of ``findings.json``."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True)

    format: Literal[1] = 1
    campaign: str
    made_by: str
    readings: tuple[Reading, ...] = ()
    modes: tuple[ModeRow, ...] = ()
    blips: tuple[BlipRow, ...] = ()
    differences: tuple[Difference, ...] = ()
    estimates: tuple[Estimate, ...] = ()
    ranking: tuple[RankingRow, ...] = ()
    faults: tuple[FaultRow, ...] = ()


LISTS = ("readings", "modes", "blips", "differences", "estimates", "ranking", "faults")
"""Names of the lists of `Findings`, in the order of the file."""


def group_key(material: str, recipe: str | None) -> str:
    """Name of a group: ``material``, or ``material/recipe`` where the recipe must be told."""
    return material if recipe is None else f"{material}/{recipe}"
