"""What may cause a narrow feature below break-up, with a probability in words, and the one test that tells.

Each cause says where its feature should lie: a bell mode where the fitted cone has one, within what is uncertain
of it, damped as its plastic is; the rig where other cones have one too; a joint anywhere, but moving from seating to
seating; rocking anywhere below the held cone's own first rocking mode. Bayes' rule weighs them; priors are broad and
open.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from frusta.campaign.findings import BlipRow, ModeRow

LOWEST_HZ = 100.0
PRIOR = {
    "bell 2": 0.26,
    "bell 3": 0.21,
    "bell 4": 0.08,
    "rocking": 0.10,
    "joint": 0.10,
    "rig": 0.15,
    "harmonic": 0.05,
    "other": 0.05,
}
"""Before anything is looked at: an uneven wall has mostly few waves round the hoop."""
METHOD_SD = 0.006
"""Relative: an uneven wall moves its own bell mode by about its half per cent."""
SAME_HZ = 0.004
"""Relative: two recordings of one resonance agree within this, besides their own uncertainty."""
APART = 1.96 * math.sqrt(2.0)
"""Standard uncertainties of one recording that two of one resonance may lie apart."""
WIDEST = 0.03
"""Relative: a feature worse placed than this agrees with none for it."""
RIG_SEEN = 0.7
"""Probability that a resonance of the rig is found in one more cone's recording."""
HARMONIC_WIDTH = 0.01
LOSS_SD = 0.15
"""Relative: how well the loss factor of an uneven cone's bell mode is that of the even one's."""
LOSS_RANGE = math.log(0.3 / 0.003)
"""Of what rings and is none of the plastic: anything between, by its logarithm."""
LOSS_MISREAD = 0.1
"""Probability that a weak resonance's loss factor is not read rightly, whatever its uncertainty says."""
KIN_SEEN = 0.3
"""Probability that another cone of this rig and printer is uneven by as many waves, so that it is heard."""
KIN_WIDTH = 0.02
"""Relative: how well a bell mode lies in one cone over its forecast as in another."""
MOVED = 0.12
"""Relative: how far a joint may move between seatings and still be taken for the same feature."""

WORDS = ((0.9, "almost certain"), (0.6, "likely"), (0.3, "possible"), (0.1, "less likely"), (0.03, "unlikely"))


@dataclass(frozen=True)
class BellForecast:
    """One mode of the fitted cone, neck held: order, frequency, loss factor where known, standard uncertainties."""

    order: int
    frequency_hz: float
    frequency_hz_u: float
    loss_factor: float | None = None
    loss_factor_u: float = 0.0


@dataclass(frozen=True)
class ConeContext:
    """What is known of the cone of one take.

    Parameters
    ----------
    specimen : str
    kind : str
    rig : str
    seating : int
    alike : str
        Cones of one material and profile share this word: their own resonances coincide.
    bells : tuple of BellForecast
        Of the fitted cone, orders 1 to 4; empty where there is none.
    breakup_hz : float or None
    harmonics_apart : bool
        Whether the sweep keeps harmonics out of the linear response.
    """

    specimen: str
    kind: str
    rig: str
    seating: int
    alike: str
    bells: tuple[BellForecast, ...] = ()
    breakup_hz: float | None = None
    harmonics_apart: bool = True


@dataclass(frozen=True)
class Weighed:
    """Causes of one feature by falling probability, and the test that separates the first two."""

    probability: dict[str, float]
    candidates: tuple[str, ...]
    test: str
    seen_in: tuple[str, ...] = field(default=())

    @property
    def order(self) -> int | None:
        """Circumferential order of a bell mode that is almost certain; else None."""
        for cause, probability in self.probability.items():
            if cause.startswith("bell ") and probability >= WORDS[0][0]:
                return int(cause.split()[1])
        return None


