"""`frusta publish` hands on what was chosen.

Oracle: what the report's own function is called with; what it makes of it is tested beside it.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from frusta.campaign import analysis
from frusta.cli.main import app
from frusta.publish import report


@pytest.mark.parametrize(
    ("options", "private", "slides"),
    [([], True, False), (["--without-private"], False, False), (["--slides"], True, True)],
)
def test_what_is_chosen_is_handed_on(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, options: list[str], private: bool, slides: bool
):
    calls: list[dict[str, Any]] = []

    def published(*_: Any, **told: Any) -> Path:
        calls.append(told)
        return tmp_path / "out" / "report.html"

    monkeypatch.setattr(analysis, "analyse", lambda *_, **__: None)
    monkeypatch.setattr(report, "publish", published)
    done = CliRunner().invoke(app, ["publish", str(tmp_path), "--out", str(tmp_path / "out"), *options])
    assert done.exit_code == 0, done.output
    assert [(told["private"], told["slides"]) for told in calls] == [(private, slides)]
