"""The figures of a reading by their keys, in order; each names its unit."""

from __future__ import annotations

FIGURES = (
    "level_db",
    "lower_limit_hz",
    "upper_limit_hz",
    "unevenness_db",
    "unevenness_common_db",
    "breakup_hz",
    "breakup_loss_factor",
    "breakup_prominence_db",
    "tallest_peak_hz",
    "tallest_peak_db",
    "piston_limit_hz",
    "thd_peak_percent",
    "thd_peak_hz",
    "piston_thd_peak_percent",
    "piston_thd_peak_hz",
    "input_thd_peak_percent",
    "input_thd_peak_hz",
    "buzz_peak_percent",
    "buzz_peak_hz",
    "decay_5_percent_ms",
    "decay_2_percent_ms",
    "decay_bandlimit_ms",
    "delay_ms",
    "snr_db",
    "clock_ppm",
)
