"""The command line as a shell calls it."""

from __future__ import annotations

import os
import subprocess
import sys


def frusta(*arguments: object, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run a command to its end, with these variables set besides."""
    return subprocess.run(
        [sys.executable, "-m", "frusta", *map(str, arguments)],
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=120,
        check=False,
    )
