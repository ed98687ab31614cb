"""What the next cone is wanted for, as fields of the page: a band, weights, limits; read by the terminal's own code."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from frusta.campaign.allowed_cones import Wish
from frusta.campaign.package import Package
from frusta.campaign.wish_words import OPTIONS, wish_of
from frusta.design.goal import WEIGHTS
from frusta.errors import ParameterError
from frusta.publish.words import NBSP, quantity

Cell = Annotated[str, Field(max_length=40)]
Span = Annotated[str, Field(max_length=40, description="LOW:HIGH, LOW to HIGH, or one number that holds it, mm")]
PARTS = {
    "piston limit": ("Moves as one piece far up", "the limit in Hz"),
    "upper limit": ("Plays far up", "the limit in Hz"),
    "evenness": ("Plays evenly in the band", "± dB"),
    "decay": ("Falls silent soon", "ms to 2 %"),
    "mass": ("Is light", "g without coil"),
    "level": ("Is loud", "dB, 300 Hz to 1 kHz"),
    "distortion": ("Distorts little", "% at the input"),
}
"""Parts of a goal in words, and the figure each is judged by."""
SIZES = {
    "rim_mm": "Radius of the rim",
    "depth_mm": "Depth",
    "bow_mm": "Bow",
    "wall_mm": "Wall",
}


class GoalAsked(BaseModel):
    """What is asked for; an empty weight counts nothing, an empty band or limit leaves it to the campaign."""

    model_config = ConfigDict(extra="forbid")

    band_low_hz: Cell = ""
    band_high_hz: Cell = ""
    piston_limit: Cell = f"{WEIGHTS['piston limit']:g}"
    upper_limit: Cell = f"{WEIGHTS['upper limit']:g}"
    evenness: Cell = f"{WEIGHTS['evenness']:g}"
    decay: Cell = f"{WEIGHTS['decay']:g}"
    mass: Cell = f"{WEIGHTS['mass']:g}"
    level: Cell = f"{WEIGHTS['level']:g}"
    distortion: Cell = f"{WEIGHTS['distortion']:g}"
    rim_mm: Span = ""
    depth_mm: Span = ""
    bow_mm: Span = ""
    wall_mm: Span = ""
    questions_only: Annotated[bool, Field(description="only what would tell most: seconds, without the best cone")] = (
        False
    )

    def weights(self) -> dict[str, str]:
        """Return what was written beside each part of the goal."""
        return {part: getattr(self, part.replace(" ", "_")).strip().replace(",", ".") for part in PARTS}

    def limits(self) -> dict[str, str]:
        """Return the limits that were given."""
        return {name: text for name in SIZES if (text := getattr(self, name).strip())}

    def goal(self) -> str | None:
        """Return the goal as the terminal takes it; None where all is the usual.

        Raises
        ------
        ParameterError
            If only one end of the band is given.
        """
        weights = {part: text or "0" for part, text in self.weights().items()}
        usual = all(text == f"{WEIGHTS[part]:g}" for part, text in weights.items())
        low, high = (end.strip().replace(",", ".") for end in (self.band_low_hz, self.band_high_hz))
        if bool(low) != bool(high):
            raise ParameterError(f"a band must have both ends (got {low or 'nothing'} to {high or 'nothing'} Hz)")
        pieces = [] if usual else [f"{part} {text}" for part, text in weights.items()]
        pieces += [f"band {low}-{high}"] if low else []
        return ", ".join(pieces) or None

    def wish(self) -> Wish:
        """Return it as the search takes it.

        Raises
        ------
        ParameterError
            If something cannot be read, the band is none, or nothing counts.
        """
        return wish_of(self.goal(), self.limits(), SIZES)

    def command(self, campaign: str) -> str:
        """Return what does the same in the terminal."""
        words = ["frusta next", campaign]
        goal = self.goal()
        if self.questions_only:
            return " ".join([*words, "--questions-only"])
        words += [] if goal is None else [f'--goal "{goal}"']
        return " ".join([*words, *(f'{OPTIONS[name]}="{text}"' for name, text in self.limits().items())])


@dataclass(frozen=True)
class Slot:
    """A field of the form."""

    name: str
    label: str
    hint: str
    value: str


@dataclass(frozen=True)
class GoalForm:
    """The form as the template shows it."""

    says: str
    band: tuple[Slot, ...]
    weights: tuple[Slot, ...]
    sizes: tuple[Slot, ...]
    changed: bool


def goal_form(package: Package, asked: GoalAsked | None) -> GoalForm:
    """Return the form filled with what was asked last, else with what is usual."""
    filled = asked or GoalAsked()
    ends = (package.campaign.band_low_hz, package.campaign.band_high_hz)
    own = tuple("" if end is None else f"{end:g}" for end in ends)
    band = tuple(
        Slot(name, label, f"campaign: {end}" if end else "needed: the campaign names none", getattr(filled, name))
        for (name, label), end in zip((("band_low_hz", "Band from, Hz"), ("band_high_hz", "to, Hz")), own, strict=True)
    )
    texts = filled.weights()
    weights = tuple(Slot(part.replace(" ", "_"), label, unit, texts[part]) for part, (label, unit) in PARTS.items())
    sizes = tuple(Slot(name, f"{label}, mm", "", getattr(filled, name)) for name, label in SIZES.items())
    usual = all(texts[part] == f"{WEIGHTS[part]:g}" for part in PARTS)
    return GoalForm(_says(filled, ends, usual), band, weights, sizes, bool(filled.goal() or filled.limits()))


def _says(asked: GoalAsked, ends: tuple[float | None, float | None], usual: bool) -> str:
    """The goal in one line."""
    low, high = asked.band_low_hz.strip(), asked.band_high_hz.strip()
    if low and high:
        band = f"{low} to {high}{NBSP}Hz"
    elif ends[0] is not None and ends[1] is not None:
        band = f"{quantity(ends[0], 'Hz')} to {quantity(ends[1], 'Hz')}"
    else:
        band = "no band yet"
    held = asked.limits()
    kept = ", ".join(f"{SIZES[name].lower()} {text}{NBSP}mm" for name, text in held.items())
    sizes = f"{kept}, the rest within a fifth of your cones" if held else "sizes within a fifth of your cones"
    return f"{band}; {'the usual weights' if usual else 'weights of your own'}; {sizes}"
