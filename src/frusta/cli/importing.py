"""`frusta import`: recordings made elsewhere become takes."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer
