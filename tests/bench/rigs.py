"""A small virtual rig for tests."""

from __future__ import annotations

from frusta.bench.distortion import MotorDistortion
from frusta.bench.surroundings import Noise
from frusta.bench.virtual import VirtualRig
from frusta.bench.virtual_bench import VirtualBench
from frusta.bench.virtual_cone import VirtualCone
from frusta.cone.driver import Bench, Coil, Joint, Motor
from frusta.cone.elasticity import Elastic
from frusta.cone.profile import ConeProfile
from frusta.signal.sweep import Sweep

SHORT = Sweep(start_hz=40.0, stop_hz=20000.0, duration_s=1.2, lead_in_s=0.1, tail_s=0.3)
RATE = SHORT.sample_rate_hz
ELASTIC = Elastic(2.4e9, 1.9e9, 0.75e9, 0.37, 0.34, 1150.0, 0.025)
PROFILE = ConeProfile("straight", 0.013, 0.038, 0.024, 0.0, 0.0009)
COIL = Coil(0.0026, 5.8, 0.0002)
CONE = VirtualCone(PROFILE, ELASTIC, COIL)
SILENT = Noise(-300.0, -300.0, -300.0)


def rig(quiet: bool = True, seed: int = 5, **changes: object) -> VirtualRig:
    """A rig with one cone; ``quiet`` has neither noise, distortion, reflections nor a deviating microphone."""
    from frusta.bench.surroundings import MicrophoneDeviation

    known: dict[str, object] = {"motor": Motor(4.0, 3000.0, 0.7), "bench": Bench("free", 0.1), "joint": Joint(3e-8)}
    if quiet:
        known |= {
            "noise": SILENT,
            "distortion": MotorDistortion(),
            "reflections": (),
            "microphone": MicrophoneDeviation(1e-3, ()),
        }
    return VirtualRig(VirtualBench(**{**known, **changes}), {"cone": CONE}, seed)  # type: ignore[arg-type]
