"""The analysis of a whole campaign: from a package to its findings."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from frusta.campaign.blip_candidates import weigh_blips, with_candidates, with_orders
from frusta.campaign.blip_context import contexts_of
from frusta.campaign.calibration_file import CalibrationTable
from frusta.campaign.common_band import unevenness_in_band, with_common_unevenness
from frusta.campaign.curve_store import CurveStore
from frusta.campaign.differences import ShelfScatter, find_differences
from frusta.campaign.drift import session_drift
from frusta.campaign.estimating import estimate_campaign
from frusta.campaign.findings import FaultRow, Findings, ModeRow, Reading
from frusta.campaign.groups import groups_of
from frusta.campaign.narrow_distortion import narrow_distortion, weigh_distortion
from frusta.campaign.package import Package, open_package
from frusta.campaign.parallel import map_batches
from frusta.campaign.ranking import rank
from frusta.campaign.resolve import ResolvedTake, calibration_of, resolve_take
from frusta.campaign.take_reading import Job, TakeRows, read_job
from frusta.campaign.take_times import take_times
from frusta.errors import ParameterError
from frusta.material.infer import Inferred
from frusta.material.learned import Learned
from frusta.version import __version__

Progress = Callable[[int, int], None]


@dataclass(frozen=True, eq=False)
class Analysis:
    """A campaign's findings and the curves behind them.

    Attributes
    ----------
    findings : Findings
        Typed rows of every list, as ``findings.json`` holds them.
    curves : CurveStore
        Curves by take, read from disk one take at a time; takes that could not be read have none.
    damaged : tuple of str
        Takes whose recording could not be read.
    package : Package
        What was analysed.
    learned : Learned
        What the recordings taught of materials, joint and shapes: what a forecast takes.
    inferred : Inferred or None
        The fit behind it: what the next print takes.
    """

    findings: Findings
    curves: CurveStore
    damaged: tuple[str, ...]
    package: Package
    learned: Learned = field(default_factory=Learned)
    inferred: Inferred | None = None


def analyse(
    path: Path | str,
    *,
    cores: int | None = None,
    progress: Progress | None = None,
    gate_s: float | None = None,
    shelf: Mapping[str, ShelfScatter] | None = None,
) -> Analysis:
    """Read every take of a campaign, compare its groups, and rank them.

    Parameters
    ----------
    path : Path or str
        Package: folder or zip.
    cores : int, optional
        Processes; all by default. The findings do not depend on it, to the byte.
    progress : callable, optional
        Called with ``(done, total)``, counting takes.
    gate_s : float, optional
        Reflection-free time set by hand, s, > 0; otherwise found take by take.
    shelf : mapping of str to ShelfScatter, optional
        Scatter of prints by figure, lent to groups of one print: `frusta.campaign.shelf.scatter_learned.lent`.

    Returns
    -------
    Analysis
        Takes whose recording is damaged have a row with reasons, and a fault; the others are read all the same.

    Raises
    ------
    PackageError
        If the package cannot be used: a table or link at fault, a calibration that cannot be read.
    ParameterError
        If `gate_s` or `cores` is out of its range.

    Examples
    --------
    ::

        import frusta

        analysis = frusta.analyse("three-birds")
        for row in analysis.findings.differences:
            print(row.profile, row.verdict)
        response = analysis.curves["otter-1-s1"].table["level_db"]
    """
    if gate_s is not None and not 0 < gate_s < 10:
        raise ParameterError(f"gate_s must be above 0 and below 10 s (got {gate_s}); leave it out to have it found")
    package = open_package(path)
    resolved = [resolve_take(package, take) for take in package.takes.values()]
    store = CurveStore()
    rows = _read_all(_jobs(package, resolved, gate_s, store), cores, progress)
    store.keep([row.reading.take for row in rows if row.damage is None])
    readings = with_common_unevenness([row.reading for row in rows], store)
    group_of, members = groups_of(package)
    names = {group: member.name for group, member in members.items()}
    campaign = package.campaign
    in_band_db = unevenness_in_band(readings, store, campaign.band_low_hz, campaign.band_high_hz)
    drift = session_drift(readings, take_times(package))
    modes = [mode for row in rows for mode in row.modes]
    estimated = estimate_campaign(package, resolved, readings, modes, store)
    blips = [blip for row in rows for blip in row.blips]
    distorted = [
        one for r in readings if r.take in store for one in narrow_distortion(r.take, store[r.take], r.breakup_hz)
    ]
    asked = [blip.take for blip in blips] + [one.take for one in distorted]
    contexts = contexts_of(package, resolved, readings, estimated.learned, asked)
    causes = weigh_blips(blips, contexts)
    findings = Findings(
        campaign=campaign.campaign,
        made_by=f"frusta {__version__}",
        readings=tuple(readings),
        modes=with_orders(estimated.modes, blips, causes),
        blips=(*with_candidates(blips, causes), *weigh_distortion(distorted, contexts, modes)),
        differences=find_differences(readings, group_of, drift=drift, shelf=shelf, names=names),
        estimates=estimated.estimates,
        ranking=rank(readings, group_of, members, campaign.band_high_hz, in_band_db),
        faults=tuple(_faults(package, rows)),
    )
    damaged = tuple(row.reading.take for row in rows if row.damage is not None)
    return Analysis(findings, store, damaged, package, estimated.learned, estimated.inferred)


def read_takes(
    package: Package, *, cores: int | None = None, progress: Progress | None = None
) -> tuple[tuple[Reading, ...], tuple[ModeRow, ...]]:
    """Return the readings and modes of a package, without what is drawn from them together.

    Parameters
    ----------
    package : Package
        An opened package.
    cores, progress
        As in `analyse`.

    Returns
    -------
    readings : tuple of Reading
        As in the findings, but for the unevenness over the common band.
    modes : tuple of ModeRow
        As recorded.
    """
    resolved = [resolve_take(package, take) for take in package.takes.values()]
    store = CurveStore()  # its folder goes when it does
    rows = _read_all(_jobs(package, resolved, None, store), cores, progress)
    return tuple(row.reading for row in rows), tuple(mode for row in rows for mode in row.modes)


def _read_all(jobs: Sequence[Job], cores: int | None, progress: Progress | None) -> list[TakeRows]:
    """Read all takes; those of one shape and specimen follow each other, so that what they share is kept."""

    def shared(i: int) -> tuple[str, str, int]:
        specimen = jobs[i].resolved.specimen
        return specimen.profile or "", specimen.specimen, i

    order = sorted(range(len(jobs)), key=shared)
    rows = map_batches(read_job, [jobs[i] for i in order], cores, progress)
    return [row for _, row in sorted(zip(order, rows, strict=True), key=lambda pair: pair[0])]


def _jobs(package: Package, resolved: Sequence[ResolvedTake], gate_s: float | None, store: CurveStore) -> list[Job]:
    """What the workers are told: each take with what holds for it, and nothing of the others."""
    bare = Package(package.source, package.root, package.campaign)
    calibrations: dict[str, CalibrationTable | None] = {
        key: calibration_of(package, rig) for key, rig in package.rigs.items()
    }
    return [
        Job(
            package=bare,
            resolved=take,
            calibration=calibrations[take.rig.rig],
            gate_s=gate_s,
            curves_folder=store.folder,
        )
        for take in resolved
    ]


def _faults(package: Package, rows: Iterable[TakeRows]) -> Iterable[FaultRow]:
    """The faults of all takes, each with its row in takes.csv."""
    numbers = dict(zip(package.takes, package.row_numbers.get("takes", ()), strict=False))
    for row in rows:
        reading: Reading = row.reading
        for fault in reading.faults:
            yield FaultRow(
                table="takes",
                take=reading.take,
                row=numbers.get(reading.take),
                column="recording",
                fault=fault.fault,
                where=fault.where if row.damage is None else row.damage,
                what_to_do=fault.what_to_do,
            )