def weigh_blips(blips: Sequence[BlipRow], contexts: Mapping[str, ConeContext]) -> list[Weighed]:
    """Return the causes of every narrow feature of a campaign.

    Parameters
    ----------
    blips : sequence of BlipRow
        Of all takes.
    contexts : mapping of str to ConeContext
        By take, of every take that was read, those without features too.
    """
    by_take: dict[str, list[float]] = {take: [] for take in contexts}
    for blip in blips:
        by_take.setdefault(blip.take, []).append(blip.frequency_hz)
    return [_weigh(blip, contexts, by_take) for blip in blips]


def with_candidates(blips: Sequence[BlipRow], causes: Sequence[Weighed]) -> tuple[BlipRow, ...]:
    """Return the rows with candidates and test filled in.

    Parameters
    ----------
    blips : sequence of BlipRow
    causes : sequence of Weighed
        From `weigh_blips`, one a row.
    """
    return tuple(
        blip.model_copy(update={"candidates": found.candidates, "test": found.test})
        for blip, found in zip(blips, causes, strict=True)
    )


def with_orders(modes: Sequence[ModeRow], blips: Sequence[BlipRow], causes: Sequence[Weighed]) -> tuple[ModeRow, ...]:
    """Return the modes, the order of those that are almost certainly bell modes filled in.

    Parameters
    ----------
    modes : sequence of ModeRow
    blips : sequence of BlipRow
    causes : sequence of Weighed
        From `weigh_blips`, one a blip.
    """
    bells = {
        (blip.take, round(blip.frequency_hz, 3)): found.order
        for blip, found in zip(blips, causes, strict=True)
        if found.order is not None
    }
    return tuple(
        mode.model_copy(update={"circumferential_order": bells[place]})
        if (place := (mode.take, round(mode.frequency_hz, 3))) in bells
        else mode
        for mode in modes
    )


def _weigh(blip: BlipRow, contexts: Mapping[str, ConeContext], by_take: Mapping[str, list[float]]) -> Weighed:
    own = contexts[blip.take]
    top_hz = max(own.breakup_hz or 4000.0, 1.05 * blip.frequency_hz)
    broad = 1.0 / math.log(top_hz / LOWEST_HZ)
    width = min(math.hypot(SAME_HZ, APART * (blip.frequency_hz_u or 0.0) / blip.frequency_hz), WIDEST)
    rig_ratio, seen, asked = rig_evidence(blip.take, blip.frequency_hz, contexts, by_take, top_hz, width)
    joint_ratio = joint_evidence(blip.take, blip.frequency_hz, contexts, by_take, width)
    stays = 1.0 / max(joint_ratio, 1.0)
    weights: dict[str, float] = {}
    for bell in own.bells:
        if bell.order >= 2:
            name = f"bell {bell.order}"
            sd = math.hypot(bell.frequency_hz_u / bell.frequency_hz, METHOD_SD)
            density = normal_density(math.log(blip.frequency_hz / bell.frequency_hz), sd)
            density *= loss_evidence(blip, bell) * kin_evidence(blip, bell, contexts, by_take, top_hz)
            weights[name] = weights.get(name, 0.0) + PRIOR[name] * density * stays
    if not own.bells and own.kind != "check":
        weights["bell"] = (PRIOR["bell 2"] + PRIOR["bell 3"] + PRIOR["bell 4"]) * broad * stays
    held = min((bell.frequency_hz for bell in own.bells if bell.order == 1), default=top_hz)
    if blip.frequency_hz < 1.02 * held:
        weights["rocking"] = PRIOR["rocking"] / math.log(max(held, 2.0 * LOWEST_HZ) / LOWEST_HZ)
    weights["joint"] = PRIOR["joint"] * broad * joint_ratio
    weights["rig"] = PRIOR["rig"] * broad * rig_ratio * stays
    weights["other"] = PRIOR["other"] * broad * stays
    weights["harmonic"] = PRIOR["harmonic"] * _harmonic_density(blip, own, broad)
    total = sum(weights.values())
    share = {k: w / total for k, w in sorted(weights.items(), key=lambda item: (-item[1], item[0]))}
    told = [(cause, p) for cause, p in share.items() if p >= WORDS[-1][0]]
    candidates = tuple(_candidate(cause, p, blip, own, seen, asked) for cause, p in told)
    return Weighed(share, candidates, _test(told, own), seen)


