"""The published report, whole: what stands in it, what must not, and that every sort of campaign gives one."""

from __future__ import annotations

import base64
import hashlib
import re
import zipfile
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from workshop import Invented, Workshop, invent

from frusta.errors import OutputError
from frusta.publish import render
from frusta.publish.curves_of import input_distortion
from frusta.publish.report import publish

REAL_PNG = render.png


@pytest.fixture(autouse=True)
def _quick_png(monkeypatch):
    """Pictures are rendered once for real, in the test of the figures; here their bytes do not matter."""
    monkeypatch.setattr(render, "png", lambda svg, scale=2.0: b"\x89PNG")


class Page(HTMLParser):
    """Headings, addresses, texts and labels of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.headings: list[tuple[int, str]] = []
        self.addresses: list[str] = []
        self.labels: list[str] = []
        self.elements: list[str] = []
        self.words: list[str] = []
        self.language = ""
        self._heading: int | None = None
        self._quiet = 0
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        held = dict(attrs)
        self.elements.append(tag)
        self.language = held.get("lang", self.language) if tag == "html" else self.language
        self.addresses += [held[k] for k in ("href", "src", "xlink:href", "action", "data") if held.get(k)]
        if held.get("role") == "img":
            self.labels.append(held.get("aria-label", ""))
        assert not any(k.startswith("on") for k in held), f"an event handler in {tag}"
        assert "style" not in held, f"an inline style in {tag} would be refused by the policy"
        if re.fullmatch("h[1-6]", tag):
            self._heading = int(tag[1])
            self.headings.append((self._heading, ""))
        self._quiet += tag in ("script", "style")

    def handle_endtag(self, tag):
        if re.fullmatch("h[1-6]", tag):
            self._heading = None
        self._quiet -= tag in ("script", "style")

    def handle_data(self, data):
        if self._quiet:
            return
        self.words.append(data)
        if self._heading is not None:
            level, text = self.headings[-1]
            self.headings[-1] = (level, text + data)

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", " ".join(self.words).replace("\u00a0", " "))


def made(folder: Path, shop: Workshop) -> tuple[Page, str, Path, Invented]:
    invented = invent(folder / "package", shop)
    path = publish(invented, invented.package, folder / "out")
    text = path.read_text("utf-8")
    return Page(text), text, path, invented


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    patch = pytest.MonkeyPatch()
    patch.setattr(render, "png", lambda svg, scale=2.0: b"\x89PNG")
    yield made(tmp_path_factory.mktemp("demo"), Workshop(estimates=True, faults=1))
    patch.undo()


def test_the_verdict_comes_first(demo):
    page = demo[0]
    assert page.headings[0][0] == 1
    assert "Heather" in page.headings[0][1]
    assert re.search(r"\d to \d+\s%\)", page.headings[0][1])


def test_the_page_is_small_and_asks_nothing_of_any_network(demo):
    page, text, path, _ = demo
    assert path.stat().st_size < 2_000_000
    assert not re.search(r"https?://(?!www\.w3\.org/)", text)
    beside = [a for a in page.addresses if not a.startswith(("data:", "#"))]
    assert beside
    assert all((path.parent / a).is_file() for a in beside)
    assert "default-src 'none'" in text.replace("&#39;", "'")


def test_the_policy_allows_the_page_its_own_script_and_style(demo):
    text = demo[1]
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', text)
    allowed = set(re.findall(r"sha256-[A-Za-z0-9+/=]+", policy[1].replace("&#39;", "'").replace("&#43;", "+")))
    for tag in ("script", "style"):
        for body in re.findall(rf"<{tag}>(.*?)</{tag}>", text, re.S):
            digest = base64.b64encode(hashlib.sha256(body.encode()).digest()).decode()
            assert f"sha256-{digest}" in allowed


def test_it_can_be_read_by_ear_and_without_scripts(demo):
    page, text, _, _ = demo
    assert page.language == "en"
    levels = [level for level, _ in page.headings]
    assert levels.count(1) == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))
    assert page.elements.count("svg") > 10
    assert len(page.labels) > 10
    assert all("kHz" in label or "points" in label or "%" in label or "±" in label or "dB" in label or "ms" in label
               for label in page.labels)  # fmt: skip
    assert "prefers-color-scheme:dark" in text
    assert "@media print" in text
    assert 'fill="#' not in re.sub(r"<style>.*?</style>", "", text, flags=re.S)


def test_the_sections_stand_in_order(demo):
    heads = [text for level, text in demo[0].headings if level == 2]
    wanted = [
        "Every print, one mark", "Ranking", "Response", "Stays put or moves", "Distortion", "Falling silent",
        "What is clear", "What the filaments are", "Beside finished drivers", "What these recordings do not show",
        "Faulty takes", "Conditions", "Method and cautions",
    ]  # fmt: skip
    assert [next(w for w in wanted if h.startswith(w)) for h in heads] == wanted


def test_faults_say_what_where_and_what_to_do(demo):
    assert "clipped , from 3.21 s, at 880 Hz. Lower the gain by 6 dB and sweep again." in demo[0].text


def test_conditions_are_told(demo):
    text = demo[0].text
    for words in ("19.5 °C", "61 %", "free in air, 150 mm", "steady within", "from 20 Hz to 18 kHz in 6 s"):
        assert words in text


def test_figures_tables_package_and_hashes_lie_beside(demo):
    _, _, path, invented = demo
    folder = path.parent
    names = {p.stem for p in (folder / "figures").glob("*.svg")}
    assert {"ranking", "response-p0", "distortion-p0", "decay-p0", "breakup-p0"} <= names
    assert names == {p.stem for p in (folder / "figures").glob("*.png")}
    assert (folder / "tables" / "readings.csv").read_text("utf-8").count("\n") == len(invented.findings.readings) + 1
    with zipfile.ZipFile(folder / "hedgerow.zip") as archive:
        assert "datapackage.json" in {Path(n).name for n in archive.namelist()}
    for line in (folder / "SHA256SUMS").read_text("utf-8").splitlines():
        digest, name = line.split("  ")
        assert hashlib.sha256((folder / name).read_bytes()).hexdigest() == digest


def test_the_same_findings_give_the_same_bytes(demo, tmp_path):
    _, text, _, invented = demo
    again = publish(invented, invented.package, tmp_path / "again").read_text("utf-8")
    assert [a for a, b in zip(again.splitlines(), text.splitlines(), strict=True) if a != b] == []


def test_a_figure_alone_keeps_font_and_size(tmp_path, monkeypatch):
    monkeypatch.setattr(render, "png", REAL_PNG)
    shop = Workshop(materials=2, profiles=1, seatings=1, driver=False, check=False)
    path = made(tmp_path, shop)[2]
    assert (path.parent / "figures" / "response-p0.png").read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    svg = (path.parent / "figures" / "response-p0.svg").read_text("utf-8")
    assert "@font-face" in svg
    assert 'width="700"' in svg


CASES = {
    "one take": Workshop(
        materials=1, profiles=1, prints=1, seatings=1, driver=False, check=False, with_profile=False, band=None
    ),
    "one material": Workshop(materials=1, profiles=2, prints=3, driver=False),
    "one print each": Workshop(prints=1, profiles=1),
    "nothing good": Workshop(materials=2, profiles=1, good=False),
    "relative": Workshop(materials=2, profiles=1, relative=True),
    "no harmonics, no decay": Workshop(materials=2, profiles=1, harmonics=False, decay=False),
    "twelve long names": Workshop(
        materials=12, profiles=1, seatings=1, names=[f"A filament of the remarkably long name {k}" for k in range(12)]
    ),
    "two recipes": Workshop(materials=2, recipes=2, profiles=1),
}
MUST_SAY = {
    "one take": ["Heather breaks up", "one print: no interval", "nothing to compare it with", "shape not given"],
    "one material": ["Only Heather was recorded"],
    "one print each": ["one print each: no interval", "Scatter between prints."],
    "nothing good": ["None of the 12 takes of this campaign can be used.", "clipped"],
    "relative": ["Levels are relative", "levels are relative"],
    "no harmonics, no decay": ["the sweep is not exponential", "longer than 6.0 ms: the first echo comes before it"],
    "twelve long names": ["straight, 3 of 3"],
    "two recipes": ["Heather, c0", "Heather, c1"],
}


@pytest.mark.parametrize("name", CASES)
def test_every_sort_of_campaign_gives_a_report(name, tmp_path):
    page, text, _, _ = made(tmp_path, CASES[name])
    for words in MUST_SAY[name]:
        assert words in page.text
    assert not re.search(r"\bNone\b(?! of the)|\bnan\b|\bNaN\b|\binf\b|n/a|\(\)|<function", page.text)
    levels = [level for level, _ in page.headings]
    assert all(b - a <= 1 for a, b in pairwise(levels))
    assert "</article>" in text


def test_a_tie_is_called_a_tie(tmp_path):
    """Oracle: two groups drawn from the same distribution, told apart by nothing."""
    shop = Workshop(materials=2, profiles=1, prints=2, driver=False)
    invented = invent(tmp_path / "package", shop)
    rows = []
    for d in invented.findings.differences:
        if d.figure == "breakup_hz":
            d = d.model_copy(update={"low_95": 0.9, "high_95": 1.1, "ratio": 1.01})
        rows.append(d)
    ranking = [r.model_copy(update={"rank_low": 1, "rank_high": 2}) for r in invented.findings.ranking]
    findings = invented.findings.model_copy(update={"differences": tuple(rows), "ranking": tuple(ranking)})
    page = Page(publish(replace(invented, findings=findings), invented.package, tmp_path / "out").read_text("utf-8"))
    head = page.headings[0][1]
    assert "cannot be told apart" in head
    assert "tie" in head
    assert "Print it in" not in head


def test_names_cannot_run_as_script(tmp_path):
    names = ["<script>alert(1)</script>", '"><img src=x onerror=alert(2)>', "{{ 7 * 7 }} & </script>"]
    shop = Workshop(names=names, profiles=1, title="</title><script>alert(3)</script>", question="</style><!--")
    page, text, _, _ = made(tmp_path, shop)
    assert "alert(1)</script>" not in text
    assert "<img" not in text
    assert page.elements.count("script") == 1 + len(re.findall('type="application/json"', text))
    assert "{{ 7 * 7 }}" in page.text
    for figure in (tmp_path / "out" / "figures").glob("*.svg"):
        assert "<script" not in figure.read_text("utf-8")


def test_a_place_that_cannot_be_written_is_told_and_left_alone(tmp_path):
    invented = invent(tmp_path / "package", Workshop(materials=1, profiles=1, prints=1, seatings=1))
    (tmp_path / "taken").write_text("mine", "utf-8")
    with pytest.raises(OutputError, match="must be a folder"):
        publish(invented, invented.package, tmp_path / "taken")
    assert (tmp_path / "taken").read_text("utf-8") == "mine"


def test_noise_is_never_drawn_as_distortion():
    """Oracle: the definition; harmonics at 9.9 dB over their noise vanish, at 10.1 dB they stand."""
    table = {"frequency_hz": np.array([1000.0, 2000.0])}
    for n in (2, 3, 4, 5):
        table |= {f"h{n}_{kind}": np.full(2, np.nan) for kind in ("db", "noise_db", "input_db")}
    table |= {
        "h2_db": np.array([-40.0, -40.0]),
        "h2_input_db": np.array([-50.0, -50.0]),
        "h2_noise_db": np.array([-49.9, -50.1]),
    }
    percent, noise = input_distortion(table)
    assert np.isnan(percent[0])
    assert percent[1] == pytest.approx(100 * 10 ** (-50 / 20))
    assert noise == pytest.approx(100 * 10 ** (np.array([-59.9, -60.1]) / 20))
