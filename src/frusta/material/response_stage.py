"""The complex response as a guarded second stage: what it adds to a pole fit is taken only if it agrees with it.

Poles, masses and coupons come first. The responses then may move the unknowns within what is left open, with low
weight (see `frusta.material.response_fit`). They are believed if they contradict neither the pole fit nor each other
and if what is left of them is no larger than what a model lacks; otherwise the pole fit stands, and a note says so.
A material that they contradict has two answers, and its uncertainty then covers both: a bell mode that pulls on a
neighbour without being heard is absorbed by the moduli while the poles look fine, but not the strengths of modes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from frusta.material.estimate import MaterialEstimate, coordinates_map
from frusta.material.forward import Unknowns
from frusta.material.observations import CampaignObserved
from frusta.material.response_fit import ResponseFit, fit_responses
from frusta.material.response_rows import ResponseRows, response_rows
from frusta.material.solve import Fit

Floats = NDArray[np.float64]

AGREEING, CONTRADICTING = 2.0, 2.5
"""Of any figure of a material: its move, in standard deviations of the move that the responses' own weight allows."""
HALVES_AGREEING = 2.0
"""Standard deviations of halves of the cones from each other."""
UNLIKELY = 3.0
"""Standard deviations of the squared move of all unknowns from what it should be."""
KEPT = 0.25
"""Share of the pole fit's covariance that stays: what pulls modes bends responses, too, and both come from one take."""
MASSES_APART, MASSES_SIGMAS = 0.1, 3.0
"""|ln| of density, and standard deviations of its move, by which responses that contradict modes and masses refuse a
material: five times what scales, walls and tables are off together."""
LARGEST_ERROR = 0.06
"""Nepers (0.5 dB): a middling take that differs by more is not the response of this cone on this rig."""
CHECKED_OCTAVE = 6.0
"""Bands, an octave, in which what is left is looked at."""
STRANGE = 0.12
"""Nepers (1 dB): in a band, in every seating of a cone, worth a note."""
LEAST_TOLD = 0.05
"""Share of a variance that responses must take away before they are thought to have an answer of their own."""
COVERED = (
    "something pulls on modes that the model lacks, such as a bell mode that is not heard; its u covers what modes and "
    "what responses say: tap an upright stick"
)
MISPLACED_M = 4e-3
"""A microphone this far from where the table has it is worth a note."""


@dataclass(frozen=True)
class SecondStage:
    """What responses said.

    Parameters
    ----------
    fit : ResponseFit
    accepted : bool
    why : str
        Where they do not agree; empty where they do.
    contradicted : tuple of str
        Materials about which responses and poles contradict each other.
    notes : dict of str to tuple of str
        By material: what a reader of its estimate should know.
    """

    fit: ResponseFit
    accepted: bool
    why: str
    contradicted: tuple[str, ...]
    notes: dict[str, tuple[str, ...]]


def second_stage(observed: CampaignObserved, fit: Fit) -> SecondStage | None:
    """Return what the responses of a campaign say of a pole fit; None where fewer than two cones have one.

    Parameters
    ----------
    observed : CampaignObserved
    fit : Fit
        Of it.
    """
    rows = [
        row
        for cone in observed.cones
        for row in response_rows(observed, cone, fit.unknowns, fit.computed[cone.key], fit.assigned[cone.key])
    ]
    if len({row.cone for row in rows}) < 2:
        return None
    found = fit_responses(rows, fit.covariance, {cone.key: cone.profile for cone in observed.cones})
    unfit = _unfit(found, rows)
    against = () if unfit else tuple(key for key in observed.materials if moved_far(fit, found, key) > CONTRADICTING)
    why = "; ".join(_objections(observed, fit, found, unfit))
    return SecondStage(found, not why, why, against, _notes(observed, found, rows, why, against))


def refined(fit: Fit, stage: SecondStage | None) -> Fit:
    """Return a pole fit with what the responses add, or as it is where they are not believed.

    Modes and residuals stay those of the pole fit.
    """
    if stage is None:
        return fit
    if not stage.accepted:
        return replace(fit, covariance=_covering(fit, stage))
    values = np.maximum(fit.unknowns.values + stage.fit.moved, fit.prior.low)
    covariance = KEPT * fit.covariance + 0.5 * (1.0 - KEPT) * (stage.fit.covariance + stage.fit.covariance.T)
    return replace(fit, unknowns=Unknowns(fit.unknowns.parameters, values), covariance=covariance)


