"""Campaigns of other workshops: other plastics, shapes, sizes, rigs, rooms and mishaps, drawn from a seed.

For validation: what is right on one campaign must be right on the next.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np

from frusta.bench.distortion import Buckle, MotorDistortion
from frusta.bench.mishaps import MISHAPS
from frusta.bench.surroundings import MicrophoneDeviation, Noise, Reflection
from frusta.bench.virtual import Conditions, VirtualRig, seeded
from frusta.bench.virtual_bench import SeatingScatter, VirtualBench
from frusta.bench.virtual_campaign import PlannedTake, VirtualCampaign, callipered_mm, profile_row, weighed_g
from frusta.bench.virtual_cone import PrintScatter, ShapeError, VirtualCone, print_cone
from frusta.campaign.rows import Campaign, Material, Recipe, Rig, Row, Session, Specimen
from frusta.cone.air_cache import Mounting
from frusta.cone.beads import BeadBuilt
from frusta.cone.driver import Bench, Coil, Joint, Motor
from frusta.cone.elasticity import Elastic
from frusta.cone.profile import ConeProfile
from frusta.errors import ParameterError
from frusta.signal.sweep import Sweep

Difficulty = Literal["clean", "hard"]

_NAMES = ("basalt", "flint", "gneiss", "marl", "ochre", "pumice", "schist", "shale", "slate", "tuff")


def random_campaign(
    seed: int,
    difficulty: Difficulty = "clean",
    *,
    mishaps: bool = True,
    materials: int | None = None,
    profiles: int | None = None,
    mounting: Mounting = "free",
    beads: bool = False,
) -> VirtualCampaign:
    """Return a campaign that has not been seen before.

    Parameters
    ----------
    seed : int
    difficulty : {"clean", "hard"}
        Hard: shapes off their drawings, coils wound differently, a joint of unknown stiffness, noise some 53 dB below
        the peak, another clock, a drifting rig, uneven walls.
    mishaps : bool
        Whether one take of each kind goes wrong.
    materials, profiles : int, optional
        How many, 1 to 10 and 1 to 6; drawn by default.
    mounting : {"free", "baffle"}
    beads : bool
        Whether walls are built of beads (`frusta.cone.beads`), which is not what an estimate takes them for.

    Raises
    ------
    ParameterError
        If the difficulty is not known or a number out of range.
    """
    if difficulty not in ("clean", "hard"):
        raise ParameterError(f"difficulty must be clean or hard (got {difficulty!r})")
    rng = seeded(seed, "campaign", difficulty)
    hard = difficulty == "hard"
    counts = (materials or int(rng.integers(2, 4)), profiles or int(rng.integers(2, 4)))
    if not (1 <= counts[0] <= len(_NAMES) and 1 <= counts[1] <= 6):
        raise ParameterError(f"materials must be 1 to {len(_NAMES)} and profiles 1 to 6 (got {counts[0]}, {counts[1]})")
    filaments = {str(n): _filament(rng) for n in rng.permutation(_NAMES)[: counts[0]]}
    if beads:
        filaments = {name: BeadBuilt.of(solid) for name, solid in filaments.items()}
    neck = float(rng.uniform(0.010, 0.017))
    drawings = dict(_drawing(rng, neck) for _ in range(counts[1]))
    bench = _bench(rng, hard, mounting)
    coil = Coil(float(rng.uniform(0.0018, 0.004)), float(rng.uniform(3.5, 7.5)), float(rng.uniform(0.5e-4, 3e-4)))
    cones = _cones(seed, filaments, drawings, coil, hard)
    sweep = _sweep(rng)
    conditions = {key: _conditions(rng, hard, second) for key, second in (("s1", False), ("s2", True))}
    return VirtualCampaign(
        rig=VirtualRig(bench, cones, seed),
        sweep_key="log",
        sweep=sweep,
        conditions=conditions,
        plan=_plan(rng, cones, mishaps),
        tables=_tables(seed, filaments, drawings, cones, bench, conditions, coil),
        files={"microphone.txt": bench.microphone.calibration_text("capsule").encode()},
    )


def _filament(rng: np.random.Generator) -> Elastic:
    hoop = float(np.exp(rng.uniform(np.log(1.1e9), np.log(4.5e9))))
    return Elastic(
        hoop,
        hoop * float(rng.uniform(0.60, 1.0)),
        hoop * float(rng.uniform(0.24, 0.36)),
        float(rng.uniform(0.33, 0.42)),
        float(rng.uniform(0.29, 0.38)),
        float(rng.uniform(900.0, 1300.0)),
        float(np.exp(rng.uniform(np.log(0.012), np.log(0.06)))),
    )


def _drawing(rng: np.random.Generator, neck_m: float) -> tuple[str, ConeProfile]:
    shape = ("straight", "concave", "convex")[int(rng.integers(3))]
    rim = neck_m + float(rng.uniform(0.018, 0.042))
    depth = (rim - neck_m) * float(rng.uniform(0.7, 1.15))
    bow = {"straight": 0.0, "concave": -1.0, "convex": 1.0}[shape] * float(rng.uniform(0.05, 0.10)) * depth
    rule: Literal["normal", "line"] = "line" if rng.uniform() < 0.3 else "normal"
    wall = float(rng.uniform(0.0006, 0.0011)) * (1.35 if rule == "line" else 1.0)
    rounded = [round(v, 4) for v in (rim, depth, bow)]
    drawing = ConeProfile(shape, round(neck_m, 4), rounded[0], rounded[1], rounded[2], round(wall, 5), rule)  # type: ignore[arg-type]
    return f"{shape[:2]}{round(2e3 * rounded[0])}-{int(rng.integers(10, 99))}", drawing


def _bench(rng: np.random.Generator, hard: bool, mounting: Mounting) -> VirtualBench:
    bumps = tuple(
        (float(f), float(rng.uniform(-2.0, 2.5)), float(rng.uniform(0.4, 1.0))) for f in rng.uniform(1500.0, 16000.0, 3)
    )
    return VirtualBench(
        motor=Motor(float(rng.uniform(2.8, 5.5)), float(rng.uniform(1800.0, 5000.0)), float(rng.uniform(0.4, 1.2))),
        bench=Bench(mounting, round(float(rng.uniform(0.09, 0.25)), 3)),
        joint=Joint(1.0 / float(rng.uniform(12e6, 45e6))) if hard else Joint(),
        drive_full_scale_v=round(float(rng.uniform(2.0, 5.0)), 2),
        full_scale_pa=round(float(rng.uniform(60.0, 120.0))),
        distortion=MotorDistortion(float(rng.uniform(0.004, 0.012)), float(rng.uniform(0.002, 0.008))),
        reflections=(
            Reflection(float(rng.uniform(0.0045, 0.0080)), float(rng.choice([-1, 1]) * rng.uniform(0.1, 0.2))),
            Reflection(
                float(rng.uniform(0.0090, 0.0140)), float(rng.choice([-1, 1]) * rng.uniform(0.05, 0.12)), 4000.0
            ),
        ),
        microphone=MicrophoneDeviation(float(rng.uniform(5.0, 20.0)), bumps),
        noise=Noise(float(rng.uniform(-55.0, -51.0)) if hard else float(rng.uniform(-72.0, -62.0)), -85.0, -75.0),
        latency_s=float(rng.uniform(0.0, 0.04)),
        seating=SeatingScatter(0.12, 0.12, 0.01),
    )


def _sweep(rng: np.random.Generator) -> Sweep:
    rate = int(rng.choice([44100, 48000, 96000]))
    return Sweep(
        start_hz=float(rng.choice([10.0, 20.0, 30.0])),
        stop_hz=20000.0,
        duration_s=float(rng.choice([4.0, 6.0, 8.0])),
        lead_in_s=float(rng.choice([0.3, 0.5, 1.0])),
        tail_s=1.0,
        level_dbfs=float(rng.choice([-10.0, -6.0, -3.0])),
        sample_rate_hz=rate,
    )


def _conditions(rng: np.random.Generator, hard: bool, second: bool) -> Conditions:
    clock = float(rng.choice([-1.0, 1.0]) * rng.uniform(10.0, 120.0)) if hard and second else 0.0
    return Conditions(
        drive_gain_db=-2.0 if hard and second else 0.0,
        temperature_c=round(float(rng.uniform(17.0, 25.0)), 1) if hard else 20.0,
        level_drift_db=float(rng.normal(0.0, 0.5)) if hard and second else 0.0,
        clock_ppm=clock,
        loopback=not second,
    )


def _cones(
    seed: int, filaments: dict[str, Elastic], drawings: dict[str, ConeProfile], coil: Coil, hard: bool
) -> dict[str, VirtualCone]:
    errors = {name: _shape_error(seeded(seed, "shape", name)) if hard else ShapeError() for name in drawings}
    cones = {}
    for m, (filament, elastic) in enumerate(filaments.items()):
        for profile, drawing in drawings.items():
            for number in (1, 2):
                name = f"{filament}-{profile}-{number}"
                rng = seeded(seed, "print", name)
                spread = (0.01, 0.015) if hard else (0.0, 0.0)
                own = replace(
                    coil,
                    mass_kg=coil.mass_kg * (1.0 + spread[0] * float(rng.standard_normal())),
                    resistance_ohm=coil.resistance_ohm * (1.0 + spread[1] * float(rng.standard_normal())),
                )
                uneven = ((2, 0.07), (3, 0.07)) if m == 0 else ()
                buckle = Buckle(float(rng.uniform(900, 3000)), 0.08, 0.04) if number == 2 and m == 1 else None
                cones[name] = print_cone(drawing, elastic, own, PrintScatter(), rng, errors[profile], uneven, buckle)
    drawing = next(iter(drawings.values()))
    steady = Elastic(3.2e9, 2.8e9, 1.0e9, 0.36, 0.33, 1230.0, 0.016)
    cones["check-1"] = VirtualCone(replace(drawing, wall_m=1.15 * drawing.wall_m), steady, coil)
    return cones


def _shape_error(rng: np.random.Generator) -> ShapeError:
    depth, bow, taper = rng.standard_normal(3)
    return ShapeError(float(1e-4 * depth), float(8e-5 * bow), float(0.015 * taper))


def _plan(rng: np.random.Generator, cones: dict[str, VirtualCone], mishaps: bool) -> tuple[PlannedTake, ...]:
    plan = []
    names = [name for name in cones if name != "check-1"]
    for turn, session in ((1, "s1"), (2, "s2")):
        plan.append(PlannedTake(f"check-1-{session}-first", "check-1", session, 2 * turn - 1))
        plan += [PlannedTake(f"{names[i]}-{session}", names[i], session, turn) for i in rng.permutation(len(names))]
        plan.append(PlannedTake(f"check-1-{session}-last", "check-1", session, 2 * turn))
    if mishaps:
        for mishap in MISHAPS:
            specimen = str(rng.choice(names))
            loopback = False if mishap == "clock" else None
            session = str(rng.choice(["s1", "s2"]))
            plan.append(PlannedTake(f"bad-{mishap}", specimen, session, 9, "", mishap, loopback))
    return tuple(plan)


def _tables(
    seed: int,
    filaments: dict[str, Elastic],
    drawings: dict[str, ConeProfile],
    cones: dict[str, VirtualCone],
    bench: VirtualBench,
    conditions: dict[str, Conditions],
    coil: Coil,
) -> dict[str, list[Row]]:
    motor = bench.motor
    rig = Rig(
        rig="bench",
        mounting=bench.bench.mounting,
        microphone_distance_mm=round(1e3 * bench.bench.microphone_distance_m, 3),
        microphone_calibration="microphone.txt",
        suspension_stiffness_n_mm=1e-3 * motor.suspension_stiffness_n_m,
        suspension_resistance_ns_m=motor.suspension_resistance_ns_m,
        force_factor_tm=motor.force_factor_tm,
        full_scale_pa=bench.full_scale_pa,
        drive_full_scale_v=bench.drive_full_scale_v,
    )
    return {
        "campaign": [
            Campaign(campaign=f"workshop-{seed}", title="Another workshop", band_low_hz=300.0, band_high_hz=8e3)
        ],
        "materials": [Material(material=name, name=name.capitalize()) for name in filaments],
        "recipes": [Recipe(recipe="walls", orientation="neck-down")],
        "profiles": [profile_row(name, drawing) for name, drawing in drawings.items()],
        "rigs": [rig],
        "sessions": [
            Session(
                session=key,
                rig="bench",
                date=f"2026-05-{10 + 7 * i:02d}",
                temperature_c=c.temperature_c,
                humidity_pct=c.humidity_pct,
            )
            for i, (key, c) in enumerate(conditions.items())
        ],
        "specimens": [_specimen_row(seed, name, cone, filaments, drawings) for name, cone in cones.items()],
    }


def _specimen_row(
    seed: int, name: str, cone: VirtualCone, filaments: dict[str, Elastic], drawings: dict[str, ConeProfile]
) -> Specimen:
    rng = seeded(seed, "workbench", name)
    row: dict[str, object] = {
        "specimen": name,
        "kind": "check",
        "profile": next(iter(drawings)),
        "mass_g": weighed_g(cone, rng),
        "mass_u_g": 0.02,
        "coil_mass_g": round(1e3 * cone.coil.mass_kg, 2),
        "coil_resistance_ohm": round(cone.coil.resistance_ohm, 2),
        "coil_inductance_mh": round(1e3 * cone.coil.inductance_h, 4),
        "wall_neck_mm": callipered_mm(cone, 0.05, rng),
        "wall_rim_mm": callipered_mm(cone, 0.95, rng),
    }
    if name != "check-1":
        material = name.split("-")[0]
        profile = name[len(material) + 1 : -2]
        row |= {"kind": "cone", "material": material, "recipe": "walls", "profile": profile}
    return Specimen.model_validate(row)
