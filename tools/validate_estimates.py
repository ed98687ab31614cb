"""Are estimates honest? Simulate campaigns with models that are wrong in every way a bench is, and count.

    python tools/validate_estimates.py [--campaigns 200] [--first 1] [--cores 2] [--write docs/validation.md] [--beads]

Every campaign has other plastics (whose ratios of moduli differ widely), shapes, sizes, coils, rig and noise. What is
simulated is wrong for the model that fits it: prints scatter, shapes are off their drawings, the air is denser or
thinner, the table's density, motor, suspension and coils are a little off, the joint is unknown and differs by
seating, walls are uneven so that bell modes show and pull, modes are missed, merged or spurious, and what the mode fit
says of its own uncertainty is only roughly right. Complex responses have the rig's gain in them (bumps of a decibel, a
tilt), a microphone that stands elsewhere, a ripple that the model lacks, noise and another level each. Poles and
responses come from `frusta.cone`, so this judges the inference and not the physics; that is what the independent
campaigns of the reference data are for.
"""

from __future__ import annotations

import argparse
import importlib
import json
import math
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from frusta.bench.unevenness import with_uneven_wall
from frusta.bench.virtual_cone import PrintScatter, ShapeError, print_cone
from frusta.campaign.parallel import map_batches
from frusta.cone.beads import BeadBuilt
from frusta.cone.driver import Bench, Coil, Driver, Joint, Motor, build_driver, response
from frusta.cone.elasticity import Elastic
from frusta.cone.medium import air_at
from frusta.cone.poles import find_poles
from frusta.cone.profile import ConeProfile
from frusta.errors import FrustaError
from frusta.material.estimate import FIGURE_OF
from frusta.material.forward import prominence_db
from frusta.material.infer import infer
from frusta.material.knowledge import COORDINATES, coordinates_of
from frusta.material.observations import (
    CampaignObserved,
    ConeObserved,
    MaterialGiven,
    RecordedModes,
    RecordedResponse,
    RigObserved,
    SeatingObserved,
)

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

HEARD_DB = -18.0
BAND_HZ = (800.0, 15.5e3)


@dataclass(frozen=True)
class Outcome:
    """One figure of one material of one campaign; error and u relative."""

    seed: int
    kind: str
    material: str
    figure: str
    error: float
    u: float
    identified: bool
    against_prints: float


def filament(rng: np.random.Generator) -> Elastic:
    """Any plastic; the ratios are drawn far wider than those of the reference campaigns."""
    hoop = float(np.exp(rng.uniform(math.log(0.9e9), math.log(5.0e9))))
    return Elastic(
        hoop,
        hoop * float(rng.uniform(0.50, 1.0)),
        hoop * float(rng.uniform(0.20, 0.38)),
        float(rng.uniform(0.32, 0.42)),
        float(rng.uniform(0.28, 0.38)),
        float(rng.uniform(900.0, 1300.0)),
        float(np.exp(rng.uniform(math.log(0.012), math.log(0.06)))),
    )


def drawing(rng: np.random.Generator, neck_m: float) -> ConeProfile:
    """A cone of 55 to 100 mm."""
    shape: Literal["straight", "concave", "convex"] = ("straight", "concave", "convex")[int(rng.integers(3))]
    rim = neck_m + float(rng.uniform(0.018, 0.035))
    depth = (rim - neck_m) * float(rng.uniform(0.7, 1.1))
    bow = {"straight": 0.0, "concave": -1.0, "convex": 1.0}[shape] * float(rng.uniform(0.05, 0.10)) * depth
    rule: Literal["normal", "line"] = "line" if rng.uniform() < 0.3 else "normal"
    wall = float(rng.uniform(0.0006, 0.0011)) * (1.35 if rule == "line" else 1.0)
    return ConeProfile(shape, neck_m, rim, depth, bow, wall, rule)


def near(rng: np.random.Generator, value: float, relative: float) -> float:
    """A value off by a relative standard deviation."""
    return value * math.exp(relative * float(rng.standard_normal()))


