"""From the curves of takes to the curves of charts: which take stands for a group, and in which measure."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from frusta.campaign.curves import TakeCurves
from frusta.campaign.findings import Reading
from frusta.publish.charts.curve import Curve
from frusta.publish.groups import Group, Groups
from frusta.publish.prints import GroupMean, counted
from frusta.publish.theme import Style
from frusta.publish.words import NBSP, interval, quantity

ORDERS = ("h2", "h3", "h4", "h5")
MOST_POINTS = 1500
OVER_NOISE_DB = 10.0  # as the definition of thd_peak_percent asks


@dataclass(frozen=True, eq=False)
class Shown:
    """The take that stands for a group in one profile."""

    group: Group
    reading: Reading
    curves: TakeCurves


def shown_takes(
    readings: Sequence[Reading], curves: Mapping[str, TakeCurves], groups: Groups, profile: str
) -> list[Shown]:
    """For every group of a profile the take whose break-up is the median of its takes.

    Where no break-up was read, the first take stands for its group. Takes without curves do not count.
    """
    shown = []
    for group in groups.all:
        own = [
            r
            for r in counted(readings)
            if groups.of(r.material, r.recipe) is group and (r.profile or "") == profile and r.take in curves
        ]
        if not own:
            continue
        with_breakup = sorted((r for r in own if r.breakup_hz is not None), key=lambda r: (r.breakup_hz or 0.0, r.take))
        chosen = with_breakup[(len(with_breakup) - 1) // 2] if with_breakup else own[0]
        shown.append(Shown(group, chosen, curves[chosen.take]))
    return shown


def response_curve(shown: Shown) -> Curve:
    """Level over frequency, named at the break-up, or at the tallest peak."""
    table = shown.curves.table
    x, y = table["frequency_hz"], table["level_db"]
    anchor = shown.reading.breakup_hz or shown.reading.tallest_peak_hz
    if anchor is None:
        above = np.where((x > 1000) & (x < 15000), y, np.nan)
        anchor = float(x[int(np.nanargmax(above))]) if np.isfinite(above).any() else None
    return Curve(shown.group.name, shown.group.style, x, y, anchor=anchor)


def rigid_curve(shown: Sequence[Shown]) -> Curve | None:
    """Response of the rigid cone beside the first take that has one."""
    for one in shown:
        y = one.curves.table.get("rigid_db")
        if y is not None and np.isfinite(y).any():
            return Curve("rigid cone", Style("m1", (), "circle"), one.curves.table["frequency_hz"], y)
    return None


def input_distortion(table: Mapping[str, NDArray[np.float64]]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Sum of the input-referred harmonics 2 to 5 and of their noise floors.

    Parameters
    ----------
    table : mapping of str to ndarray, shape (n,)
        Columns of ``curves/TAKE.csv``.

    Returns
    -------
    (ndarray, ndarray), each of shape (n,)
        Percent; distortion is NaN where it stands less than 10 dB over the noise, so noise is never shown as
        distortion. Noise is referred to the input by the same factor as its harmonic.
    """
    size = table["frequency_hz"].shape
    total, floor, any_order = np.zeros(size), np.zeros(size), np.zeros(size, dtype=bool)
    for order in ORDERS:
        at_input, as_heard, noise = (table[f"{order}_{kind}"] for kind in ("input_db", "db", "noise_db"))
        noise_at_input = noise + at_input - as_heard
        good = np.isfinite(at_input) & np.isfinite(noise_at_input)
        total += np.where(good, 10 ** (np.where(good, at_input, 0.0) / 10), 0.0)
        floor += np.where(good, 10 ** (np.where(good, noise_at_input, 0.0) / 10), 0.0)
        any_order |= good
    stands_out = any_order & (total > floor * 10 ** (OVER_NOISE_DB / 10))
    return (
        np.where(stands_out, 100 * np.sqrt(total), np.nan),
        np.where(any_order & (floor > 0), 100 * np.sqrt(floor), np.nan),
    )


def distortion_curve(shown: Shown, mean: GroupMean | None) -> tuple[Curve, NDArray[np.float64]]:
    """Input-referred distortion with the group's peak beside its name, and the noise floor."""
    distortion, noise = input_distortion(shown.curves.table)
    figure, detail = _figure_and_detail(mean, "%")
    curve = Curve(
        shown.group.name,
        shown.group.style,
        shown.curves.table["frequency_hz"],
        distortion,
        anchor=shown.reading.input_thd_peak_hz or _peak_place(shown.curves.table["frequency_hz"], distortion),
        figure=figure,
        detail=detail,
    )
    return curve, noise


def _peak_place(x: NDArray[np.float64], y: NDArray[np.float64]) -> float | None:
    inside = np.where(x >= 200, y, np.nan)
    return float(x[int(np.nanargmax(inside))]) if np.isfinite(inside).any() else None


def decay_curve(shown: Shown, mean: GroupMean | None) -> Curve | None:
    """Envelope in percent of its peak over ms after the peak, thinned to what a picture shows; None without one."""
    envelope = shown.curves.envelope_db
    if envelope.size < 2:
        return None
    time_ms = 1e3 * (np.arange(envelope.size) / shown.curves.sample_rate_hz + shown.curves.envelope_start_s)
    end_ms = 1e3 * shown.curves.reflection_free_s
    if np.isfinite(end_ms):
        envelope, time_ms = envelope[time_ms <= end_ms], time_ms[time_ms <= end_ms]
    if envelope.size < 2:
        return None
    peak = int(np.nanargmax(envelope)) if np.isfinite(envelope).any() else 0
    time_ms, envelope = time_ms[peak:] - time_ms[peak], envelope[peak:]
    every = max(1, round(shown.curves.sample_rate_hz / 48000), -(-envelope.size // MOST_POINTS))
    anchor, marked = shown.reading.decay_2_percent_ms, True
    figure, detail = _figure_and_detail(mean, "ms")
    if anchor is None:
        finite = np.isfinite(envelope)
        anchor, marked = float(time_ms[finite][-1]) * 0.985 if finite.any() else None, False
        longer = re.match(r"longer than ([0-9.]+) ms", shown.reading.reasons.get("decay_2_percent_ms", ""))
        figure, detail = (f"longer than {longer[1]}{NBSP}ms", "") if longer else ("not read", "")
    elif mean is not None and mean.without:
        detail = f"or longer {detail}".rstrip()
    return Curve(
        shown.group.name,
        shown.group.style,
        time_ms[::every],
        100 * 10 ** (envelope[::every] / 20),
        anchor=anchor,
        figure=figure,
        detail=detail,
        marked=marked,
    )


def _figure_and_detail(mean: GroupMean | None, unit: str) -> tuple[str, str]:
    if mean is None or mean.mean is None:
        return "", ""
    if mean.low is None or mean.high is None:
        return quantity(mean.mean, unit, trim=False), ""
    half = (mean.high - mean.low) / 2
    return quantity(mean.mean, unit, half_width=half), f"({interval(mean.low, mean.high, unit, value=mean.mean)})"
