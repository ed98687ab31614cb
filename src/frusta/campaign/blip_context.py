"""What is known of the cone of every take when its narrow features are to be explained."""

from __future__ import annotations

from collections.abc import Sequence

from frusta.campaign.blip_candidates import BellForecast, ConeContext
from frusta.campaign.findings import Reading, group_key
from frusta.campaign.forecasting import drawn_profile, forecast_rig
from frusta.campaign.package import Package
from frusta.campaign.resolve import ResolvedTake
from frusta.design.cone_modes import bell_modes
from frusta.design.possible import CloudOfCones
from frusta.design.responses import driver_of
from frusta.errors import PackageError, ParameterError
from frusta.material.knowledge import MaterialKnowledge
from frusta.material.learned import Learned, ShapeKnowledge


def contexts_of(
    package: Package,
    resolved: Sequence[ResolvedTake],
    readings: Sequence[Reading],
    learned: Learned,
    takes_with_blips: Sequence[str],
) -> dict[str, ConeContext]:
    """Return the context of every take that may be believed.

    Bell modes are forecast for cones whose material was estimated, one forecast a material and profile.

    Parameters
    ----------
    package : Package
    resolved : sequence of ResolvedTake
    readings : sequence of Reading
        Takes of quality `repeat` bear no witness, but their own features are explained.
    learned : Learned
        From the same campaign.
    takes_with_blips : sequence of str
    """
    asked = set(takes_with_blips)
    quality = {reading.take: reading for reading in readings}
    bells: dict[tuple[str, str], tuple[BellForecast, ...]] = {}
    contexts: dict[str, ConeContext] = {}
    for take in resolved:
        key = take.take.take
        reading = quality.get(key)
        if reading is None or (reading.quality == "repeat" and key not in asked):
            continue
        known = _known(take, learned)
        alike = f"{take.specimen.material}/{take.specimen.recipe}/{take.specimen.profile}"
        place = (alike, take.rig.rig)
        if key in asked and known is not None and place not in bells:
            bells[place] = _bells(package, take, known, learned)
        contexts[key] = ConeContext(
            specimen=take.specimen.specimen,
            kind=take.specimen.kind,
            rig=take.rig.rig,
            seating=take.take.seating,
            alike=alike if take.specimen.kind == "cone" else take.specimen.specimen,
            bells=bells.get(place, ()) if key in asked else (),
            breakup_hz=reading.breakup_hz,
            harmonics_apart=reading.thd_peak_percent is not None or (take.sweep is not None and not take.sweep.signal),
        )
    return contexts


def _known(take: ResolvedTake, learned: Learned) -> MaterialKnowledge | None:
    specimen = take.specimen
    if specimen.kind != "cone" or specimen.material is None or specimen.profile is None:
        return None
    return learned.materials.get(group_key(specimen.material, specimen.recipe)) or next(
        (k for k in learned.materials.values() if k.material == specimen.material and k.recipe == specimen.recipe), None
    )


def _bells(
    package: Package, take: ResolvedTake, known: MaterialKnowledge, learned: Learned
) -> tuple[BellForecast, ...]:
    if take.profile is None:
        return ()
    shape = learned.shapes.get(take.profile.profile, ShapeKnowledge())
    try:
        cloud = CloudOfCones(drawn_profile(take.profile), known, learned.joint, shape, forecast_rig(package, take.rig))
        expected = cloud.expected
        modes = bell_modes(driver_of(expected, cloud.rig), expected, cloud)
    except (PackageError, ParameterError):
        return ()  # no such cone, or no coil known: its features are explained without a forecast
    return tuple(
        BellForecast(m.circumferential_order, m.frequency_hz, m.frequency_hz_u, m.loss_factor, m.loss_factor_u)
        for m in modes
    )
