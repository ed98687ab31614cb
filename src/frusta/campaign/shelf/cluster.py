"""Analyse the shelf on many machines: a campaign a task, findings kept by one writer as they come."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from frusta.campaign.findings import Findings
from frusta.campaign.shelf.analysing import Analysed, Progress, findings_of, stale
from frusta.campaign.shelf.store import Shelf
from frusta.errors import FrustaError, ParameterError


def analyse_on_cluster(
    shelf: Shelf,
    address: str,
    names: Sequence[str] = (),
    *,
    anew: bool = False,
    progress: Progress | None = None,
    wait_s: float = 20.0,
) -> Analysed:
    """Analyse entries as `frusta.campaign.shelf.analysing.analyse_shelf` does, on a dask.distributed cluster.

    Parameters
    ----------
    shelf : Shelf
        Every worker must reach its database and its folder of files at the same place.
    address : str
        Of the scheduler: ``tcp://bench:8786``.
    names, anew, progress
        As there.
    wait_s : float
        How long the scheduler may take to answer.

    Returns
    -------
    Analysed
        The same findings, to the byte, as on one machine. The work of a worker that dies is done by another; what
        was kept before a stop is not done again.

    Raises
    ------
    ParameterError
        If dask.distributed is not installed, or the scheduler cannot be reached.
    """
    try:
        import distributed
    except ModuleNotFoundError as error:
        raise ParameterError("--cluster needs dask.distributed; install frusta[cluster]") from error
    old, fresh = stale(shelf, names, anew=anew)
    done: list[str] = []
    failed: list[tuple[str, str]] = []
    place = shelf.database.url.render_as_string(hide_password=False)
    try:
        client: Any = _untyped(distributed).Client(address, timeout=wait_s, set_as_default=False)
    except (OSError, ValueError) as error:
        raise ParameterError(
            f"--cluster must be the address of a scheduler that answers (got {address!r}: {error})"
        ) from error
    with client:
        jobs = {}
        for name in old:
            content = shelf.contents(name).content
            future = client.submit(_findings_json, place, str(shelf.database.files), name, pure=False, retries=1)
            jobs[future] = (name, content)
        for count, future in enumerate(_untyped(distributed).as_completed(list(jobs), loop=client.loop)):
            if progress:
                progress(count, len(old))
            name, content = jobs[future]
            try:
                shelf.keep_findings(name, content, Findings.model_validate_json(future.result()))
                done.append(name)
            except FrustaError as error:
                failed.append((name, str(error)))
    if progress:
        progress(len(old), len(old))
    return Analysed(tuple(sorted(done)), tuple(fresh), tuple(sorted(failed)))


def _untyped(module: Any) -> Any:
    """The module, as what it is to a type checker: it has no types of its own."""
    return module


def _findings_json(place: str, files: str, name: str) -> str:
    """What a worker does: analyse one entry in its own process."""
    shelf = Shelf(place, Path(files))
    try:
        return findings_of(shelf, name, cores=1).model_dump_json()
    finally:
        shelf.close()