def normal_density(distance: float, sd: float) -> float:
    """Return the density of a normal deviate, mean 0."""
    return math.exp(-0.5 * (distance / sd) ** 2) / (sd * math.sqrt(2.0 * math.pi))


def _close(a_hz: float, b_hz: float, width: float) -> bool:
    return abs(math.log(a_hz / b_hz)) <= width


def rig_evidence(
    own_take: str,
    frequency_hz: float,
    contexts: Mapping[str, ConeContext],
    by_take: Mapping[str, list[float]],
    top_hz: float,
    width: float,
) -> tuple[float, tuple[str, ...], int]:
    """Return what the other cones on a rig say of a feature.

    Cones of the same material and profile are not asked: their own resonances lie there too.

    Parameters
    ----------
    own_take, frequency_hz
        Of the feature.
    contexts : mapping of str to ConeContext
        By take.
    by_take : mapping of str to list of float
        Where the features of every take lie, Hz.
    top_hz : float
        End of the range that features were looked for in.
    width : float
        Relative: how well two recordings of one feature agree.

    Returns
    -------
    ratio : float
        Likelihood ratio of the rig over chance.
    seen : tuple of str
        Specimens that show the feature.
    asked : int
        Specimens that were asked.
    """
    own = contexts[own_take]
    others: dict[str, list[list[float]]] = {}
    for take, context in contexts.items():
        if context.rig == own.rig and context.alike != own.alike and (context.breakup_hz or 1e9) > frequency_hz:
            others.setdefault(context.specimen, []).append(by_take.get(take, []))
    ratio, seen = 1.0, []
    for specimen, takes in others.items():
        found = any(_close(f, frequency_hz, width) for f in (f for take in takes for f in take))
        count = max(len(take) for take in takes) if takes else 0
        chance = min(max(count * 2.0 * width / math.log(top_hz / LOWEST_HZ), 0.01), 0.5)
        ratio *= RIG_SEEN / chance if found else (1.0 - RIG_SEEN) / (1.0 - chance)
        if found:
            seen.append(specimen)
    return ratio, tuple(seen), len(others)


def joint_evidence(
    own_take: str,
    frequency_hz: float,
    contexts: Mapping[str, ConeContext],
    by_take: Mapping[str, list[float]],
    width: float,
) -> float:
    """Return the likelihood ratio of a joint from the specimen's other seatings.

    There again is against it, moved is for it. Parameters as for `rig_evidence`.
    """
    own = contexts[own_take]
    ratio = 1.0
    for take, context in contexts.items():
        if context.specimen != own.specimen or context.seating == own.seating:
            continue
        near = [f for f in by_take.get(take, []) if _close(f, frequency_hz, MOVED)]
        if any(_close(f, frequency_hz, width) for f in near):
            ratio *= 0.1
        elif near:
            ratio *= 4.0
    return min(max(ratio, 1e-3), 30.0)


def loss_evidence(blip: BlipRow, bell: BellForecast) -> float:
    """Return the likelihood ratio of a bell mode from how fast the feature falls silent.

    A bell mode is the plastic's own and damped as it is; joint, rig and rocking are damped by anything.

    Parameters
    ----------
    blip : BlipRow
    bell : BellForecast
    """
    if blip.loss_factor is None or not blip.loss_factor_u or bell.loss_factor is None:
        return 1.0
    sd = math.hypot(blip.loss_factor_u / blip.loss_factor, bell.loss_factor_u / bell.loss_factor, LOSS_SD)
    as_plastic = normal_density(math.log(blip.loss_factor / bell.loss_factor), sd) * LOSS_RANGE
    return (1.0 - LOSS_MISREAD) * as_plastic + LOSS_MISREAD


