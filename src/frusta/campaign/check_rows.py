"""Check what single columns cannot say: bands, dates, geometry, masses, coupons, calibration and sweep files."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from datetime import date, datetime

from frusta.campaign.drawing import cone_of
from frusta.campaign.file_fault import fault_of_file
from frusta.campaign.package import Package
from frusta.campaign.recordings import fault_of_samples, sounding_s
from frusta.campaign.resolve import calibration_of, law_of
from frusta.campaign.rows import Rig
from frusta.campaign.table_fault import TableFault
from frusta.errors import PackageError, ParameterError
from frusta.signal.sweep import Sweep

_DATES = {
    "sessions": ("date",),
    "history": ("date",),
    "specimens": ("printed_on",),
    "takes": ("taken_at",),
}


def faults_of_rows(package: Package) -> Iterator[TableFault]:
    """Yield what is wrong with rows although each of their cells is of its kind.

    Parameters
    ----------
    package : Package
        An opened package.
    """
    yield from _faults_of_campaign(package)
    yield from _faults_of_dates(package)
    yield from _faults_of_profiles(package)
    yield from _faults_of_specimens(package)
    yield from _faults_of_coupons(package)
    yield from _faults_of_rigs(package)
    yield from _faults_of_sweeps(package)


def _faults_of_campaign(package: Package) -> Iterator[TableFault]:
    low, high = package.campaign.band_low_hz, package.campaign.band_high_hz
    number = next(iter(package.row_numbers["campaign"]), None)
    if low is not None and high is not None and low >= high:
        yield TableFault(
            "campaign",
            number,
            "band_high_hz",
            "out of range",
            f"must be above band_low_hz, {low:g} (got {high:g})",
            "correct one of them",
        )


def _faults_of_dates(package: Package) -> Iterator[TableFault]:
    """Dates are written year first, so that no two countries read them differently."""
    for table, columns in _DATES.items():
        for row, number in zip(package.rows(table), package.row_numbers[table], strict=True):
            for column in columns:
                text = getattr(row, column)
                if text is not None and not is_date(text):
                    yield TableFault(
                        table,
                        number,
                        column,
                        "not a date",
                        f"must be a date, year-month-day (got {text!r})",
                        "write it like 2026-11-25, with a time where known like 2026-11-25T14:30:00",
                    )


def is_date(text: str) -> bool:
    """Whether a text is a date of ISO 8601, perhaps with a time, or only its year and month.

    Examples
    --------
    >>> is_date("2026-11-25"), is_date("2026-11-25T14:30:00Z"), is_date("2026-11"), is_date("25.11.2026")
    (True, True, True, False)
    """
    if re.fullmatch(r"\d{4}-\d{2}", text):
        text += "-01"
    try:
        date.fromisoformat(text) if len(text) <= 10 else datetime.fromisoformat(text)
    except ValueError:
        return False
    return True


def _faults_of_profiles(package: Package) -> Iterator[TableFault]:
    """Geometry that cannot exist, and words that contradict the bow."""
    for profile in package.profiles.values():
        number = package.row_number("profiles", profile.profile)
        sign = {"straight": 0, "convex": 1, "concave": -1}[profile.shape]
        if math.copysign(1, profile.bow_mm) * (profile.bow_mm != 0) != sign:
            want = {0: "0", 1: "above 0", -1: "below 0"}[sign]
            yield TableFault(
                "profiles",
                number,
                "bow_mm",
                "contradiction",
                f"must be {want} for a {profile.shape} cone (got {profile.bow_mm:g})",
                "correct the bow or the shape",
            )
        try:
            cone_of(profile)
        except ParameterError as error:
            what, _, remedy = str(error).partition("; ")
            yield TableFault(
                "profiles", number, None, "impossible geometry", what, remedy or "measure the cone and correct the row"
            )


def _faults_of_specimens(package: Package) -> Iterator[TableFault]:
    """A mass with the coil that leaves nothing for the cone; two masses that contradict each other."""
    for specimen in package.specimens.values():
        number = package.row_number("specimens", specimen.specimen)
        coils = (
            {specimen.coil_mass_g}
            if specimen.coil_mass_g
            else {r.coil_mass_g for r in _rigs_of(package, specimen.specimen)}
        )
        coil_g = coils.pop() if len(coils) == 1 else None
        whole_g, bare_g = specimen.mass_with_coil_g, specimen.mass_g
        if whole_g is not None and whole_g <= max(coil_g or 0.0, bare_g or 0.0):
            yield TableFault(
                "specimens",
                number,
                "mass_with_coil_g",
                "contradiction",
                f"must be above the mass of its parts, {max(coil_g or 0.0, bare_g or 0.0):g} g (got {whole_g:g})",
                "weigh again: cone and coil together",
            )
        if specimen.kind in ("cone", "check") and specimen.wall_neck_mm and specimen.profile in package.profiles:
            neck_mm = package.profiles[specimen.profile].neck_radius_mm
            if specimen.wall_neck_mm >= neck_mm:
                yield TableFault(
                    "specimens",
                    number,
                    "wall_neck_mm",
                    "out of range",
                    f"must be below the neck's radius, {neck_mm:g} (got {specimen.wall_neck_mm:g})",
                    "mind the unit in the column's name",
                )


def _rigs_of(package: Package, specimen: str) -> list[Rig]:
    found: dict[str, Rig] = {}
    for take in package.takes.values():
        if take.specimen == specimen:
            session = package.sessions.get(take.session or "")
            rig = package.rigs.get(session.rig if session else take.rig or "")
            if rig is not None:
                found[rig.rig] = rig
    return list(found.values())


def _faults_of_coupons(package: Package) -> Iterator[TableFault]:
    """What a stick and a disc need; a coupon's row is of a specimen that is one."""
    for coupon in package.coupons.values():
        number = package.row_number("coupons", coupon.specimen)
        for column in ("length_mm", "width_mm") if coupon.coupon == "stick" else ("diameter_mm",):
            if getattr(coupon, column) is None:
                yield TableFault(
                    "coupons",
                    number,
                    column,
                    "empty cell",
                    f"must be filled for a {coupon.coupon} (the cell is empty)",
                    "measure and fill it",
                )
        specimen = package.specimens.get(coupon.specimen)
        if specimen is not None and specimen.kind != "coupon":
            yield TableFault(
                "coupons",
                number,
                "specimen",
                "contradiction",
                f"must be of kind coupon in specimens.csv (got {specimen.kind})",
                "correct the kind or remove the row",
            )


