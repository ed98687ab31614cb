"""Bench: one thing to do at a time, the same for every tab."""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import AsyncIterator
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Body, Request
from fastapi.responses import HTMLResponse, StreamingResponse

from frusta.bench.device import DeviceError
from frusta.bench.opening import VIRTUAL
from frusta.bench.rig_memory import RigMemory, recall
from frusta.bench.sitting import check_cone, planned_turns, seatings_made
from frusta.campaign.rows import Rig
from frusta.errors import FrustaError
from frusta.web.beginning import CalibratorTold, ConstantsTold, SittingTold
from frusta.web.bench_words import ticket_of
from frusta.web.constants_words import constants_of, plain_constants, summary_of
from frusta.web.sitting import START_GAIN_DB, Beginning
from frusta.web.verdict_chart import VerdictCharts
from frusta.web.views import Views, glyph

BEAT_S = 0.05
"""The meter moves 20 times a second."""
PULSE_S = 0.4
SILENCE_MS = 1000
"""A page that hears nothing for so long knows that frusta is gone."""


def router(views: Views) -> APIRouter:
    """Return the routes."""
    routes = APIRouter()
    sitting = views.sitting
    charts = VerdictCharts(sitting)

    @routes.get("/bench", response_class=HTMLResponse, include_in_schema=False)
    def room(request: Request) -> HTMLResponse:
        return views.page("bench.html", request, "bench", "Bench", silence_ms=SILENCE_MS, **_field(views))

    @routes.get("/api/bench", tags=["bench"])
    def state() -> dict[str, Any]:
        """Return where the bench stands: the step, its number, and what moves."""
        told = sitting.live()
        if sitting.measuring is not None:
            told["constants"] = plain_constants(sitting.measuring.state)
        if sitting.going:
            held = sitting.guide.state
            told["session"] = held.session
            told["specimen"] = held.turn.specimen if held.turn else None
            told["seating"] = held.turn.seating if held.turn else None
            told["kept"] = list(held.kept)
            told["to_come"] = len(held.queue)
        return told

    @routes.post("/api/bench/begin", tags=["bench"])
    def begin(told: SittingTold) -> dict[str, Any]:
        """Begin a sitting, or go on with the one of today."""
        sitting.begin(told.beginning())
        return {"said": ""}

    @routes.post("/api/bench/calibrator", tags=["bench"])
    def calibrator(told: CalibratorTold) -> dict[str, Any]:
        """Hear a 1 kHz calibrator of known level over the microphone; sittings begun afterwards measure in pascals."""
        how = Beginning(told.device, told.rig, told.sweep, told.remembered())
        found = sitting.hear_calibrator(how, told.level_db)
        heard = f"Heard {found.frequency_hz:.0f} Hz: digital full scale is {found.full_scale_pa:.3g} Pa"
        return {"said": f"{heard} (u {found.u_db:.2f} dB). The next sitting measures with it."}

    @routes.post("/api/bench/constants", tags=["bench"])
    def constants(told: ConstantsTold) -> dict[str, Any]:
        """Begin to measure the rig's constants: two sweeps of one cone, the second with a known mass more."""
        how = Beginning(told.device, told.rig, told.sweep, told.remembered())
        gain_db = START_GAIN_DB if told.gain_db is None else told.gain_db
        sitting.measure_constants(how, told.specimen, told.added_mass_g, gain_db)
        return {"said": ""}

    @routes.post("/api/bench/constants/press", tags=["bench"])
    def press_constants(
        event: Annotated[Literal["sweep", "back", "keep", "leave"], Body()],
        number: Annotated[int | None, Body()] = None,
    ) -> dict[str, Any]:
        """Sweep, go back by one sweep, keep what was found in rigs.csv, or leave it."""
        said = sitting.press_constants(event, number)
        return {"said": said, "undo": bool(said)}

    @routes.get("/bench/verdict", response_class=HTMLResponse, include_in_schema=False)
    def verdict(request: Request) -> HTMLResponse:
        """Return the picture of the take that waits for its verdict; empty where there is none."""
        shown = charts.of(views.desk.package) if sitting.going else None
        return views.render("bench_verdict_chart.html", request, picture=shown)

    @routes.post("/api/bench/press", tags=["bench"])
    def press(
        event: Annotated[str, Body()],
        number: Annotated[int | None, Body()] = None,
        details: Annotated[dict[str, Any] | None, Body()] = None,
    ) -> dict[str, Any]:
        """Do what a button or key of the bench says; ``number`` names the state it was meant for."""
        sitting.press(event, details or {}, number)
        return {"said": "", **sitting.live()}

    @routes.post("/api/bench/stop", tags=["bench"])
    async def stop() -> dict[str, Any]:
        """Silence everything at once."""
        sitting.stop()
        return {"said": "Stopped. Nothing is lost."}

    @routes.post("/api/bench/gain", tags=["bench"])
    def gain(
        step_db: Annotated[float, Body()] = 0.0, automatic: Annotated[bool | None, Body()] = None
    ) -> dict[str, Any]:
        """Turn up or down by at most 3 dB, or let the gain follow the meter."""
        guide = sitting.guide
        if automatic is not None:
            guide.set_automatic(automatic)
        if step_db:
            guide.add_gain(max(-3.0, min(3.0, step_db)))
        return {"said": "", **sitting.live()}

    @routes.get("/api/bench/events", tags=["bench"])
    async def events(request: Request) -> StreamingResponse:
        """Stream what moves, 20 times a second while sound plays, as server-sent events."""
        return StreamingResponse(
            _stream(views, request), media_type="text/event-stream", headers={"x-accel-buffering": "no"}
        )

    return routes


