"""The search of a campaign for its best cone, on as many cores as there are."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

from frusta.campaign.parallel import map_batches
from frusta.campaign.search_ground import Ground
from frusta.cone.profile import ConeProfile
from frusta.design.search import FIRST, LATER, Found, Judge, Tried, count_of_shapes, search, try_shape

Progress = Callable[[int, int], None]


def find_cones(
    ground: Ground,
    *,
    cores: int | None = None,
    progress: Progress | None = None,
    seed: int = 1,
    first: int = FIRST,
    later: int = LATER,
) -> Found:
    """Return the cones that were tried; a Ctrl-C ends the search with what the rounds until then have found.

    Parameters
    ----------
    ground : Ground
    cores : int, optional
        Processes; all by default. What is found does not depend on it.
    progress : callable, optional
        Called with (shapes done, shapes at most).
    seed, first, later : int
        As of `frusta.design.search.search`.
    """
    total, begun = count_of_shapes(first, later), [0]

    def run(judge: Judge, shapes: Sequence[ConeProfile]) -> list[Tried] | None:
        def shown(done: int, of: int) -> None:
            if progress is not None:
                progress(begun[0] + done, total)

        try:
            tried = map_batches(judge, shapes, cores, shown)
        except KeyboardInterrupt:
            return None
        begun[0] += len(shapes)
        return tried

    return search(ground.task, partial(try_shape, ground.task), run, seed, first, later)
