"""The logarithmic frequency axis: lines at 1 to 9, stronger at 1, 2 and 5, ticks with their unit at first and last."""

from __future__ import annotations

import math


def frequency_grid(low_hz: float, high_hz: float) -> dict[float, bool]:
    """Lines at 1 to 9 of every decade inside the axis; True where the line is strong (1, 2, 5).

    >>> list(frequency_grid(200, 1000))
    [200.0, 300.0, 400.0, 500.0, 600.0, 700.0, 800.0, 900.0, 1000.0]
    """
    lines: dict[float, bool] = {}
    for decade in range(math.floor(math.log10(low_hz)), math.ceil(math.log10(high_hz)) + 1):
        for digit in range(1, 10):
            value = digit * 10.0**decade
            if low_hz * 0.9999 <= value <= high_hz * 1.0001:
                lines[value] = digit in (1, 2, 5)
    return lines


def frequency_labels(low_hz: float, high_hz: float) -> dict[float, str]:
    r"""Tick labels: "200 Hz", "500", "1 kHz", "2", "5", "10", "20 kHz"; the first, the last and 1 kHz carry the unit.

    >>> list(frequency_labels(200, 20000).values())
    ['200\xa0Hz', '500', '1\xa0kHz', '2', '5', '10', '20\xa0kHz']
    """
    strong = [value for value, is_strong in frequency_grid(low_hz, high_hz).items() if is_strong]
    labels: dict[float, str] = {}
    for value in strong:
        shown = f"{value / 1000:g}" if value >= 1000 else f"{value:g}"
        if value in (strong[0], strong[-1], 1000.0):
            shown += "\u00a0kHz" if value >= 1000 else "\u00a0Hz"
        labels[value] = shown
    return labels


def frequency_span(band_hz: tuple[float, float] | None, stop_hz: float | None) -> tuple[float, float]:
    """Ends of the axis: 200 Hz to 20 kHz, wider where the campaign's band or a faster recording asks for it."""
    low, high = 200.0, 20000.0
    if band_hz is not None:
        low = next((edge for edge in (200.0, 100.0, 50.0, 20.0) if edge <= band_hz[0]), 10.0)
        high = 20000.0 if band_hz[1] <= 20000 else (50000.0 if (stop_hz or 0) > 20000 else 20000.0)
    return low, high
