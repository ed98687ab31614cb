"""What the tables lack for an estimate, and what was done about it, in words: specimens named, what to write where."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

NAMED = 4
"""Specimens named in one note; of more, the number is told."""


@dataclass
class Notes:
    """Specimens that lack something, collected while a campaign is observed, and sentences about others.

    Attributes
    ----------
    no_profile, no_coil, no_mass : dict of str to list of str
        Specimens by group.
    said : dict of str to list of str
        Sentences by group: drawings that cannot exist, recordings that contradict each other.
    """

    no_profile: dict[str, list[str]] = field(default_factory=dict)
    no_coil: dict[str, list[str]] = field(default_factory=dict)
    no_mass: dict[str, list[str]] = field(default_factory=dict)
    said: dict[str, list[str]] = field(default_factory=dict)

    def say(self, group: str, sentence: str) -> None:
        """Keep a sentence about a group, once."""
        sentences = self.said.setdefault(group, [])
        if sentence not in sentences:
            sentences.append(sentence)

    def lacking(self, group: str) -> tuple[str, ...]:
        """Return why cones of a group are not in the fit."""
        bare = self.no_profile.get(group)
        words = (
            []
            if not bare
            else [f"specimens.csv names no profile for {listed(bare)}: not used; draw it in profiles.csv"]
        )
        return (*words, *self.said.get(group, ()))

    def assumed(self, group: str, coil_g: float) -> tuple[str, ...]:
        """Return what was taken as given for the cones in the fit.

        Parameters
        ----------
        group : str
        coil_g : float
            What an unknown coil is taken to weigh.
        """
        words = []
        if self.no_coil.get(group):
            words.append(
                f"no coil_mass_g for {listed(self.no_coil[group])}: fitted, from {coil_g:g} g by a factor of two "
                "either way; weigh a coil"
            )
        if self.no_mass.get(group):
            words.append(
                f"no mass_g for {listed(self.no_mass[group])}: fitted from wall and modes alone; weigh the cone"
            )
        return tuple(words)


def listed(names: Sequence[str]) -> str:
    """Return names for a sentence.

    Examples
    --------
    >>> listed(["otter-1", "otter-2"])
    'otter-1 and otter-2'
    >>> listed([f"otter-{i}" for i in range(1, 8)])
    'otter-1, otter-2, otter-3 and 4 more'
    """
    shown = list(dict.fromkeys(names))
    if len(shown) > NAMED:
        shown = [*shown[: NAMED - 1], f"{len(shown) - NAMED + 1} more"]
    return " and ".join(filter(None, [", ".join(shown[:-1]), shown[-1]]))
