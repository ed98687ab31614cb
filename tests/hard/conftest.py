"""What the hard tests share: the targets of the fuzzer, and a small package."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))


@pytest.fixture
def short_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Caches and memory of rigs stay out of the user's folders."""
    for name in ("FRUSTA_CACHE", "FRUSTA_CONFIG"):
        monkeypatch.setenv(name, str(tmp_path / name.lower()))
    return tmp_path


sys.path.insert(0, str(Path(__file__).parents[1] / "publish"))
sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))
