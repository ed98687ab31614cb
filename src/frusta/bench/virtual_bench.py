"""The virtual rig's constants: motor, microphone, room, interface, and what changes from seating to seating."""

from __future__ import annotations

from dataclasses import dataclass, field

from frusta.bench.distortion import MotorDistortion
from frusta.bench.narrow_feature import NarrowFeature
from frusta.bench.surroundings import MicrophoneDeviation, Noise, Reflection
from frusta.cone.driver import Bench, Joint, Motor


@dataclass(frozen=True)
class SeatingScatter:
    """Standard deviations from seating to seating.

    Parameters
    ----------
    level_db : float
        Of the microphone's reading, dB.
    joint : float
        Relative, of the joint's compliance.
    suspension : float
        Relative, of the suspension's stiffness.
    """

    level_db: float = 0.1
    joint: float = 0.1
    suspension: float = 0.01


@dataclass(frozen=True)
class VirtualBench:
    """One rig.

    Parameters
    ----------
    motor : Motor
    bench : Bench
        Mounting and microphone distance.
    joint : Joint
        Between coil and neck, on average.
    drive_full_scale_v : float
        Peak voltage at the coil at digital full scale and drive gain 0 dB.
    full_scale_pa : float
        Peak pressure at the recording's full scale.
    distortion : MotorDistortion
    reflections : tuple of Reflection
    microphone : MicrophoneDeviation
    noise : Noise
    latency_s : float
        Between player and recorder, before the sound's own travel.
    seating : SeatingScatter
    features : tuple of NarrowFeature
        Of the rig itself: in every cone at the same frequency (a stand that rings).
    """

    motor: Motor
    bench: Bench
    joint: Joint = field(default_factory=Joint)
    drive_full_scale_v: float = 3.0
    full_scale_pa: float = 30.0
    distortion: MotorDistortion = field(default_factory=lambda: MotorDistortion(0.004, 0.003))
    reflections: tuple[Reflection, ...] = (Reflection(0.0061, -0.17), Reflection(0.0094, 0.12, 4000.0))
    microphone: MicrophoneDeviation = field(default_factory=MicrophoneDeviation)
    noise: Noise = field(default_factory=Noise)
    latency_s: float = 0.0113
    seating: SeatingScatter = field(default_factory=SeatingScatter)
    features: tuple[NarrowFeature, ...] = ()
