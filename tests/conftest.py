"""Fixtures shared by all tests."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile("steady", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("steady")  # the same examples on every machine, however slow it is


@pytest.fixture(autouse=True, scope="session")
def _own_log(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Commands that tests run log to a folder of the tests'."""
    patch = pytest.MonkeyPatch()
    patch.setenv("FRUSTA_STATE", str(tmp_path_factory.mktemp("state")))
    yield
    patch.undo()


@pytest.fixture(scope="session")
def reference_data() -> Path:
    """Folder of the recordings made by others (see FRUSTA_REFERENCE_DATA in the README)."""
    default = Path(__file__).resolve().parents[2] / "shared" / "data"
    folder = Path(os.environ.get("FRUSTA_REFERENCE_DATA", default))
    if not folder.is_dir():
        pytest.fail(f"reference data not found at {folder}; set FRUSTA_REFERENCE_DATA to its folder")
    return folder
