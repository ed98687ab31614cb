"""The campaign of `frusta demo`: an invented boat shed where cones for a harbour radio are printed.

Three filaments named after weeds, three shapes, two prints of each, two seatings in two sessions, a check cone first
and last, one finished driver, and the mishaps of two evenings. Sorrel and tansy differ plainly, sorrel and yarrow by
less than the eye sees on a curve, and the distortion before the cone, which is the motor's, not at all.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from frusta.bench.distortion import Buckle, MotorDistortion
from frusta.bench.surroundings import MicrophoneDeviation, Noise, Reflection
from frusta.bench.virtual import Conditions, VirtualRig, seeded
from frusta.bench.virtual_bench import SeatingScatter, VirtualBench
from frusta.bench.virtual_campaign import (
    PlannedTake,
    Progress,
    VirtualCampaign,
    callipered_mm,
    profile_row,
    weighed_g,
    write_campaign,
)
from frusta.bench.virtual_cone import PrintScatter, ShapeError, VirtualCone, print_cone
from frusta.campaign.rows import Campaign, HistoryEvent, Material, Overhang, Recipe, Rig, Row, Session, Specimen
from frusta.cone.driver import Bench, Coil, Joint, Motor
from frusta.cone.elasticity import Elastic
from frusta.cone.profile import ConeProfile
from frusta.signal.sweep import Sweep

SEED = 2711
CALIBRATION_FILE = "capsule.txt"

FILAMENTS = {
    "sorrel": Elastic(3.30e9, 2.75e9, 1.05e9, 0.36, 0.33, 1240.0, 0.014),
    "tansy": Elastic(2.02e9, 1.62e9, 0.62e9, 0.39, 0.36, 1268.0, 0.030),
    "yarrow": Elastic(2.62e9, 1.95e9, 0.80e9, 0.37, 0.34, 1052.0, 0.021),
}
POLYMERS = {"sorrel": "PLA", "tansy": "PETG", "yarrow": "ABS"}

DRAWINGS = {
    "st104": ConeProfile("straight", 0.0130, 0.0520, 0.0340, 0.0, 0.00096),
    "cc112": ConeProfile("concave", 0.0130, 0.0560, 0.0330, -0.0030, 0.00140, "line"),
    "cv92": ConeProfile("convex", 0.0130, 0.0460, 0.0280, 0.0025, 0.00090),
}
UNPRINTED = {
    "cc124": ConeProfile("concave", 0.0130, 0.0620, 0.0350, -0.0034, 0.00150, "line"),
    "st84": ConeProfile("straight", 0.0130, 0.0420, 0.0250, 0.0, 0.00080),
}
SHAPE_ERRORS = {
    "st104": ShapeError(0.00005, 0.00003, 0.01),
    "cc112": ShapeError(-0.00004, 0.00006, -0.015),
    "cv92": ShapeError(0.00003, -0.00005, 0.005),
}
UNEVEN = {"tansy": ((2, 0.05), (3, 0.05))}
BUCKLING = ("yarrow", "cc112", 2)

SWEEP = Sweep(start_hz=20.0, stop_hz=20000.0, duration_s=5.0)
SESSIONS = {"evening-1": ("2026-03-07", 19.0, 48.0), "evening-2": ("2026-03-14", 21.5, 55.0)}
MISHAPS = {
    "evening-1": (("clipped", "sorrel-cv92-2"), ("burst", "tansy-st104-1"), ("truncated", "yarrow-cc112-1")),
    "evening-2": (("reflection", "tansy-cv92-1"), ("dropout", "sorrel-st104-2")),
}
MISHAP_NOTES = {
    "clipped": "gain still up from the last tap test",
    "burst": "a halyard slapped the mast",
    "truncated": "stopped too early",
    "reflection": "thermos left standing beside the microphone",
    "dropout": "laptop busy",
}
_COIL = Coil(0.0031, 5.9, 0.00030)
_DRIVER = VirtualCone(
    ConeProfile("convex", 0.0130, 0.0530, 0.0240, 0.0018, 0.00065),
    Elastic(2.6e9, 2.2e9, 0.75e9, 0.30, 0.30, 720.0, 0.085),
    Coil(0.0030, 6.1, 0.00032),
    motor=Motor(4.4, 2600.0, 1.1, 0.0008),
)


def demo_campaign(seed: int = SEED) -> VirtualCampaign:
    """Return the demo's campaign, not yet recorded."""
    cones = _cones(seed)
    microphone = MicrophoneDeviation(17.0, ((9200.0, 2.1, 0.6), (2600.0, -0.5, 0.9), (16000.0, -1.6, 0.4)))
    bench = VirtualBench(
        motor=Motor(3.9, 2900.0, 0.7),
        bench=Bench("free", 0.150),
        joint=Joint(1.0 / 30e6, 0.02),
        drive_full_scale_v=3.2,
        full_scale_pa=40.0,
        distortion=MotorDistortion(0.012, 0.008),
        reflections=(Reflection(0.0104, -0.14), Reflection(0.0147, 0.10, 4000.0)),
        microphone=microphone,
        noise=Noise(-62.0, -78.0, -72.0),
        seating=SeatingScatter(0.12, 0.1, 0.01),
    )
    conditions = {
        "evening-1": Conditions(temperature_c=19.0, humidity_pct=48.0),
        "evening-2": Conditions(
            temperature_c=21.5, humidity_pct=55.0, level_drift_db=0.3, clock_ppm=37.0, loopback=False, latency_s=0.0312
        ),
    }
    return VirtualCampaign(
        rig=VirtualRig(bench, cones, seed),
        sweep_key="log5",
        sweep=SWEEP,
        conditions=conditions,
        plan=_plan(cones),
        tables=_tables(cones, bench, seed),
        files={CALIBRATION_FILE: microphone.calibration_text("harbour capsule 3").encode()},
    )


