"""A page whose takes count as read: findings and curves of the invented workshop."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from workshop import Workshop, invent

from frusta.campaign.package import open_package
from frusta.material.learned import Learned
from frusta.web.desk import Desk
from frusta.web.kept_analysis import Known


@pytest.fixture
def read_page(tmp_path: Path, serve: Callable[..., Any], monkeypatch: pytest.MonkeyPatch) -> Callable[..., str]:
    """Serve an invented campaign that was read, and return the page's address."""

    def start(shop: Workshop | None = None) -> str:
        folder = tmp_path / "hedgerow"
        folder.mkdir()
        invented = invent(folder, shop or Workshop())
        known = Known(invented.findings, invented.curves, Learned(), "read", open_package(folder))
        monkeypatch.setattr(Desk, "look", lambda self: known)
        monkeypatch.setattr(Desk, "is_stale", lambda self: False)
        monkeypatch.setattr(Desk, "ensure_read", lambda self: known)
        return str(serve(folder).address)

    return start
