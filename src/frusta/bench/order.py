"""In which order cones are seated: shuffled so that drift hits all groups alike, the check cone first and last.

A round seats every specimen once. Within a round blocks hold one print of every group (material × recipe × profile),
in random order and with the prints drawn at random: a randomised complete block design, so that a rig which drifts
through the evening cannot pass for a better material.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence

import numpy as np

from frusta.bench.events import Turn
from frusta.errors import ParameterError


def seating_order(
    groups: Mapping[str, Sequence[str]], seatings: int, seed: int, seated: Mapping[str, int] | None = None
) -> tuple[Turn, ...]:
    """Return the turns of all specimens, without the check cone.

    Parameters
    ----------
    groups : mapping of str to sequence of str
        Specimens by group.
    seatings : int
        Seatings wanted for each specimen, >= 1.
    seed : int
        The same seed gives the same order on every machine.
    seated : mapping of str to int, optional
        Seatings that each specimen has had; only the others are returned.

    Raises
    ------
    ParameterError
        If fewer than one seating is wanted.

    Examples
    --------
    >>> [f"{t.specimen}/{t.seating}" for t in seating_order({"a": ["a1", "a2"], "b": ["b1"]}, 1, seed=3)]
    ['a1/1', 'b1/1', 'a2/1']
    """
    if seatings < 1:
        raise ParameterError(f"seatings must be at least 1 (got {seatings}); two or more show what the joint does")
    seated = seated or {}
    turns: list[Turn] = []
    for seating in range(1, seatings + 1):
        for specimen in _round(groups, np.random.default_rng(_words(seed, seating))):
            if seated.get(specimen, 0) < seating:
                turns.append(Turn(specimen, seating))
    return tuple(turns)


def with_check_cone(turns: Sequence[Turn], check: str | None, seated: int = 0) -> tuple[Turn, ...]:
    """Return a sitting: the check cone first and last, each with a seating of its own.

    Parameters
    ----------
    turns : sequence of Turn
    check : str or None
        The check cone; None where there is none.
    seated : int
        Seatings that the check cone has had before.
    """
    if check is None or not turns:
        return tuple(turns)
    return (Turn(check, seated + 1, "check first"), *turns, Turn(check, seated + 2, "check last"))


def _round(groups: Mapping[str, Sequence[str]], rng: np.random.Generator) -> list[str]:
    """Every specimen once, in blocks of one print a group."""
    shuffled = [list(rng.permutation(sorted(groups[name]))) for name in sorted(groups)]
    order: list[str] = []
    while any(shuffled):
        block = [prints.pop() for prints in shuffled if prints]
        order += [str(block[i]) for i in rng.permutation(len(block))]
    return order


def _words(seed: int, seating: int) -> list[int]:
    digest = hashlib.sha256(f"order\x1f{seed}\x1f{seating}".encode()).digest()
    return [int.from_bytes(digest[i : i + 4], "little") for i in range(0, 16, 4)]