def recorded(rng: np.random.Generator, driver: Driver, frequency_sd: float, loss_sd: float) -> RecordedModes:
    """What a mode fit makes of a driver's poles."""
    poles = find_poles(driver, *BAND_HZ)
    loud = prominence_db(poles)
    keep = (loud > HEARD_DB) & (rng.uniform(size=len(loud)) > 0.03)
    for i in np.flatnonzero(keep):
        apart = np.abs(poles.frequency_hz / poles.frequency_hz[i] - 1.0)
        keep[i] &= not np.any((apart > 0.0) & (apart < 0.5 * poles.loss_factor) & (loud > loud[i]))
    weak = 10.0 ** (np.maximum(6.0 - loud[keep], 0.0) / 20.0)
    sd_f, sd_loss = 2e-5 + frequency_sd * weak, 2e-3 + loss_sd * weak
    frequency = poles.frequency_hz[keep] * (1.0 + sd_f * rng.standard_normal(keep.sum()))
    loss = poles.loss_factor[keep] * np.exp(sd_loss * rng.standard_normal(keep.sum()))
    rough = np.exp(0.3 * rng.standard_normal(keep.sum()))
    rows = np.stack([frequency, frequency * sd_f * rough, loss, loss * sd_loss * rough, loud[keep]])
    if rng.uniform() < 0.05:
        stray = float(np.exp(rng.uniform(math.log(3e3), math.log(14e3))))
        rows = np.column_stack([rows, [stray, 3e-4 * stray, 0.03, 3e-3, -14.0]])
    return RecordedModes(*rows[:, np.argsort(rows[0])])


def seeded(seed: int, *words: str) -> np.random.Generator:
    """A generator of its own, so that what it draws changes nothing else."""
    return np.random.default_rng([20262, seed, *" ".join(words).encode()])


def rig_gain(seed: int, session: str, hertz: Floats) -> Complexes:
    """ln gain of a rig in a session: three broad bumps of the microphone, the amplifier's tilt."""
    microphone, amplifier = seeded(seed, "microphone"), seeded(seed, "amplifier", session)
    octave = np.log2(hertz / 1000.0)
    gain = (float(amplifier.normal(0.0, 0.03)) + 1j * float(amplifier.normal(0.0, 0.02))) * octave
    for _ in range(3):
        at, wide = float(microphone.uniform(0.5, 4.0)), float(microphone.uniform(0.6, 1.2))
        bump = float(microphone.normal(0.0, 0.09)) * np.exp(-0.5 * ((octave - at) / wide) ** 2)
        gain = gain + (1.0 + 1j * float(microphone.normal(0.0, 0.6))) * bump
    return gain


def ripple(seed: int, drawing: str, hertz: Floats) -> Complexes:
    """What a model lacks of ln H in every cone of a drawing: 0.07 dB, alike over a sixth of an octave."""
    rng = seeded(seed, "ripple", drawing)
    nodes = np.arange(-20.0, 40.0)
    parts = [np.interp(6.0 * np.log2(hertz / 1000.0), nodes, rng.normal(0.0, 0.008, len(nodes))) for _ in range(2)]
    return parts[0] + 1j * parts[1]


def response_of(seed: int, label: str, session: str, drawing: str, driver: Driver) -> RecordedResponse:
    """What the gated response of a take is, 24 points an octave."""
    rng, shared = seeded(seed, label), seeded(seed, "gate and place")
    gate_s, off_m = float(shared.uniform(0.004, 0.008)), float(shared.normal(0.0, 2e-3))
    hertz = 1000.0 * 2.0 ** (np.arange(-48, 96) / 24.0)
    hertz = hertz[hertz < min(driver.top_hz, 16e3)]
    place_m = driver.bench.microphone_distance_m + off_m + float(rng.normal(0.0, 1e-3))
    pressure = response(replace(driver, bench=replace(driver.bench, microphone_distance_m=place_m)), hertz)
    noise_db = float(rng.uniform(-64.0, -58.0)) if seed % 2 == 0 else -75.0
    times = rng.uniform(0.0, gate_s, 200)  # white noise behind a gate: alike over one over its length
    noise = np.exp(-2j * np.pi * hertz[:, None] * times) @ rng.standard_normal(200) / math.sqrt(200.0)
    pressure = pressure * np.exp(rig_gain(seed, session, hertz) + ripple(seed, drawing, hertz))
    pressure = pressure + 10.0 ** (noise_db / 20.0) * float(np.sqrt(np.mean(np.abs(pressure) ** 2))) * noise
    late_s = float(rng.uniform(-2e-5, 2e-5)) - driver.arrival_s
    moved = float(np.exp(rng.normal(0.0, 0.07))) * np.exp(-2j * np.pi * hertz * late_s)
    return RecordedResponse(hertz, np.asarray(pressure * moved, dtype=np.complex128), gate_s, session)


