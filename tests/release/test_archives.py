"""Wheel and sdist hold what a user needs; the full trial on fresh environments is `make release-check`."""

from __future__ import annotations

import itertools
import re
import subprocess
import sys
import tarfile
import zipfile
from email.parser import Parser
from pathlib import Path

import pytest

from frusta.version import __version__

ROOT = Path(__file__).parents[2]
pytestmark = pytest.mark.xdist_group("archives")


@pytest.fixture(scope="module")
def archives(tmp_path_factory) -> Path:
    """Wheel and sdist of the source tree, built with the installed build backend, so without network."""
    out = tmp_path_factory.mktemp("dist")
    built = subprocess.run(
        [sys.executable, "-m", "build", "--no-isolation", "--sdist", "--wheel", "--outdir", str(out), str(ROOT)],
        capture_output=True,
        text=True,
        check=False,
        timeout=280,
    )
    assert built.returncode == 0, built.stdout + built.stderr
    return out


def test_the_wheel_holds_every_file_of_the_package(archives):
    (wheel,) = archives.glob(f"frusta-{__version__}-py3-none-any.whl")
    with zipfile.ZipFile(wheel) as archive:
        held = set(archive.namelist())
        info = f"frusta-{__version__}.dist-info"
        metadata = Parser().parsestr(archive.read(f"{info}/METADATA").decode())
        entries = archive.read(f"{info}/entry_points.txt").decode()
    source = ROOT / "src"
    wanted = {str(p.relative_to(source)) for p in (source / "frusta").rglob("*") if p.is_file() and p.suffix != ".pyc"}
    assert wanted <= held
    assert not {name for name in held if name.startswith(("tests", "docs", "tools"))}
    for part in ("web/templates", "web/static", "publish/assets", "publish/templates", "campaign/shelf/migrations"):
        assert any(name.startswith(f"frusta/{part}/") for name in held), part
    assert any(re.search(r"web/static/htmx.*\.js$", name) for name in held)
    assert "frusta = frusta.cli.main:main" in entries
    assert metadata["Version"] == __version__
    assert metadata["Requires-Python"] == ">=3.11"
    assert f"{info}/licenses/LICENSE" in held
    assert len(metadata.get_all("License-File")) >= 3  # ours, and one for each thing of others that is inside


def test_the_sdist_can_set_itself_up_test_and_document_itself(archives):
    (sdist,) = archives.glob(f"frusta-{__version__}.tar.gz")
    with tarfile.open(sdist) as archive:
        held = {name.partition("/")[2] for name in archive.getnames()}
    wanted = {
        "Makefile", "pyproject.toml", "constraints.txt", "README.md", "CHANGELOG.md", "CONTRIBUTING.md", "CITATION.cff",
        "LICENSE", "tools/check_python.py", "tools/system_packages.sh", "tools/try_release.sh", "docs/conf.py",
        "docs/extensions/written_from_the_code.py", "docs/pictures/report-top.png", "tests/conftest.py",
    }  # fmt: skip
    assert wanted <= held, wanted - held
    assert not any(name.startswith(("docs/_build", ".venv", "frusta-demo")) for name in held)


def test_the_citation_names_this_version():
    text = (ROOT / "CITATION.cff").read_text("utf-8")
    assert re.search(rf"^version: {re.escape(__version__)}$", text, re.MULTILINE)
    assert re.search(r"^cff-version: 1\.2\.0$", text, re.MULTILINE)


def test_the_changelog_lists_versions_newest_first():
    """Headings are ``## Unreleased`` (first, if there) and ``## 1.2.3 (2026-11-25)``; the newest is not over ours."""
    headings = re.findall(r"^## (.+)$", (ROOT / "CHANGELOG.md").read_text("utf-8"), re.MULTILINE)
    released = [h for h in headings if h != "Unreleased"]
    assert headings[0] == "Unreleased" or headings == released
    assert "Unreleased" not in headings[1:]
    versions = []
    for heading in released:
        found = re.fullmatch(r"(\d+)\.(\d+)\.(\d+) \(\d{4}-\d\d-\d\d\)", heading)
        assert found, f"{heading!r} is not VERSION (DATE)"
        versions.append([int(part) for part in found.groups()])
    assert all(newer > older for newer, older in itertools.pairwise(versions))
    assert all(version <= [int(part) for part in __version__.split(".")] for version in versions)
