"""Goal and limits of the search on the page: the fields give what the terminal's options give, or are refused.

Oracle: `frusta next`'s own reader of its options, `frusta.campaign.wish_words.wish_of` and `read_goal`.
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from frusta.campaign.findings import Findings
from frusta.campaign.next_print import NextPrint
from frusta.campaign.package import open_package
from frusta.campaign.wish_words import wish_of
from frusta.design.goal import WEIGHTS, read_goal
from frusta.material.learned import Learned
from frusta.web.desk import Desk
from frusta.web.goal_form import GoalAsked
from frusta.web.kept_analysis import Known
from frusta.web.rooms import next_print as room


def test_untouched_fields_leave_all_to_the_campaign() -> None:
    assert GoalAsked().goal() is None
    assert GoalAsked().wish() == wish_of(None, {})
    assert GoalAsked().command("quay") == "frusta next quay"


def test_fields_give_what_the_terminal_gives() -> None:
    asked = GoalAsked(
        evenness="40,5", mass="", band_low_hz="250", band_high_hz="4000", rim_mm="40 to 42", bow_mm="\u22122:0"
    )
    words = shlex.split(asked.command("quay"))
    goal = words[words.index("--goal") + 1]
    options = dict(word.removeprefix("--").split("=") for word in words if "=" in word)
    limits = {name.replace("-", "_"): text for name, text in options.items()}
    assert asked.wish() == wish_of(goal, limits)
    weights, band = read_goal(goal)
    assert weights == {**WEIGHTS, "evenness": 40.5, "mass": 0.0}
    assert band == (250.0, 4000.0)
    assert asked.wish().rim_mm == (40.0, 42.0)
    assert asked.wish().bow_mm == (-2.0, 0.0)


@pytest.fixture
def asked_of(campaign: Path, serve: Callable[..., Any], monkeypatch: pytest.MonkeyPatch) -> tuple[str, list[Any]]:
    """The address of a campaign whose takes count as read, and what searches were asked."""
    calls: list[Any] = []

    def searched(package: Any, *_: Any, wish: Any, search: bool, **__: Any) -> NextPrint:
        calls.append((wish, search))
        reasons = {"suggestions": "nothing was recorded yet, so no question is open", "answers": "was not looked for"}
        return NextPrint("quay", (), {}, {}, (), None, (), (), None, (), reasons, False)

    package = open_package(campaign)
    known = Known(Findings(campaign="quay", made_by="test"), {}, Learned(), "read", package)
    monkeypatch.setattr(Desk, "look", lambda self: known)
    monkeypatch.setattr(Desk, "is_stale", lambda self: False)
    monkeypatch.setattr(room, "next_print", searched)
    return serve(campaign).address, calls


def started(page: Page) -> None:
    """Wait until the work that was started has been told."""
    expect(page.locator("#next-print")).to_contain_text("The same in the terminal")


def test_goal_and_limits_are_filled_in_by_keyboard(asked_of: tuple[str, list[Any]], open_page: Callable[..., Page]):
    address, calls = asked_of
    page = open_page(address + "next", expect="422")
    summary = page.locator("#goal-fields summary")
    expect(summary).to_contain_text("300\u00a0Hz to 5\u00a0kHz; the usual weights; sizes within a fifth of your cones")
    summary.focus()
    page.keyboard.press("Enter")
    page.locator("#g-rim_mm").focus()
    page.keyboard.type("wide")
    page.keyboard.press("Enter")
    trouble = page.get_by_role("alert")
    expect(trouble).to_contain_text("Radius of the rim must be LOW:HIGH or one number")
    expect(page.locator("#g-rim_mm")).to_have_value("wide")
    assert calls == []
    page.locator("#g-rim_mm").fill("40 to 42")
    page.locator("#g-evenness").fill("40")
    page.keyboard.press("Enter")
    started(page)
    assert calls == [(wish_of(f"{', '.join(f'{p} {w:g}' for p, w in (WEIGHTS | {'evenness': 40.0}).items())}",
                              {"rim_mm": "40:42"}), True)]  # fmt: skip
    expect(trouble).to_be_empty()
    expect(page.locator("#next-print")).to_contain_text(re.compile('rim-mm="40 to 42"'))
    page.reload()
    expect(summary).to_contain_text("weights of your own; radius of the rim 40 to 42")
    expect(page.locator("#g-evenness")).to_have_value("40")


def test_only_what_would_tell_most_looks_for_no_cone(asked_of: tuple[str, list[Any]], open_page: Callable[..., Page]):
    address, calls = asked_of
    page = open_page(address + "next")
    page.get_by_role("button", name="Only what would tell most").click()
    started(page)
    assert calls == [(wish_of(None, {}), False)]
    expect(page.locator("#next-print")).to_contain_text("frusta next quay --questions-only")