def simulate(
    seed: int, beads: bool = False
) -> tuple[CampaignObserved, dict[str, Elastic], dict[str, list[Elastic]], str]:
    """Return what a bench would know of a random campaign, its filaments, its prints, and how hard it is.

    With `beads` all walls are built of beads, which is not what an estimate takes them for.
    """
    rng = np.random.default_rng([20261, seed])
    hard = seed % 2 == 0
    neck = float(rng.uniform(0.010, 0.017))
    filaments = {f"m{i}": filament(rng) for i in range(int(rng.integers(2, 4)))}
    if beads:
        filaments = {key: BeadBuilt.of(elastic) for key, elastic in filaments.items()}
    drawings = {f"p{i}": drawing(rng, neck) for i in range(int(rng.integers(2, 4)))}
    motor = Motor(float(rng.uniform(2.8, 5.5)), float(rng.uniform(1800.0, 5000.0)), float(rng.uniform(0.4, 1.2)))
    bench = Bench("free", round(float(rng.uniform(0.09, 0.25)), 3))
    joint = 1.0 / float(rng.uniform(12e6, 45e6)) if hard else 0.0
    coil = Coil(float(rng.uniform(0.0018, 0.004)), float(rng.uniform(3.5, 7.5)), float(rng.uniform(0.5e-4, 3e-4)))
    sds = (float(rng.uniform(2e-5, 1e-4)), float(rng.uniform(1e-3, 7e-3))) if hard else (1e-5, 1e-3)
    thicker_air = near(rng, 1.0, 0.01)
    errors = {
        key: ShapeError(*(float(s * rng.standard_normal()) for s in (1e-4, 8e-5, 0.015))) if hard else ShapeError()
        for key in drawings
    }
    uneven = {key: tuple((n, float(rng.uniform(0.0, 0.06))) for n in (2, 3)) for key in filaments}
    cones, prints = [], dict[str, list[Elastic]]()
    for name, elastic in filaments.items():
        for key, drawn in drawings.items():
            for number in range(1, int(rng.integers(1, 3)) + 1):
                own = replace(
                    coil, mass_kg=near(rng, coil.mass_kg, 0.01), resistance_ohm=near(rng, coil.resistance_ohm, 0.015)
                )
                cone = print_cone(drawn, elastic, own, PrintScatter(), rng, errors[key])
                prints.setdefault(name, []).append(cone.elastic)
                seatings = []
                for turn in (1, 2):
                    temperature = float(rng.normal(20.0, 1.5)) if hard else 20.0
                    air = air_at(temperature, 50.0)
                    seated = replace(
                        motor, suspension_resistance_ns_m=near(rng, motor.suspension_resistance_ns_m, 0.08)
                    )
                    driver = build_driver(
                        cone.profile,
                        _warm(cone.elastic, temperature),
                        seated,
                        own,
                        bench,
                        replace(air, density_kg_m3=thicker_air * air.density_kg_m3),
                        Joint(near(rng, joint, 0.1) if joint else 0.0),
                    )
                    driver = with_uneven_wall(driver, cone.profile, cone.elastic, uneven[name])
                    modes = recorded(rng, driver, *sds)
                    label = f"{name}-{key}-{number}/{turn}"
                    heard = response_of(seed, label, f"s{turn}", key, driver)
                    told = air_at(round(temperature, 0), None)
                    seatings.append(SeatingObserved(label, "bench", told, round(temperature, 0), modes, heard))
                noted = Coil(round(own.mass_kg, 5), round(own.resistance_ohm, 2), coil.inductance_h)
                mass = round(cone.mass_kg + float(rng.normal(0.0, 1e-5)), 5)
                cones.append(
                    ConeObserved(
                        f"{name}-{key}-{number}",
                        name,
                        key,
                        mass,
                        2e-5,
                        noted,
                        0.005 * noted.mass_kg,
                        0.01 * noted.resistance_ohm,
                        tuple(seatings),
                    )
                )
    given = {
        key: MaterialGiven(key, key, "walls", None, near(rng, elastic.density_kg_m3, 0.006), 0.36)
        for key, elastic in filaments.items()
    }
    table = Motor(
        near(rng, motor.force_factor_tm, 0.015),
        near(rng, motor.suspension_stiffness_n_m, 0.1),
        near(rng, motor.suspension_resistance_ns_m, 0.1),
    )
    rigs = {"bench": RigObserved(bench, table)}
    return CampaignObserved(given, drawings, rigs, tuple(cones)), filaments, prints, "hard" if hard else "clean"