def make_demo(
    folder: Path | str, *, cores: int | None = None, progress: Progress | None = None, seed: int = SEED
) -> Path:
    """Record the demo's campaign into a folder and return it.

    Parameters
    ----------
    folder : Path or str
        The package; files of an earlier demo are replaced.
    cores : int, optional
        Processes; all by default.
    progress : callable, optional
        Called with takes done and their total.
    seed : int
        Another workshop with other prints.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    return write_campaign(demo_campaign(seed), folder, cores=cores, progress=progress)


def _cones(seed: int) -> dict[str, VirtualCone]:
    cones = {}
    for filament, elastic in FILAMENTS.items():
        for profile, drawing in DRAWINGS.items():
            for number in (1, 2):
                name = f"{filament}-{profile}-{number}"
                rng = seeded(seed, "print", name)
                coil = Coil(
                    _COIL.mass_kg * (1.0 + 0.008 * float(rng.standard_normal())),
                    _COIL.resistance_ohm * (1.0 + 0.01 * float(rng.standard_normal())),
                    _COIL.inductance_h,
                )
                buckle = Buckle(2600.0, 0.08, 0.05) if (filament, profile, number) == BUCKLING else None
                cones[name] = print_cone(
                    drawing,
                    elastic,
                    coil,
                    PrintScatter(),
                    rng,
                    SHAPE_ERRORS[profile],
                    UNEVEN.get(filament, ()),
                    buckle,
                )
    check = replace(FILAMENTS["sorrel"], density_kg_m3=1238.0)
    cones["buoy"] = VirtualCone(replace(DRAWINGS["st104"], wall_m=0.0010), check, _COIL)
    cones["harbour-4"] = _DRIVER
    return cones


def _plan(cones: dict[str, VirtualCone]) -> tuple[PlannedTake, ...]:
    """Each session: check cone, every cone in an order of its own, the driver, check cone; mishaps are repeated."""
    plan: list[PlannedTake] = []
    names = [name for name in cones if name not in ("buoy", "harbour-4")]
    for turn, (session, (day, _, _)) in enumerate(SESSIONS.items(), start=1):
        order = [names[i] for i in seeded(SEED, "order", session).permutation(len(names))]
        mishaps = {specimen: mishap for mishap, specimen in MISHAPS[session]}
        queue: list[tuple[str, str, int, str | None]] = [(f"buoy-{turn}-first", "buoy", 2 * turn - 1, None)]
        for name in order:
            if name in mishaps:
                queue.append((f"{name}-{turn}-{mishaps[name]}", name, turn, mishaps[name]))
            queue.append((f"{name}-{turn}", name, turn, None))
        if turn == 1:
            queue.append(("harbour-4-1", "harbour-4", 1, None))
        queue.append((f"buoy-{turn}-last", "buoy", 2 * turn, None))
        for minute, (take, specimen, seating, mishap) in enumerate(queue):
            clock = 19 * 60 + 4 * minute
            plan.append(
                PlannedTake(
                    take,
                    specimen,
                    session,
                    seating,
                    f"{day}T{clock // 60:02d}:{clock % 60:02d}:00Z",
                    mishap,
                    notes=MISHAP_NOTES[mishap] if mishap else None,
                )
            )
    return tuple(plan)


def _tables(cones: dict[str, VirtualCone], bench: VirtualBench, seed: int) -> dict[str, list[Row]]:
    drawings = {**DRAWINGS, **UNPRINTED}
    return {
        "campaign": [
            Campaign(
                campaign="harbour-radio",
                title="Cones for the harbour radio",
                question="Which filament makes the better cone for the harbour radio, and in which shape?",
                band_low_hz=300.0,
                band_high_hz=6000.0,
                licence="CC-BY-4.0",
                notes="An invented boat shed; recorded on the built-in virtual rig.",
            )
        ],
        "materials": [
            Material(material=key, name=key.capitalize(), polymer=POLYMERS[key], density_kg_m3=_nominal_density(key))
            for key in FILAMENTS
        ],
        "recipes": [
            Recipe(
                recipe="two-lines",
                layer_mm=0.15,
                line_width_mm=0.42,
                lines=2,
                nozzle_c=225.0,
                speed_mm_s=40.0,
                orientation="neck-down",
            )
        ],
        "profiles": [profile_row(key, drawing) for key, drawing in drawings.items()],
        "rigs": [_rig_row(bench)],
        "sessions": [
            Session(session=key, rig="slipway", date=day, temperature_c=temperature, humidity_pct=humidity)
            for key, (day, temperature, humidity) in SESSIONS.items()
        ],
        "specimens": [_specimen_row(name, cone, seed) for name, cone in cones.items()],
        "history": [
            HistoryEvent(specimen="buoy", date="2026-02-01", event="printed", details="check cone, stays on the rig"),
            HistoryEvent(specimen="sorrel-st104-1", date="2026-03-09", event="dropped", details="on planks, no mark"),
        ],
        "overhangs": [
            Overhang(material="sorrel", recipe="two-lines", clean_to_deg=62.0, failed_at_deg=70.0),
            Overhang(material="tansy", recipe="two-lines", clean_to_deg=55.0, failed_at_deg=64.0),
            Overhang(material="yarrow", recipe="two-lines", clean_to_deg=58.0, failed_at_deg=68.0),
        ],
    }


def _nominal_density(key: str) -> float:
    return round(FILAMENTS[key].density_kg_m3 / 10.0) * 10.0


def _rig_row(bench: VirtualBench) -> Rig:
    motor = bench.motor
    return Rig(
        rig="slipway",
        mounting="free",
        microphone_distance_mm=1e3 * bench.bench.microphone_distance_m,
        microphone_calibration=CALIBRATION_FILE,
        suspension_stiffness_n_mm=1e-3 * motor.suspension_stiffness_n_m,
        suspension_resistance_ns_m=motor.suspension_resistance_ns_m,
        force_factor_tm=motor.force_factor_tm,
        full_scale_pa=bench.full_scale_pa,
        drive_full_scale_v=bench.drive_full_scale_v,
        notes="hangs from two cords over the slipway, no baffle",
    )


def _specimen_row(name: str, cone: VirtualCone, seed: int) -> Specimen:
    rng = seeded(seed, "workbench", name)
    if cone.motor is not None:
        return Specimen(
            specimen=name,
            kind="driver",
            rim_radius_mm=1e3 * cone.profile.rim_radius_m,
            notes="finished driver with a paper cone, for comparison",
        )
    coil = cone.coil
    known = {
        "mass_g": weighed_g(cone, rng),
        "mass_u_g": 0.02,
        "coil_mass_g": round(1e3 * coil.mass_kg + 0.005 * float(rng.standard_normal()), 2),
        "coil_resistance_ohm": round(coil.resistance_ohm, 2),
        "coil_inductance_mh": round(1e3 * coil.inductance_h, 3),
        "wall_neck_mm": callipered_mm(cone, 0.05, rng),
        "wall_rim_mm": callipered_mm(cone, 0.95, rng),
    }
    if name == "buoy":
        words = {"kind": "check", "profile": "st104", "printed_on": "2026-02-01", "batch": "check"}
        return Specimen.model_validate({"specimen": name, **words, **known})
    material, profile, number = name.split("-")
    day = 1 + int(np.flatnonzero([name == other for other in _printed_names()])[0]) // 6
    words = {
        "kind": "cone",
        "material": material,
        "recipe": "two-lines",
        "profile": profile,
        "printed_on": f"2026-03-{day:02d}",
        "batch": f"spool-{material}-{number}",
    }
    return Specimen.model_validate({"specimen": name, **words, **known})


def _printed_names() -> list[str]:
    return [f"{f}-{p}-{n}" for f in FILAMENTS for p in DRAWINGS for n in (1, 2)]
