"""The steps of the bench. Oracles: the design's order of steps; invariants over every order of events."""

from __future__ import annotations

import json
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from frusta.bench.events import (
    EVENTS,
    Added,
    Began,
    Chosen,
    Ended,
    Ending,
    Failed,
    Fetched,
    Kept,
    Levelled,
    Mended,
    NotWeighed,
    Recorded,
    Repeated,
    Reseated,
    Seated,
    Skipped,
    SoundStopped,
    SweepBegan,
    Tabled,
    TakeFaultNote,
    TakeVerdict,
    Turn,
    Undone,
    Weighed,
    from_plain,
    to_plain,
)
from frusta.bench.steps import State, after, begin, replay
from frusta.errors import PackageError, ParameterError

QUEUE = (Turn("heron", 1, "check first"), Turn("rush-1", 1), Turn("sedge-1", 1), Turn("heron", 2, "check last"))
BEGAN = Began("day-1", QUEUE, weigh=("rush-1",))
VERDICT = TakeVerdict("ok", (TakeFaultNote("level", "at 1 s", "turn it down"),), {"level_db": 80.0}, {}, ("clean",))


def recorded(name: str) -> Recorded:
    return Recorded(name, f"recordings/day-1/{name}.wav", VERDICT, "2026-05-09T10:00:00Z")


def go(*events: object, start: State | None = None) -> State:
    state = start or begin(BEGAN)
    for event in events:
        state = after(state, event)  # type: ignore[arg-type]
    return state


def one_take(name: str) -> list[object]:
    return [Seated(), Levelled(-3.0, 80.0), SweepBegan(name), recorded(name)]


def test_the_way_of_a_cone():
    state = begin(BEGAN)
    told = [state.step]
    for event in [Fetched(), *one_take("a"), Kept(), Fetched(), Weighed(4.9), *one_take("b"), Kept()]:
        state = after(state, event)
        told.append(state.step)
    assert told == [
        *("cone", "seat", "level", "sweep", "sweep", "verdict", "cone"),
        *("weigh", "seat", "level", "sweep", "sweep", "verdict", "cone"),
    ]
    assert state.kept == ("a", "b")
    assert state.masses["rush-1"] == ("mass_g", 4.9, "")


def test_repeat_keeps_the_seating_and_reseat_does_not():
    repeated = go(Fetched(), *one_take("a"), Repeated())
    assert (repeated.step, repeated.drive_gain_db) == ("sweep", -3.0)
    assert go(Fetched(), *one_take("a"), Reseated()).step == "seat"
    assert [t.take for t in repeated.made] == ["a"]
    assert repeated.kept == ()


def test_a_series_of_levels_stays_on_one_seating():
    state = go(Fetched(), *one_take("a"), Kept(), start=begin(Began("d", QUEUE, levels_db=(0.0, -6.0))))
    assert (state.step, state.level_index) == ("sweep", 1)
    state = go(SweepBegan("b"), recorded("b"), Kept(), start=state)
    assert (state.step, state.level_index, state.queue[0].specimen) == ("cone", 0, "rush-1")


@pytest.mark.parametrize(
    ("events", "step"),
    [
        ([Fetched()], "cone"),
        ([Fetched(), Seated()], "seat"),
        ([Fetched(), Seated(), Levelled(0.0)], "seat"),
        ([Fetched(), *one_take("a")], "seat"),
        ([Fetched(), *one_take("a"), Kept()], "verdict"),
        ([Fetched(), *one_take("a"), Repeated()], "verdict"),
        ([Skipped()], "cone"),
        ([Ending()], "cone"),
    ],
)
def test_undo_leads_to_before_the_last_decision_and_loses_no_take(events, step):
    before = go(*events)
    state = after(before, Undone())
    assert state.step == step
    assert state.made == before.made


def test_undo_of_a_mass_puts_back_what_the_table_said():
    start = begin(Began("d", QUEUE[1:], weigh=("rush-1",)))
    state = go(Fetched(), Weighed(9.4, "mass_g", "4.7"), Undone(), start=start)
    assert state.step == "weigh"
    assert state.masses["rush-1"] == ("mass_g", None, "4.7")