def noted(estimates: dict[str, MaterialEstimate], stage: SecondStage | None) -> dict[str, MaterialEstimate]:
    """Return estimates with what the responses said of them among their notes."""
    if stage is None:
        return estimates
    return {
        key: replace(estimate, notes=(*estimate.notes, *stage.notes.get(key, ())))
        for key, estimate in estimates.items()
    }


def misweighed(fit: Fit, stage: SecondStage | None) -> dict[str, str]:
    """Return materials whose masses the responses contradict, each with the reason.

    Modes tell stiffness over density, and all masses of a material that are wrong alike pass unseen: its moduli are
    then wrong by as much. How loud modes are against each other, and the air's share in them, tells the density apart.

    Parameters
    ----------
    fit : Fit
        Of the poles.
    stage : SecondStage or None
    """
    if stage is None:
        return {}
    found = {}
    for key in stage.contradicted:
        place = fit.prior.names("material", key)["density_kg_m3"]
        known, gap = _gaps(fit, stage, [place])
        sigmas = abs(float(stage.fit.moved[place])) / math.sqrt(
            max(float(known[0] * fit.covariance[place, place]), 1e-30)
        )
        if sigmas > MASSES_SIGMAS and abs(float(gap[0])) > MASSES_APART:
            found[key] = (
                f"its complex responses ask for a density {100.0 * float(gap[0]):+.0f} % from what its masses say: "
                "check mass_g (the cone without its coil) and coil_mass_g of all its cones"
            )
    return found


def _gaps(fit: Fit, stage: SecondStage, places: list[int]) -> tuple[Floats, Floats]:
    """How much of an unknown the responses tell (0 to 1), and how far their own answer lies from the pole fit's.

    A move from u to v is the part 1 − v²/u² of the way to what responses alone would say.
    """
    known = 1.0 - np.diag(stage.fit.covariance)[places] / np.diag(fit.covariance)[places]
    return known, np.where(known > LEAST_TOLD, stage.fit.moved[places] / np.maximum(known, LEAST_TOLD), 0.0)


def _covering(fit: Fit, stage: SecondStage) -> Floats:
    """The pole fit's covariance, of contradicted materials widened by the gap between both answers."""
    covariance = fit.covariance.copy()
    for key in stage.contradicted:
        places = list(fit.prior.names("material", key).values())
        _, gap = _gaps(fit, stage, places)
        covariance[np.ix_(places, places)] += np.outer(gap, gap)
    return covariance


def _unfit(found: ResponseFit, rows: list[ResponseRows]) -> str:
    """What is wrong with the responses themselves, if anything."""
    error = float(np.median([_size(found, row) for row in rows]))
    if error <= LARGEST_ERROR:
        return ""
    low, high, size = _worst_band(found, rows)
    return (
        f"half of the takes differ from the fitted cones by more than {_db(error):.1f} dB, most from {low:.0f} to "
        f"{high:.0f} Hz ({_db(size):.1f} dB)"
    )


def _objections(observed: CampaignObserved, fit: Fit, found: ResponseFit, unfit: str) -> list[str]:
    """Every reason not to believe the responses, the gravest first."""
    said = [unfit] if unfit else []
    for key in observed.materials:
        far = moved_far(fit, found, key)
        if far > AGREEING:
            said.append(f"they ask {key} to move {far:.1f} times as far as modes and masses make likely")
    told = np.linalg.solve(fit.covariance, fit.covariance - found.covariance)
    square = float(found.moved @ np.linalg.solve(fit.covariance, found.moved))
    if square > np.trace(told) + UNLIKELY * math.sqrt(2.0 * float(np.sum(told * told.T))):
        said.append("they ask all unknowns together to move farther than modes and masses allow")
    for key in observed.materials:
        apart = halves_apart(fit, found, key)
        if apart > HALVES_AGREEING:
            said.append(f"halves of the cones contradict each other about {key} by {apart:.1f} standard deviations")
    return said


def moved_far(fit: Fit, found: ResponseFit, material: str) -> float:
    """Return the largest move of a material's figures, in standard deviations of that move.

    A figure known to within u that comes to be known to within v moves by √(u² − v²), 1 sd, and so never by more
    than `AGREEING` u where it is used.
    """
    table = coordinates_map(fit.prior, material)
    before = np.diag(table @ fit.covariance @ table.T)
    told = before - np.diag(table @ found.covariance @ table.T)
    return float(np.max(np.abs(table @ found.moved) / np.sqrt(np.maximum(told, 1e-3 * before))))


