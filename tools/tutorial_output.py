"""Write what the demo really said into the tutorial.

``frusta demo DIR > demo.txt; python tools/tutorial_output.py demo.txt`` replaces the block after each mark
``<!-- demo: HEADING -->`` of docs/tutorial.md by the demo's lines under that heading.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

TUTORIAL = Path(__file__).parents[1] / "docs" / "tutorial.md"
MARK = re.compile(r"(<!-- demo: (.+?) -->\n```text\n).*?(```\n)", re.DOTALL)


def section(said: str, heading: str) -> str:
    """The lines under a heading, up to the next line that is not indented."""
    lines = said.splitlines()
    begin = next((i for i, line in enumerate(lines) if line.startswith(heading)), None)
    if begin is None:
        sys.exit(f"the demo said nothing under {heading!r}; correct the mark in {TUTORIAL.name}")
    end = next((i for i in range(begin + 1, len(lines)) if not lines[i].startswith("  ")), len(lines))
    return "\n".join(lines[begin:end]) + "\n"


def main(said: str) -> None:
    """Fill every mark."""
    text = TUTORIAL.read_text("utf-8")
    TUTORIAL.write_text(MARK.sub(lambda found: found[1] + section(said, found[2]) + found[3], text), "utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]).read_text("utf-8"))