def _faults_of_rigs(package: Package) -> Iterator[TableFault]:
    for rig in package.rigs.values():
        try:
            calibration_of(package, rig)
        except PackageError as error:
            yield fault_of_file(error, "rigs", package.row_number("rigs", rig.rig), "microphone_calibration", None)


def _faults_of_sweeps(package: Package) -> Iterator[TableFault]:
    """A sweep's file that cannot be used, or is not what its row says; numbers that make no sweep."""
    for row in package.sweeps.values():
        number = package.row_number("sweeps", row.sweep)
        if row.signal is None:
            rate_hz = row.sample_rate_hz or Sweep.sample_rate_hz
            start_hz, stop_hz = row.start_hz or 0.0, row.stop_hz or 0.0
            if row.duration_s and 0 < start_hz < stop_hz <= rate_hz / 2:  # else told with the links
                try:
                    law_of(row, rate_hz)
                except PackageError as error:
                    what, _, remedy = str(error).partition(": ")[2].partition("; ")
                    yield TableFault("sweeps", number, None, "out of range", what, remedy or "correct the row")
            continue
        try:
            signal = package.open_file(row.signal)
            if row.sample_rate_hz not in (None, signal.sample_rate_hz):
                yield TableFault(
                    "sweeps",
                    number,
                    "sample_rate_hz",
                    "wrong rate",
                    f"must be that of {row.signal}, {signal.sample_rate_hz} Hz (got {row.sample_rate_hz})",
                    "correct it or leave it empty",
                )
            wrong = fault_of_samples(signal)
            if wrong:
                raise PackageError(wrong)
            if sounding_s(signal) == 0.0:
                raise PackageError(f"{row.signal}: must hold what was played (it is silent); name the right file")
        except PackageError as error:
            yield fault_of_file(error, "sweeps", number, "signal", None)
