"""What to print next, and why: what would tell most, and the best cone for the campaign's band."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import block_diag

from frusta.campaign.allowed_cones import Wish
from frusta.campaign.cone_answers import SIFTING, Answer, choose, refine, sift
from frusta.campaign.cone_search import find_cones
from frusta.campaign.drift import session_drift
from frusta.campaign.estimating import infer_again
from frusta.campaign.findings import Findings
from frusta.campaign.forecasting import drawn_profile
from frusta.campaign.groups import groups_of
from frusta.campaign.most_informative import SIDES_95, Questions, Suggestion, Wanted, candidates_of, suggest
from frusta.campaign.open_questions import Gap, differences_of
from frusta.campaign.package import Package
from frusta.campaign.resolve import resolve_take
from frusta.campaign.search_ground import Existing, Ground, ground_of
from frusta.campaign.take_times import take_times
from frusta.cone.profile import ConeProfile
from frusta.design.goal import Goal
from frusta.design.rivals import filament_steps
from frusta.design.search import FIRST, LATER, Found, score_gradient
from frusta.errors import FrustaError, PackageError
from frusta.material.infer import Inferred
from frusta.material.learned import Learned
from frusta.material.prospect import Prospect

Floats = NDArray[np.float64]
Stage = Callable[[str], Callable[[int, int], None]]
"""Called with the title of a stage; returns what that stage's progress is reported to."""

SEED = 1
NEW = "answer-{}"
"""Name of an answer where it is a profile that does not exist yet."""


@dataclass(frozen=True)
class NextPrint:
    """What to print next.

    Attributes
    ----------
    campaign : str
    suggestions : tuple of Suggestion
        The most telling first.
    names : mapping of str to str
        Groups, as they are called.
    open_figures : mapping of str to tuple of str
        By group.
    open_gaps : tuple of Gap
    goal : Goal or None
    answers : tuple of Answer
        Distinct cones, the best for the goal first.
    existing : tuple of Existing
        Kinds of cone that were printed, best first.
    found : Found or None
        All cones that were tried.
    said : tuple of str
        What was tried, assumed, left out.
    reasons : mapping of str to str
        Why there are no suggestions, or no answers.
    stopped : bool
        By the maker, before all was done.
    sweep_end_hz : float or None
        A limit there was not reached.
    """

    campaign: str
    suggestions: tuple[Suggestion, ...]
    names: Mapping[str, str]
    open_figures: Mapping[str, tuple[str, ...]]
    open_gaps: tuple[Gap, ...]
    goal: Goal | None
    answers: tuple[Answer, ...]
    existing: tuple[Existing, ...]
    found: Found | None
    said: tuple[str, ...]
    reasons: Mapping[str, str]
    stopped: bool
    sweep_end_hz: float | None = None


def next_print(
    package: Package,
    findings: Findings,
    learned: Learned,
    inferred: Inferred | None = None,
    *,
    wish: Wish | None = None,
    cores: int | None = None,
    stage: Stage | None = None,
    seed: int = SEED,
    first: int = FIRST,
    later: int = LATER,
    search: bool = True,
) -> NextPrint:
    """Return what to print next, and why.

    Parameters
    ----------
    package : Package
    findings : Findings
        Of its analysis.
    learned : Learned
        Of its analysis.
    inferred : Inferred, optional
        Of its analysis; without it the fit is done again.
    wish : Wish, optional
        Goal and limits; the campaign's band, the usual weights, a fifth around the campaign's cones by default.
    cores : int, optional
        Processes; the result does not depend on it.
    stage : callable, optional
        Shows progress.
    seed, first, later : int
        Of the search.
    search : bool
        Whether to look for the best cone at all: it takes most of the time.

    Raises
    ------
    ParameterError
        If the wish contradicts itself.

    Examples
    --------
    ::

        analysis = frusta.analyse("three-birds")
        told = next_print(analysis.package, analysis.findings, analysis.learned, analysis.inferred)
        print(told.suggestions[0].candidate, told.answers[0].trial.profile)
    """
    stage = stage or _silent
    _, members = groups_of(package)
    names = {group: member.name for group, member in members.items()}
    names = names or {key: row.name for key, row in package.materials.items()}
    reasons: dict[str, str] = {}
    if inferred is None:
        show = stage("Fitting the materials")
        show(0, 1)
        resolved = [resolve_take(package, take) for take in package.takes.values()]
        inferred = infer_again(package, resolved, findings.readings, findings.modes)
        show(1, 1)
    ground: Ground | None = None
    found: Found | None = None
    answers: tuple[Answer, ...] = ()
    stopped = False
    if search:
        try:
            ground = ground_of(package, learned, findings, wish)
        except PackageError as error:
            reasons["answers"] = str(error)
    if ground is not None:
        found = find_cones(ground, cores=cores, progress=stage("Trying shapes"), seed=seed, first=first, later=later)
        stopped = found.stopped
        if stopped and not found.trials:
            raise KeyboardInterrupt
        answers = choose(ground, found.trials)
        if not found.trials:
            reasons["answers"] = (
                f"none of {found.shapes} shapes within the limits can be printed; widen them, or test the overhang"
            )
        elif not stopped:
            ground, answers, stopped = _refined(ground, found, answers, inferred, cores, stage, seed)
    suggestions, questions = _suggestions(package, findings, inferred, names, ground, answers, stage, stopped, reasons)
    return NextPrint(
        package.campaign.campaign,
        suggestions,
        names,
        questions.figures,
        tuple(questions.open_gaps()),
        None if ground is None else ground.task.goal,
        answers,
        () if ground is None else ground.existing,
        found,
        () if ground is None else ground.said,
        reasons,
        stopped,
        None if ground is None else ground.task.rig.stop_hz,
    )


