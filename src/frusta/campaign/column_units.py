"""The unit that stands at the end of a column's name, as it is written for people."""

from __future__ import annotations

_UNITS = {
    "n_mm": "N/mm", "n_um": "N/µm", "ns_m": "N s/m", "kg_m3": "kg/m³", "mm_s": "mm/s", "m_s": "m/s", "tm": "T m",
    "mm": "mm", "ms": "ms", "g": "g", "hz": "Hz", "c": "°C", "s": "s", "db": "dB", "dbfs": "dBFS", "ohm": "ohm",
    "mh": "mH", "pa": "Pa", "gpa": "GPa", "v": "V", "pct": "%", "percent": "%", "ppm": "ppm", "deg": "degrees",
}  # fmt: skip


def unit_of(column: str) -> str:
    """Return the unit in a column's name; empty where it names none.

    >>> unit_of("neck_radius_mm"), unit_of("neck_stiffness_n_um"), unit_of("hoop_modulus_gpa_u"), unit_of("notes")
    ('mm', 'N/µm', 'GPa', '')
    """
    parts = column.removesuffix("_u").split("_")
    for first in range(1, len(parts)):
        if unit := _UNITS.get("_".join(parts[first:])):
            return unit
    return ""
