"""Hold every link of the built documentation, and of the Markdown beside the code, against what is there. No network.

``python tools/check_links.py docs/_build/html README.md CONTRIBUTING.md``
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit


class Page(HTMLParser):
    """Where a page points to, what it loads, and which places of it have a name."""

    def __init__(self) -> None:
        super().__init__()
        self.links: list[str] = []
        self.loads: list[str] = []
        self.names: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = {key: value for key, value in attrs if value}
        self.names |= {found[key] for key in ("id", "name") if key in found}
        if tag == "a" and "href" in found:
            self.links.append(found["href"])
        elif "src" in found:
            self.loads.append(found["src"])
        elif tag == "link" and "href" in found and found.get("rel") not in ("index", "search", "next", "prev"):
            self.loads.append(found["href"])


def read_page(path: Path) -> Page:
    """Parse one page."""
    page = Page()
    page.feed(path.read_text("utf-8"))
    return page


def faults_of_pages(folder: Path) -> Iterator[str]:
    """Dead links and missing places of a folder of pages; and whatever they would fetch from elsewhere."""
    pages = {path.resolve(): read_page(path) for path in sorted(folder.rglob("*.html"))}
    for path, page in pages.items():
        where = path.relative_to(folder.resolve())
        yield from (f"{where}: loads {load} from elsewhere" for load in page.loads if urlsplit(load).netloc)
        for link in page.links + page.loads:
            parts = urlsplit(link)
            if parts.scheme or parts.netloc:
                continue
            target = (path.parent / unquote(parts.path)).resolve() if parts.path else path
            if not target.exists():
                yield f"{where}: {link} leads nowhere"
            elif parts.fragment and target in pages and unquote(parts.fragment) not in pages[target].names:
                yield f"{where}: {link} names a place that is not there"


def faults_of_markdown(path: Path) -> Iterator[str]:
    """Dead relative links of one Markdown file."""
    text = re.sub(r"^```.*?^```$", "", path.read_text("utf-8"), flags=re.MULTILINE | re.DOTALL)
    for link in re.findall(r"\]\(([^)\s]+)\)", text):
        parts = urlsplit(link)
        if not parts.scheme and parts.path and not (path.parent / unquote(parts.path)).exists():
            yield f"{path.name}: {link} leads nowhere"


def main(places: list[Path]) -> None:
    """Print what is dead, or how much was looked at."""
    faults: list[str] = []
    for place in places:
        if not place.exists():
            faults.append(f"{place}: is not there")
        else:
            faults += faults_of_pages(place) if place.is_dir() else faults_of_markdown(place)
    if faults:
        sys.exit("\n".join(faults))
    print(f"links hold: {', '.join(map(str, places))}")


if __name__ == "__main__":
    main([Path(place) for place in sys.argv[1:]])