def _silent(title: str) -> Callable[[int, int], None]:
    """Report nothing."""
    return lambda done, total: None


def _refined(
    ground: Ground,
    found: Found,
    answers: tuple[Answer, ...],
    inferred: Inferred | None,
    cores: int | None,
    stage: Stage,
    seed: int,
) -> tuple[Ground, tuple[Answer, ...], bool]:
    """Answers chosen and looked at closely among possible prints, unless the maker stops: then as they are."""
    keys = [f.key for f in ground.task.filaments]
    covariance = None
    if inferred is not None and set(keys) <= set(inferred.observed.materials):
        covariance = Prospect(inferred).joint(tuple(keys))
    if covariance is None:
        covariance = block_diag(*(f.known.covariance for f in ground.task.filaments))  # known apart
    steps = filament_steps(covariance, keys, seed=seed)
    try:
        ground, sifted = sift(
            ground,
            found,
            filament_steps(covariance, keys, SIFTING, seed),
            cores=cores,
            progress=stage("Sifting the best"),
            seed=seed,
        )
        answers = choose(ground, sifted.trials)
        show = stage("Looking closely at the answers")
        return ground, refine(ground, answers, steps, cores=cores, progress=show, seed=seed), False
    except KeyboardInterrupt:
        return ground, answers, True


def _suggestions(
    package: Package,
    findings: Findings,
    inferred: Inferred | None,
    names: Mapping[str, str],
    ground: Ground | None,
    answers: tuple[Answer, ...],
    stage: Stage,
    stopped: bool,
    reasons: dict[str, str],
) -> tuple[tuple[Suggestion, ...], Questions]:
    group_of, _ = groups_of(package)
    drift = session_drift(findings.readings, take_times(package))
    questions = Questions(inferred, names, differences_of(findings, group_of, drift), _wanted(ground, answers, names))
    if inferred is None:
        reasons["materials"] = (
            "no material could be estimated (frusta analyse says why), so coupons and new shapes cannot be weighed"
        )
    if stopped:
        reasons["suggestions"] = "stopped before they were weighed; --questions-only weighs them alone"
        return (), questions
    profiles: dict[str, ConeProfile] = {}
    for key, row in package.profiles.items():
        try:
            profiles[key] = drawn_profile(row)
        except FrustaError:
            continue
    for number, answer in enumerate(answers, 1):
        profiles[NEW.format(number)] = answer.trial.profile
    seated: dict[str, tuple[str, str, int]] = {}
    for specimen in package.specimens.values():
        seatings = {t.seating for t in package.takes.values() if t.specimen == specimen.specimen}
        if specimen.specimen in group_of and specimen.profile and seatings:
            seated[specimen.specimen] = (group_of[specimen.specimen], specimen.profile, len(seatings))
    try:
        found = suggest(questions, candidates_of(questions, profiles, seated), stage("Weighing what would tell most"))
    except KeyboardInterrupt:
        reasons["suggestions"] = "stopped before they were weighed; --questions-only weighs them alone"
        return (), questions
    if not found:
        reasons["suggestions"] = (
            "no recorded cone has a profile; draw it in profiles.csv and name it in specimens.csv"
            if package.takes and not seated
            else "nothing was recorded yet, so no question is open; see frusta plan"
        )
    return found, questions


def _wanted(ground: Ground | None, answers: tuple[Answer, ...], names: Mapping[str, str]) -> Wanted | None:
    """The score of the best answer, else of the best cone there is."""
    if ground is None:
        return None
    by_key = {f.key: f for f in ground.task.filaments}
    if answers:
        trial = answers[0].trial
        gradient = score_gradient(ground.task, by_key[trial.key], trial.profile)
        ends = answers[0].score_95
        spread = 0.0 if ends is None else (ends[1] - ends[0]) / (2.0 * SIDES_95)
        return Wanted(trial.key, gradient, f"answer 1, {names.get(trial.key, trial.key)}", spread)
    if ground.existing:
        best = ground.existing[0]
        gradient = score_gradient(ground.task, best.contender.filament, best.contender.profile, best.contender.shape)
        return Wanted(best.group, gradient, f"{names.get(best.group, best.group)} in {best.profile_key}")
    return None