def _warm(elastic: Elastic, temperature_c: float) -> Elastic:
    softer = math.exp(-4e-3 * (temperature_c - 20.0))
    return replace(
        elastic,
        hoop_pa=elastic.hoop_pa * softer,
        axial_pa=elastic.axial_pa * softer,
        layer_shear_pa=elastic.layer_shear_pa * softer,
    )


def judge_beads(seed: int) -> list[Outcome] | str:
    """`judge` where walls are built of beads."""
    return judge(seed, beads=True)


def judge(seed: int, beads: bool = False) -> list[Outcome] | str:
    """Simulate, estimate, compare; a refusal is returned as its text."""
    observed, filaments, prints, kind = simulate(seed, beads)
    try:
        inferred = infer(observed)
    except FrustaError as error:
        return f"{seed}: {error}"
    out = []
    for key, estimate in inferred.estimates.items():
        known = estimate.knowledge
        true = coordinates_of(filaments[key])
        mean = np.mean([coordinates_of(e) for e in prints[key]], axis=0)
        for figure, name in FIGURE_OF.items():
            place = COORDINATES.index(name)
            out.append(
                Outcome(
                    seed,
                    kind,
                    key,
                    figure,
                    float(known.mean[place] - true[place]),
                    known.standard_deviation(name),
                    figure in known.identified,
                    float(known.mean[place] - mean[place]),
                )
            )
    return out


def table_of(outcomes: list[Outcome]) -> str:
    """Return bias, error, u and coverage of every figure as a table."""
    names = ("campaigns", "figure", "estimates", "identified %", "bias %", "median error %", "worst error %")
    names = (*names, "median u %", "covered by 95 %", "over 2.6 u %")
    lines = ["| " + " | ".join(names) + " |", "|" + " --- |" * len(names)]
    for kind in ("clean", "hard"):
        for figure in FIGURE_OF:
            rows = [o for o in outcomes if o.kind == kind and o.figure == figure]
            if not rows:
                continue
            error, u = np.array([o.error for o in rows]), np.array([o.u for o in rows])
            size = np.abs(error)
            told = 100.0 * float(np.mean([o.identified for o in rows]))
            cells = (kind, figure.replace("_", " "), str(len(rows)), f"{told:.0f}", f"{100 * error.mean():+.2f}")
            cells = (*cells, f"{100 * np.median(size):.2f}", f"{100 * size.max():.2f}", f"{100 * np.median(u):.2f}")
            cells = (*cells, f"{100 * np.mean(size < 1.96 * u):.1f}", f"{100 * np.mean(size > 2.6 * u):.1f}")
            lines.append("| " + " | ".join(cells) + " |")
    return "\n".join(lines)


def main() -> None:
    """Run the campaigns and print or write the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--campaigns", type=int, default=200)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--cores", type=int, default=None)
    parser.add_argument("--json", type=Path)
    parser.add_argument("--write", type=Path)
    parser.add_argument("--beads", action="store_true", help="walls built of beads: the other elastic law")
    asked = parser.parse_args()
    tool = importlib.import_module(Path(__file__).stem)  # a worker must find it by name
    by_name = tool.judge_beads if asked.beads else tool.judge
    results = map_batches(by_name, list(range(asked.first, asked.first + asked.campaigns)), asked.cores)
    refused = [r for r in results if isinstance(r, str)]
    outcomes = [o for r in results if not isinstance(r, str) for o in r]
    text = table_of(outcomes)
    print(text)
    print(f"{len(results)} campaigns, {len(refused)} refused", *refused, sep="\n")
    if asked.json:
        asked.json.write_text(json.dumps([asdict(o) for o in outcomes]), encoding="utf-8")
    if asked.write:
        words = (__doc__ or "").split("\n\n")[-1].strip()
        made = f"`make validate` made this page: {len(results)} campaigns, {len(refused)} refused."
        page = f"# How honest estimates are\n\n{words}\n\n{made}\n\n{text}\n"
        asked.write.write_text(page, encoding="utf-8")


if __name__ == "__main__":
    main()