def halves_apart(fit: Fit, found: ResponseFit, material: str) -> float:
    """Return how far the halves' figures of a material lie apart, in standard deviations of that difference.

    Both halves share the pole fit as their prior: with moves m = C N e + (I − C P) t of a truth t ~ N(0, P⁻¹) and
    noise e ~ N(0, N⁻¹), N = C⁻¹ − P.
    """
    odd, even = found.halves
    prior = np.linalg.inv(fit.covariance)
    table = coordinates_map(fit.prior, material)
    across = table @ (odd.covariance - even.covariance) @ prior
    variance = across @ fit.covariance @ across.T
    for half in (odd, even):
        mine = table @ half.covariance
        variance += mine @ table.T - mine @ prior @ mine.T
    apart = table @ (odd.moved - even.moved)
    own = np.diag(table @ fit.covariance @ table.T)
    return float(np.max(np.abs(apart) / np.sqrt(np.maximum(np.diag(variance), 1e-4 * own))))


def _notes(
    observed: CampaignObserved, found: ResponseFit, rows: list[ResponseRows], why: str, against: tuple[str, ...]
) -> dict[str, tuple[str, ...]]:
    if why:
        shared = [f"the complex responses do not agree with the modes and are not used: {why}"]
    else:
        shared = ["the complex responses agree with modes and masses and are used"]
    shared += [
        f"the responses ask for a microphone {1e3 * abs(off):.0f} ± {1e3 * found.distance_u_m[rig]:.0f} mm "
        f"{'farther' if off > 0.0 else 'nearer'} than rigs.csv has it on {rig}"
        for rig, off in found.distance_m.items()
        if abs(off) > max(MISPLACED_M, 3.0 * found.distance_u_m[rig])
    ]
    notes = {}
    for key in observed.materials:
        own = [cone.key for cone in observed.cones if cone.material == key]
        wide = [COVERED] if key in against else []
        notes[key] = tuple(shared + wide + [text for cone in own for text in _strange(found, rows, cone)])
    return notes


def _strange(found: ResponseFit, rows: list[ResponseRows], cone: str) -> list[str]:
    """Where a cone's response is strange in each of its seatings."""
    own = [row for row in rows if row.cone == cone]
    if not own:
        return []
    bands = [_bands(found, row) for row in own]
    count = min(len(sizes) for _, sizes in bands)
    least = np.min([sizes[:count] for _, sizes in bands], axis=0)
    if count == 0 or np.nanmax(least) < STRANGE:
        return []
    worst = int(np.nanargmax(least))
    low, high = bands[0][0][worst], bands[0][0][worst + 1]
    return [
        f"the response of {cone} differs by {_db(float(least[worst])):.1f} dB from {low:.0f} to {high:.0f} Hz: "
        "something is heard there that an even cone does not do"
    ]


def _bands(found: ResponseFit, row: ResponseRows) -> tuple[Floats, Floats]:
    """Edges of bands, Hz, and the size of what is left in each."""
    low, high = row.frequency_hz[0], row.frequency_hz[-1]
    count = int(np.floor(CHECKED_OCTAVE * np.log2(high / low)))
    edges = low * 2.0 ** (np.arange(count + 1) / CHECKED_OCTAVE)
    place = np.searchsorted(edges, row.frequency_hz, side="right") - 1
    left = np.abs(found.left[row.seating]) ** 2
    sizes = [math.sqrt(0.5 * float(np.mean(left[place == i]))) if np.any(place == i) else 0.0 for i in range(count)]
    return edges, np.array(sizes)


def _worst_band(found: ResponseFit, rows: list[ResponseRows]) -> tuple[float, float, float]:
    """Where the takes differ most, on average."""
    sums: dict[int, list[float]] = {}
    for row in rows:
        for i, size in enumerate(_bands(found, row)[1]):
            sums.setdefault(i, []).append(size)
    worst = max(sums, key=lambda i: float(np.mean(sums[i])))
    edges = _bands(found, rows[0])[0]
    low = float(edges[0] * 2.0 ** (worst / CHECKED_OCTAVE))
    return low, low * 2.0 ** (1.0 / CHECKED_OCTAVE), float(np.mean(sums[worst]))


def _size(found: ResponseFit, row: ResponseRows) -> float:
    """What is left of one take, root mean square of a part, by the points' worth."""
    square = np.abs(found.left[row.seating]) ** 2
    return math.sqrt(0.5 * float(np.average(square, weights=row.worth)))


def _db(nepers: float) -> float:
    return 20.0 * nepers / math.log(10.0)
