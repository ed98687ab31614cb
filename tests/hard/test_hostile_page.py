"""What a package from elsewhere says is shown as words, never run; what a page from elsewhere asks is not done.

Oracle: the HTML as a parser reads it, held against the same page of a harmless twin: as many elements that load, run
or send something, none with a script of its own, and the hostile words among the text.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest
from asking import HOST, Asked
from lxml import etree, html
from workshop import Workshop, invent

from frusta.campaign.lessons import package_digest
from frusta.material.learned import Learned
from frusta.publish import render
from frusta.publish.report import publish
from frusta.web.kept_analysis import Known

EVIL = (
    "<script>frustaEvil()</script>",
    '"><img src=x onerror=frustaEvil()>',
    "</script></style></title><svg onload=frustaEvil()>",
    "javascript:frustaEvil()",
    "{{ 7 * 191 }}${7*191}#{7*191}",
    "' onmouseover='frustaEvil()",
)
TAME = ("Heather", "Gorse", "Bracken", "Sedge", "Rowan", "Alder")
ROOMS = (
    "/bench", "/cones", "/cones/m0-c0-p0-1", "/differences", "/differences/figure", "/differences/curves",
    "/differences/stays", "/next", "/report", "/import", "/tables/materials", "/tables/specimens", "/tables/takes",
    "/tables/campaign", "/reading", "/nowhere",
)  # fmt: skip


def _shop(words: tuple[str, ...]) -> Workshop:
    return Workshop(names=words, profiles=1, materials=3, prints=2, title=f"{words[0]} {words[2]}", question=words[1])


def _with_words_everywhere(folder: Path, words: tuple[str, ...]) -> None:
    """Put the words into every column of free text."""
    for table, columns in (("specimens", "batch,notes"), ("takes", "notes,taken_at"), ("sessions", "notes")):
        path = folder / f"{table}.csv"
        lines = path.read_text("utf-8").splitlines()
        cells = ['"' + word.replace('"', '""') + '"' for word in words]
        wide = range(columns.count(",") + 1)
        rows = [",".join([line, *(cells[(n + k) % len(cells)] for k in wide)]) for n, line in enumerate(lines[1:])]
        path.write_text("\n".join([f"{lines[0]},{columns}", *rows]) + "\n", "utf-8")
    history = ["specimen,date,event,details", *(f"m0-c0-p0-1,2026-05-01,{cell},{cell}" for cell in cells)]
    (folder / "history.csv").write_text("\n".join(history) + "\n", "utf-8")


@pytest.fixture(scope="module")
def pages(tmp_path_factory) -> tuple[Asked, Asked]:
    """A hostile campaign and its harmless twin, each with what was read of it."""
    patch = pytest.MonkeyPatch()
    place = tmp_path_factory.mktemp("hostile")
    for name in ("FRUSTA_CACHE", "FRUSTA_CONFIG"):
        patch.setenv(name, str(place / name))
    made = []
    for name, words in (("evil", EVIL), ("tame", TAME)):
        invented = invent(place / name, _shop(words))
        _with_words_everywhere(place / name, words)
        asked = Asked(place / name)
        package = asked.desk.package
        asked.desk.known = Known(invented.findings, invented.curves, Learned(), package_digest(package), package)
        made.append(asked)
    yield made[0], made[1]
    patch.undo()


LOADING = ("script", "style", "img", "iframe", "object", "embed", "link", "meta", "base", "form")


def _loading(text: str) -> Counter[str]:
    """How many elements there are that load, run or send something."""
    return Counter(e.tag for e in html.document_fromstring(text).iter() if e.tag in LOADING)


def _dangers(text: str) -> list[str]:
    """What would run: elements and attributes that carry the hostile words as code."""
    found = []
    for element in html.document_fromstring(text).iter():
        if not isinstance(element.tag, str):
            continue
        runs = element.tag in ("script", "style") and element.get("type") != "application/json"
        if runs and "frustaEvil" in (element.text or ""):
            found.append(f"{element.tag}: {element.text}")
        found += [f"{element.tag} {k}={v}" for k, v in element.attrib.items() if k.startswith("on")]
        links = [element.get(k, "") for k in ("href", "src", "action", "formaction", "xlink:href")]
        found += [f"{element.tag} {v}" for v in links if v.strip().lower().startswith("javascript:")]
    return found


@pytest.mark.parametrize("room", ROOMS)
def test_words_of_a_package_are_never_part_of_a_page(pages, room):
    evil, tame = (asked("GET", room, headers={"accept": "text/html"}) for asked in pages)
    assert evil.status_code == tame.status_code
    assert evil.status_code < 500
    assert _dangers(evil.text) == []
    assert "1337" not in evil.text.replace(EVIL[4], "")
    assert _loading(evil.text) == _loading(tame.text)


def test_the_words_were_really_on_the_pages(pages):
    """Else the test above would hold of empty pages."""
    shown = "".join(html.document_fromstring(pages[0]("GET", room).text).text_content() for room in ROOMS)
    for word in EVIL[:3]:
        assert word in shown, word


def test_words_of_a_package_are_never_part_of_a_report(pages, tmp_path, monkeypatch):
    known = pages[0].desk.known
    monkeypatch.setattr(render, "png", lambda svg, scale=2.0: b"\x89PNG")
    evil = publish(known, known.package, tmp_path / "evil").read_text("utf-8")
    assert _dangers(evil) == []
    assert "frustaEvil" in html.document_fromstring(evil).text_content()
    for picture in (tmp_path / "evil").rglob("*.svg"):
        elements = [e for e in etree.parse(picture).iter() if isinstance(e.tag, str)]
        assert not any(e.tag.endswith("}script") for e in elements)
        assert [name for e in elements for name in e.attrib if name.startswith("on")] == []


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": "file://"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"host": "evil.example:8418"},
        {"host": f"{HOST}.evil.example"},
        {"host": f"evil.example@{HOST}"},
        {"content-length": "-1"},
        {"content-length": str(2**40)},
        {"content-length": "\u0661"},
    ],
)
@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("PUT", "/api/tables/materials"), ("DELETE", "/api/tables/materials/m0"), ("POST", "/api/campaign"),
        ("POST", "/api/undo"), ("POST", "/api/bench/begin"), ("POST", "/api/report"), ("POST", "/api/import/apply"),
        ("POST", "/api/import/campaign"), ("POST", "/api/works/reading/start"),
    ],
)  # fmt: skip
def test_what_a_page_from_elsewhere_asks_is_not_done(pages, method, path, headers):
    asked = pages[1]
    before = {p.name: p.read_bytes() for p in asked.desk.path.glob("*.csv")}
    raw = {key: value.encode() for key, value in headers.items()}
    answer = asked(method, path, headers=raw, content=b"{}")
    assert answer.status_code in (403, 413, 421)
    assert {p.name: p.read_bytes() for p in asked.desk.path.glob("*.csv")} == before
