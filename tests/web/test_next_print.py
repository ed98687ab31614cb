"""What to print next in the page: asked for, worked out beside it, told; stopped, it tells what was found.

Oracle: the same function of the campaign, called directly; its JSON.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from frusta.campaign.findings import Findings
from frusta.campaign.next_file import next_document
from frusta.campaign.next_print import next_print
from frusta.campaign.package import open_package
from frusta.material.learned import Learned
from frusta.web.access import Access
from frusta.web.app import make_app
from frusta.web.desk import Desk
from frusta.web.kept_analysis import Known
from frusta.web.rooms import next_print as room

TOKEN = "k" * 24
FEW = partial(next_print, first=2, later=0)


@pytest.fixture
def desk(campaign: Path, monkeypatch: pytest.MonkeyPatch) -> Desk:
    """A campaign whose takes count as read; nothing was learned from them."""
    desk = Desk(campaign, "virtual:fast", 1)
    findings = Findings(campaign="quay", made_by="test")
    known = Known(findings, {}, Learned(), "read", open_package(campaign))
    monkeypatch.setattr(desk, "look", lambda: known)
    monkeypatch.setattr(desk, "is_stale", lambda: False)
    monkeypatch.setattr(room, "next_print", FEW)
    return desk


@pytest.fixture
def web(desk: Desk, web_for: Callable[..., Any]) -> Any:
    return web_for(make_app(desk, Access(TOKEN, frozenset({"127.0.0.1:1"}))), "http://127.0.0.1:1")


def at(path: str) -> str:
    return f"/{TOKEN}{path}"


def ended(desk: Desk) -> str:
    """Wait for the work's end, however slow the machine."""
    work = desk.works.get("next")
    assert work is not None
    assert work.thread is not None
    work.thread.join()
    return work.standing


def test_it_is_worked_out_and_told(desk: Desk, web: Any) -> None:
    before = web.get(at("/next")).text
    assert "Work it out</button>" in before
    assert "to show a difference of" in before
    assert web.get(at("/api/next")).status_code >= 400
    assert web.post(at("/api/works/next/start"), headers={"x-frusta": "1"}).status_code < 300
    assert ended(desk) == "done"
    told = web.get(at("/api/next")).json()
    known = desk.look()
    assert known is not None
    expected = next_document(FEW(known.package, known.findings, known.learned, cores=1))
    assert told == expected
    text = web.get(at("/next/print")).text
    assert "The best cone for 300\u00a0Hz to 5\u00a0kHz" in text
    assert "Put it on the sliders" in text
    assert "The same in the terminal: <code>frusta next quay</code>" in text
    assert 'hx-trigger="load' not in text
    assert "best for the goal" in text
    assert "to show a difference of" not in text


def test_stopped_before_anything_was_found_it_says_so(desk: Desk, web: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(*_: Any, stage: Any, **__: Any) -> None:
        work = desk.works.get("next")
        assert work is not None
        work.stopping.set()
        stage("Trying shapes")(0, 10)

    monkeypatch.setattr(room, "next_print", stopped)
    web.post(at("/api/works/next/start"), headers={"x-frusta": "1"})
    assert ended(desk) == "stopped"
    assert "Stopped before anything was found." in web.get(at("/next/print")).text