async def _stream(views: Views, request: Request) -> AsyncIterator[str]:
    last, sent_s = "", 0.0
    yield "retry: 1000\n\n"
    while not views.desk.ending.is_set() and not await request.is_disconnected():
        views.sitting.listened()
        told = json.dumps(views.sitting.live())
        now = time.monotonic()
        if told != last or now - sent_s > PULSE_S:
            yield f"data: {told}\n\n"
            last, sent_s = told, now
        await asyncio.sleep(BEAT_S)


def _field(views: Views) -> dict[str, Any]:
    """What the ticket needs: a sitting's state, or how to begin one."""
    desk, sitting = views.desk, views.sitting
    blank = {"ticket": None, "number": sitting.number, "sounding": False, "virtual": False, "live": sitting.live()}
    if not desk.is_campaign:
        return {**blank, "stage": "empty", "folder": desk.path.name}
    if sitting.measuring is not None:
        told = constants_of(sitting.measuring)
        sounding = told["stage"] == "sweep"
        return {**blank, "stage": f"constants-{told['stage']}", "constants": told, "sounding": sounding}
    if not sitting.going or sitting.guide.state.step == "done":
        told = {**blank, "stage": "begin", **_beginning(views)}
        if sitting.going:
            ticket = ticket_of(sitting.guide.state, desk.package, sitting.with_coil)
            told |= {"stage": "done", "ticket": ticket}
        return told
    ticket = ticket_of(sitting.guide.state, desk.package, sitting.with_coil)
    return {
        **blank,
        "stage": ticket["step"],
        "ticket": ticket,
        "sounding": ticket["step"] in ("level", "sweep"),
        "virtual": sitting.device_name == "virtual rig",
        "device": sitting.device_name,
    }


def _beginning(views: Views) -> dict[str, Any]:
    """How a sitting may begin: devices, what is planned, what stands against it."""
    desk = views.desk
    against = ""
    turns = 0
    cones: list[str] = []
    try:
        if desk.opened.faults:
            against = "The tables have faults; mend them first."
        package = desk.package
        planned = planned_turns(package)
        turns = len(planned)
        cones = list(dict.fromkeys(t.specimen for t in planned))
        if not desk.path.is_dir():
            against = "A zip cannot be recorded into; unpack it and open the folder."
        elif not package.specimens:
            against = "No cone is listed yet."
        elif not package.rigs:
            against = "No rig is listed yet."
        elif not package.sweeps:
            against = "No sweep is listed yet."
    except FrustaError as error:
        against = str(error)
    return {
        "against": against,
        "turns": turns,
        "cones": cones,
        "check": check_cone(desk.package) if not against else None,
        "left": views.sitting.left() if not against else None,
        "devices": devices_of(desk.device),
        "inputs": inputs_of(),
        "package": desk.package if not against else None,
        "memory": _memory(views) if not against else None,
        "full_scale": views.sitting.full_scale_pa,
        "constants_known": summary_of(_only_rig(views)) if not against else "",
        "on_rig": [s.specimen for s in desk.package.specimens.values() if s.kind != "coupon"] if not against else [],
        "device_chosen": desk.device or "",
        "stub_glyph": glyph(None, 232, 84),
        "seatings": 2 if turns else 1 + max(seatings_made(desk.package).values(), default=1),
    }


def _memory(views: Views) -> RigMemory:
    """What is remembered of the rig, where it is clear which."""
    rig = _only_rig(views)
    return RigMemory() if rig is None else recall(rig.rig)


def _only_rig(views: Views) -> Rig | None:
    """The rig, where it is clear which."""
    rigs = list(views.desk.package.rigs.values())
    return rigs[0] if len(rigs) == 1 else None


def inputs_of() -> list[tuple[str, str]]:
    """Return sound devices that can hear."""
    try:
        from frusta.bench.sound_card import list_devices

        return [(d.name, str(d)) for d in list_devices() if d.inputs > 0]
    except (DeviceError, OSError):
        return []


def devices_of(chosen: str | None) -> list[tuple[str, str]]:
    """Return sound devices to choose from, the virtual rig last."""
    found: list[tuple[str, str]] = []
    try:
        from frusta.bench.sound_card import list_devices

        found = [(d.name, str(d)) for d in list_devices() if d.outputs > 0]
    except (DeviceError, OSError):
        found = []
    virtual = chosen if chosen and chosen.partition(":")[0] == VIRTUAL else VIRTUAL
    return [*found, (virtual, "the built-in virtual rig, a rehearsal")]
