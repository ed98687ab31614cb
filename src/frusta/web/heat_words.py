"""What a neck bears before it softens, as Next cone shows it: the terminal's figures, what is assumed beside them."""

from __future__ import annotations

from dataclasses import dataclass

from frusta.campaign.forecasting import ForecastInputs, rig_of
from frusta.campaign.heat import CAUTIONS, heat_line, heat_of, heat_rows, parse_hot_coil
from frusta.campaign.package import Package
from frusta.cone.profile import ConeProfile
from frusta.design.neck_heat import NeckHeat
from frusta.errors import FrustaError, ParameterError

HEAD = "heat at the neck: "
OPTIONS = ("(--hot-coil)", "(--room-c)")
"""What the terminal says of its options."""


@dataclass(frozen=True)
class HeatAsked:
    """What the maker knows of the coil's heat; empty where nothing."""

    thermal_k_w: str = ""
    hot_ohm: str = ""
    hot_w: str = ""
    room_c: str = ""

    @property
    def given(self) -> bool:
        """Whether anything was filled in."""
        return any(text.strip() for text in (self.thermal_k_w, self.hot_ohm, self.hot_w, self.room_c))


@dataclass(frozen=True)
class HeatTold:
    """Heat for the template.

    Attributes
    ----------
    line : str
        The range, or why there is none.
    rows : list of (str, str, str, str)
        Power, coil, neck, what comes of it.
    assumed : list of str
    cautions : tuple of str
    """

    line: str
    rows: list[tuple[str, str, str, str]]
    assumed: list[str]
    cautions: tuple[str, ...]


def heat_told(
    package: Package, inputs: ForecastInputs, material: str, drawing: ConeProfile, asked: HeatAsked
) -> HeatTold:
    """Return what the neck of a cone bears, in words; what cannot be had, or was filled in wrongly, says why."""
    try:
        heat, reason = neck_heat_of(package, inputs, material, drawing, asked)
    except FrustaError as error:
        heat, reason = None, str(error)
    line = _sentence(heat_line(heat, reason).removeprefix(HEAD))
    if heat is None:
        return HeatTold(line, [], [], ())
    return HeatTold(line, heat_rows(heat), [_sentence(_plainly(a)) for a in heat.assumed], CAUTIONS)


def neck_heat_of(
    package: Package, inputs: ForecastInputs, material: str, drawing: ConeProfile, asked: HeatAsked
) -> tuple[NeckHeat | None, str | None]:
    """Return heat as `frusta.campaign.heat.heat_of` does, from fields as they were filled in.

    Raises
    ------
    ParameterError
        If a field is no number, or what is told contradicts itself.
    """
    ohm, watts = asked.hot_ohm.strip(), asked.hot_w.strip()
    if bool(ohm) != bool(watts):
        raise ParameterError("a hot coil takes its resistance and the power it settled at; fill in both or neither")
    thermal = _number(asked.thermal_k_w, "K/W from coil to room")
    if thermal is not None and ohm:
        raise ParameterError("the way from coil to room is stated or measured, not both; empty one of the two")
    if thermal is not None and thermal <= 0.0:
        raise ParameterError(f"K/W from coil to room must be above 0 (got {thermal:g}); correct it")
    for text, called in ((ohm, "the hot resistance"), (watts, "the power")):
        _number(text, called)
    return heat_of(
        package,
        rig_of(package),
        material,
        drawing,
        inputs.rig.coil.resistance_ohm,
        thermal_k_w=thermal,
        hot_coil=parse_hot_coil(f"{ohm}@{watts}") if ohm else None,
        room_c=_number(asked.room_c, "°C of the room"),
    )


def _number(text: str, called: str) -> float | None:
    if not text.strip():
        return None
    try:
        value = float(text.strip().replace(",", ".").replace("\u2212", "-"))
    except ValueError:
        value = float("nan")
    if not abs(value) < 1e4:
        raise ParameterError(f"{called} must be a number (got {text.strip()}); correct it")
    return value


def _plainly(text: str) -> str:
    """Without the names of the terminal's options: here they are fields."""
    for option in OPTIONS:
        text = text.replace(f" {option}", "")
    return text


def _sentence(text: str) -> str:
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else text + "."
