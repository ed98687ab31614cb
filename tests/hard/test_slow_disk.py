"""A disk that does not answer: nothing counts before it is written, and sound can still be stopped.

Oracle: the order of events, held by the test itself: the disk answers when the test says so, not after some time.
"""

from __future__ import annotations

import os
import threading
from datetime import date

from small_package import make_device, make_guide, make_package

from frusta.bench.events import Fetched
from frusta.bench.journal import journal_of, latest_session
from frusta.bench.sitting import begin_sitting, planned_turns
from frusta.campaign.package import open_package

PATIENCE_S = 60.0


def test_while_the_disk_hangs_nothing_counts_and_sound_can_be_stopped(tmp_path, monkeypatch):
    root = make_package(tmp_path / "quay")
    device = make_device(root)
    guide = make_guide(root, device, target_db=None)
    package = open_package(root)
    guide.begin(begin_sitting(package, package.rigs["jetty"], planned_turns(package, 1)[:1], date(2026, 5, 9)))
    waiting, answer = threading.Event(), threading.Event()
    stopped: list[str] = []
    flush, stop = os.fsync, device.stop

    def hanging(handle: int) -> None:
        waiting.set()
        assert answer.wait(PATIENCE_S)
        flush(handle)

    monkeypatch.setattr(os, "fsync", hanging)
    monkeypatch.setattr(device, "stop", lambda: (stopped.append("stopped"), stop()))
    pressing = threading.Thread(target=guide.press, args=(Fetched(),))
    pressing.start()
    assert waiting.wait(PATIENCE_S)
    before = guide.state.step
    stopping = threading.Thread(target=guide.stop)
    stopping.start()
    stopping.join(PATIENCE_S)
    assert stopped == ["stopped"]
    assert not stopping.is_alive(), "to stop must wait for no disk"
    assert pressing.is_alive()
    assert guide.state.step == before == "cone", "what is not on the disk does not count"
    answer.set()
    pressing.join(PATIENCE_S)
    assert guide.state.step != "cone"
    session = latest_session(root)
    assert session is not None
    assert isinstance(journal_of(root, session).read()[-1], Fetched)
    guide.close()