def test_undo_at_the_beginning_says_so():
    with pytest.raises(ParameterError, match="nothing to take back"):
        after(begin(BEGAN), Undone())


def test_the_check_cone_stays_last():
    state = go(Skipped(), Added("rush-9", 2), Fetched(), NotWeighed())
    assert [t.specimen for t in state.queue] == ["rush-1", "sedge-1", "rush-9", "rush-9", "heron"]
    ended = go(Fetched(), *one_take("a"), Kept(), Ending())
    assert [t.why for t in ended.queue] == ["check last"]
    assert {t.specimen for t in ended.skipped} == {"rush-1", "sedge-1"}
    assert go(Ending()).step == "done", "nothing was measured, so nothing needs the check cone"


def test_a_cone_can_be_chosen_or_measured_once_more():
    assert go(Chosen("sedge-1")).queue[0] == Turn("sedge-1", 1)
    skipped = go(Fetched(), *one_take("a"), Kept(), Skipped())
    assert after(skipped, Chosen("rush-1")).queue[0] == Turn("rush-1", 1)
    assert go(Chosen("old-1", 4)).queue[0] == Turn("old-1", 4)


def test_a_failure_leads_back_to_where_nothing_is_taken_for_granted():
    assert go(Fetched(), Seated(), Failed("gone"), Mended()).step == "seat"
    at_verdict = go(Fetched(), *one_take("a"), Failed("disk full"), Failed("again"), Mended())
    assert at_verdict.step == "verdict"
    assert at_verdict.take is not None


def test_what_cannot_happen_is_refused_and_changes_nothing():
    with pytest.raises(ParameterError, match=r"Kept must come in step verdict \(now: cone\)"):
        after(begin(BEGAN), Kept())
    with pytest.raises(ParameterError, match="must begin with the beginning"):
        replay([Fetched()])


EXAMPLES = [
    BEGAN,
    Fetched(),
    Skipped(),
    Chosen("rush-1", 2),
    Added("new-1", 2),
    Weighed(4.9, "mass_with_coil_g", "5"),
    NotWeighed(),
    Seated(),
    Levelled(-2.0, 80.0, 80.0),
    SweepBegan("a", -2.0),
    SoundStopped(),
    recorded("a"),
    Kept(),
    Repeated(),
    Reseated(),
    Failed("what", "where", "do"),
    Mended(),
    Undone(),
    Ending(),
    Ended(),
    Tabled(),
]


def test_every_event_survives_the_journal():
    assert {type(e) for e in EXAMPLES} == set(EVENTS.values())
    for event in EXAMPLES:
        assert from_plain(json.loads(json.dumps(to_plain(event)))) == event


def test_an_event_of_another_version_is_refused():
    with pytest.raises(PackageError, match="must hold events of this version"):
        from_plain({"event": "Teleported"})


ONWARD = {
    "cone": (Fetched,),
    "weigh": (Weighed, NotWeighed),
    "seat": (Seated,),
    "level": (Levelled,),
    "sweep": (SweepBegan, Recorded),
    "verdict": (Kept, Repeated, Reseated),
    "fault": (Mended,),
}
"""Without a push onwards a walk seldom comes to a take."""


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_whatever_happens_no_take_is_lost_and_the_journal_is_the_whole_memory(seed):
    """Random walks over all events: takes only grow, what is kept was made, a replay gives the same state."""
    draw = random.Random(seed)
    state, events = begin(BEGAN), [BEGAN]
    for number in range(80):
        onward = [e for e in EXAMPLES[1:] if type(e) in ONWARD.get(state.step, ())]
        event = draw.choice(onward) if onward and draw.random() < 0.6 else draw.choice(EXAMPLES[1:])
        if isinstance(event, Recorded):
            event = recorded(f"t{number}")
        try:
            new = after(state, event)
        except ParameterError:
            continue
        assert new.made[: len(state.made)] == state.made
        assert set(new.kept) <= {t.take for t in new.made}
        assert (new.step == "done") == (not new.queue)
        assert new.take is None or new.take.take not in new.kept
        state = new
        events.append(event)
    assert replay(from_plain(json.loads(json.dumps(to_plain(e)))) for e in events) == state
