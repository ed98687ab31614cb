"""The documentation builds without a warning, its links hold, and the package is described as the code reads it."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from frusta.campaign.rows import TABLES
from frusta.version import __version__

ROOT = Path(__file__).parents[2]
pytestmark = pytest.mark.xdist_group("pages")


def run(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    """Run a Python program of the source tree."""
    return subprocess.run(
        [sys.executable, *map(str, arguments)], cwd=ROOT, capture_output=True, text=True, check=False, timeout=280
    )


@pytest.fixture(scope="module")
def pages(tmp_path_factory) -> Path:
    """The built pages; a warning of Sphinx is an error."""
    out = tmp_path_factory.mktemp("pages")
    built = run("-m", "sphinx", "-W", "--keep-going", "-q", "-d", out / "doctrees", "-b", "html", "docs", out / "html")
    assert built.returncode == 0, built.stdout + built.stderr
    return out / "html"


def test_every_link_holds_and_nothing_is_fetched(pages):
    checked = run("tools/check_links.py", pages, "README.md", "CONTRIBUTING.md")
    assert checked.returncode == 0, checked.stderr


def test_a_dead_link_is_found(tmp_path):
    """The check itself can fail: a link, a place in a page, a script from elsewhere, a link of a Markdown file."""
    (tmp_path / "a.html").write_text(
        '<a href="b.html">b</a> <a href="#here">c</a> <script src="https://example.org/x.js"></script>'
    )
    (tmp_path / "a.md").write_text("[b](b.md) and `[not](this)`")
    checked = run("tools/check_links.py", tmp_path, tmp_path / "a.md")
    assert checked.returncode == 1
    for fault in ("b.html leads nowhere", "#here names a place", "loads https://example.org", "b.md leads nowhere"):
        assert fault in checked.stderr


def test_every_column_stands_on_the_page_of_the_package(pages):
    page = (pages / "package.html").read_text("utf-8")
    for name, model in TABLES.items():
        schema = json.loads((pages / "schemas" / f"{name}.json").read_text("utf-8"))
        assert [field["name"] for field in schema["fields"]] == list(model.model_fields)
        assert all(field["description"].endswith(".") for field in schema["fields"])
        assert all(f">{column}<" in page for column in model.model_fields), name
        assert f"{name}.csv" in page


def test_every_command_stands_on_its_page(pages):
    page = (pages / "commands.html").read_text("utf-8")
    for command in ("frusta analyse", "frusta shelf compare", "frusta printfile"):
        assert f"<h3>{command}<" in page or f"<h4>{command}<" in page
    assert f"version {__version__}" in page


def test_the_documentation_names_no_place_of_this_machine():
    for path in [*ROOT.glob("*.md"), *ROOT.glob("docs/**/*.md"), *ROOT.glob("docs/**/*.ipynb")]:
        text = path.read_text("utf-8")
        for private in (f"{ROOT}/", f"{Path.home()}/"):
            assert private not in text, f"{path.name} names {private}"