def kin_evidence(
    blip: BlipRow,
    bell: BellForecast,
    contexts: Mapping[str, ConeContext],
    by_take: Mapping[str, list[float]],
    top_hz: float,
) -> float:
    """Return the likelihood ratio of a bell mode from the other printed cones of the rig.

    The waves round a wall are the printer's: other cones may have the same bell mode, each at its own frequency. What
    one cone alone shows is less likely one.

    Parameters
    ----------
    blip : BlipRow
    bell : BellForecast
    contexts : mapping of str to ConeContext
        By take.
    by_take : mapping of str to list of float
        Where the features of every take lie, Hz.
    top_hz : float
        End of the range that features were looked for in.
    """
    own = contexts[blip.take]
    over = math.log(blip.frequency_hz / bell.frequency_hz)
    kin: dict[str, list[str]] = {}
    for take, context in contexts.items():
        if context.rig == own.rig and context.kind == "cone" and context.specimen != own.specimen:
            kin.setdefault(context.specimen, []).append(take)
    ratio = 1.0
    for takes in kin.values():
        count = max(len(by_take.get(take, [])) for take in takes)
        chance = min(max(count * 2.0 * KIN_WIDTH / math.log(top_hz / LOWEST_HZ), 0.03), 0.5)
        found = any(
            abs(math.log(hertz / other.frequency_hz) - over) < KIN_WIDTH
            for take in takes
            for other in contexts[take].bells
            if other.order == bell.order
            for hertz in by_take.get(take, [])
        )
        ratio *= KIN_SEEN / chance if found else (1.0 - KIN_SEEN) / (1.0 - chance)
    return ratio


def _harmonic_density(blip: BlipRow, own: ConeContext, broad: float) -> float:
    """A harmonic lands on a mode at two or three times the frequency; a true sweep keeps it out of the response."""
    targets = [bell.frequency_hz for bell in own.bells if bell.order >= 2]
    if own.breakup_hz is not None:
        targets.append(own.breakup_hz)
    density = sum(
        normal_density(math.log(times * blip.frequency_hz / target), HARMONIC_WIDTH)
        for target in targets
        for times in (2.0, 3.0)
    )
    return (0.02 if own.harmonics_apart else 1.0) * (density / max(2.0 * len(targets), 1.0) if targets else broad)


def _candidate(cause: str, probability: float, blip: BlipRow, own: ConeContext, seen: Sequence[str], asked: int) -> str:
    word = next(word for least, word in WORDS if probability >= least)
    return f"{_cause_words(cause, blip, own, seen, asked)}: {word}"


def _cause_words(cause: str, blip: BlipRow, own: ConeContext, seen: Sequence[str], asked: int) -> str:
    if cause.startswith("bell "):
        order = int(cause.split()[1])
        near = min(
            (bell for bell in own.bells if bell.order == order),
            key=lambda bell: abs(math.log(bell.frequency_hz / blip.frequency_hz)),
        )
        return (
            f"bell mode n = {order} of the rim (forecast {near.frequency_hz:.0f} ± {1.96 * near.frequency_hz_u:.0f} Hz)"
        )
    if cause == "bell":
        return "bell mode of the rim (no fitted cone to forecast it)"
    if cause == "rocking":
        return "rocking on the suspension"
    if cause == "joint":
        return "joint at the neck"
    if cause == "harmonic":
        return "harmonic landing on a mode"
    if cause == "other":
        return "none of the causes known here"
    if asked:
        return f"rig ({len(seen)} of {asked} other cones show it)"
    return "rig"


def _test(told: Sequence[tuple[str, float]], own: ConeContext) -> str:
    """The one test that separates the two likeliest causes."""
    names = [cause.split()[0] for cause, _ in told[:2]]
    if "harmonic" in names:
        return "change the level: a harmonic rises twice as fast or more, a resonance with the level"
    if names == ["bell", "bell"]:
        return "tap the rim and move the microphone round it: n maxima and n minima on half a turn for order n"
    if "rocking" in names:
        return "move the microphone off axis: rocking grows with the angle and vanishes on the axis, others do not"
    if "joint" in names and "rig" in names:
        return "push the cone on anew and turn it a quarter: a joint moves, the rig stays"
    if own.kind == "check" or names == ["rig"]:
        return "turn the cone a quarter: the rig's feature stays as it is"
    return "tap the rim, drive off: a bell mode rings at this frequency, joint and rig do not"
