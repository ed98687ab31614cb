"""Starting values for printed plastics: wide, assumed, never a result.

All figures are handbook ranges from memory, no table was opened; whoever uses them says `assumed`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

PRINTED_MODULUS_SD = 0.20
"""Relative spread of a printed modulus over its handbook range: flow, overlap and raster change it that much."""
AXIAL_RATIO, AXIAL_RATIO_SD = 0.85, 0.25
"""Modulus across layers over that within them: between poorly bonded and as good as solid (ln scale)."""
SHEAR_RATIO, SHEAR_RATIO_SD = 0.31, 0.30
"""Layer shear modulus over in-plane modulus; 1/(2 + 2ν) = 0.37 for a solid that is alike in all directions."""
POISSON_SD = 0.03
DENSITY_NAMED_SD = 0.01
"""Of a density that a table names: what a print leaves of voids."""


@dataclass(frozen=True)
class HandbookPlastic:
    """One polymer.

    Attributes
    ----------
    density_kg_m3 : float
    modulus_low_pa, modulus_high_pa : float
        In the plane of the layers, as printed.
    poisson : float
    loss_low, loss_high : float
        Loss factor at 20 °C, some hundred Hz.
    density_sd : float
        Relative.
    """

    density_kg_m3: float
    modulus_low_pa: float
    modulus_high_pa: float
    poisson: float
    loss_low: float
    loss_high: float
    density_sd: float = 0.02

    @property
    def modulus_pa(self) -> float:
        """Middle of the range, on a logarithmic scale, Pa."""
        return math.sqrt(self.modulus_low_pa * self.modulus_high_pa)

    @property
    def modulus_sd(self) -> float:
        """Relative standard deviation: half the handbook's range, and what printing adds."""
        return math.hypot(0.5 * math.log(self.modulus_high_pa / self.modulus_low_pa), PRINTED_MODULUS_SD)

    @property
    def loss_factor(self) -> float:
        """Middle of the range, on a logarithmic scale."""
        return math.sqrt(self.loss_low * self.loss_high)

    @property
    def loss_sd(self) -> float:
        """Relative standard deviation: half the range, and a quarter that bonding may add."""
        return math.hypot(0.5 * math.log(self.loss_high / self.loss_low), 0.25)


PLASTICS = {
    "pla": HandbookPlastic(1240.0, 3.0e9, 3.6e9, 0.36, 0.010, 0.020),
    "petg": HandbookPlastic(1270.0, 1.9e9, 2.2e9, 0.38, 0.010, 0.020),
    "abs": HandbookPlastic(1040.0, 2.0e9, 2.4e9, 0.37, 0.015, 0.020),
    "asa": HandbookPlastic(1070.0, 2.0e9, 2.3e9, 0.37, 0.020, 0.030),
    "pp": HandbookPlastic(900.0, 1.1e9, 1.6e9, 0.42, 0.050, 0.080),
    "pa12": HandbookPlastic(1010.0, 1.3e9, 1.7e9, 0.40, 0.030, 0.060),
    "pc": HandbookPlastic(1200.0, 2.1e9, 2.4e9, 0.37, 0.006, 0.010),
}
ANY_PLASTIC = HandbookPlastic(1130.0, 1.2e9, 4.0e9, 0.37, 0.008, 0.070, density_sd=0.10)
"""A polymer that nobody named."""


def plastic_named(polymer: str | None) -> tuple[HandbookPlastic, str | None]:
    """Return the handbook's plastic and its name there; a name it does not know gives `ANY_PLASTIC` and None.

    Parameters
    ----------
    polymer : str or None
        As the maker wrote it: "PLA", "pa-12", "PETG (recycled)"; filled grades ("PA12-CF") are not known.
    """
    plain = "".join(c if c.isalnum() else " " for c in (polymer or "").lower()).replace("pa 12", "pa12").split()
    filled = any(word in {"cf", "gf", "wood", "carbon", "glass", "filled", "fibre", "fiber"} for word in plain)
    known = [word for word in plain if word in PLASTICS]
    if filled or len(known) != 1:
        return ANY_PLASTIC, None
    return PLASTICS[known[0]], known[0]
