"""The published result: one page that needs nothing else, its figures and tables, and the package behind them."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Protocol

from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

from frusta.campaign.atomic import write_folder_atomically
from frusta.campaign.counts import counted
from frusta.campaign.curves import TakeCurves
from frusta.campaign.datapackage import digest
from frusta.campaign.exporting import export_package
from frusta.campaign.findings import LISTS, Findings
from frusta.campaign.output import findings_json, list_csv
from frusta.campaign.package import Package, open_package
from frusta.campaign.private_columns import without_private
from frusta.errors import ParameterError
from frusta.publish import render
from frusta.publish.drawings.drawing import NARROW_PX, Drawing
from frusta.publish.groups import Groups
from frusta.publish.listening import Listening, write_listening
from frusta.publish.page import Report, compose
from frusta.publish.prints import group_means
from frusta.publish.slides import write_slides
from frusta.publish.theme import LIGHT

PAGE = "report.html"
Progress = Callable[[int, int], None]


class Analysed(Protocol):
    """What `publish` needs of an analysis."""

    @property
    def findings(self) -> Findings:
        """Findings of the campaign."""
        ...

    @property
    def curves(self) -> Mapping[str, TakeCurves]:
        """Curves by take."""
        ...


@dataclass(frozen=True)
class Drawn:
    """A drawing as the template puts it on the page."""

    key: str
    heading: str
    glyph: tuple[str, str, str] | None
    wide: Markup
    narrow: Markup
    caption: str
    data: Markup
    table: Any
    table_title: str
    big: bool


@dataclass(frozen=True)
class File:
    """A file beside the page."""

    href: str
    name: str
    says: str


def publish(
    analysis: Analysed,
    package: Package | Path | str,
    out: Path | str,
    *,
    progress: Progress | None = None,
    leave_out: Collection[str] = (),
    private: bool = True,
    slides: bool = False,
    listening: Listening | None = None,
) -> Path:
    """Write the report of a campaign: page, figures, tables and package.

    Parameters
    ----------
    analysis : Analysis
        Findings and curves of the campaign.
    package : Package, Path or str
        The campaign, opened or where it lies.
    out : Path or str
        The folder; where it is there already its other files stay, and those of the same names are replaced once
        all have been written.
    progress : callable, optional
        Called with ``(done, total)``, counting drawings.
    leave_out : collection of str
        Sections that are not wanted, of `SECTIONS`; what the recordings do not show, faults, conditions and method
        always stay.
    private : bool
        Whether the package beside the page keeps notes, columns of the maker's own and photos.
    slides : bool
        Write every drawing as a 16:9 picture with large type, too.
    listening : Listening, optional
        Music to be heard through two cones, as files and as a blind test beside the page.

    Returns
    -------
    Path
        The page, ``out/report.html``. It asks nothing of any network and opens from a USB stick; beside it lie
        ``figures/`` (SVG and PNG), ``tables/`` (CSV), ``findings.json``, the package as zip and ``SHA256SUMS``.

    Raises
    ------
    PackageError
        If the package cannot be used, or a file that its tables name is missing.
    OutputError
        If anything cannot be written; what was there is untouched.

    Examples
    --------
    ::

        import frusta
        from frusta.publish.report import publish

        page = publish(frusta.analyse("three-birds"), "three-birds", "three-birds-report")
    """
    held = package if isinstance(package, Package) else open_package(package)
    report = _without(compose(analysis.findings, analysis.curves, held), leave_out)
    out = Path(out)

    def fill(folder: Path) -> None:
        files = _write_beside(folder, analysis.findings, held if private else without_private(held), private)
        if listening is not None:
            heard = write_listening(folder, listening, analysis.findings, analysis.curves)
            files = [*(File(href, href, says) for href, says in heard), *files]
        if slides:
            write_slides(folder / "slides", report)
        page = _page(report, analysis.findings, held, files, folder / "figures", progress)
        (folder / PAGE).write_bytes(page.encode("utf-8"))
        sums = [f"{digest(f)}  {f.relative_to(folder).as_posix()}" for f in sorted(folder.rglob("*")) if f.is_file()]
        (folder / "SHA256SUMS").write_bytes(("\n".join(sums) + "\n").encode("utf-8"))

    write_folder_atomically(out, fill)
    return out / PAGE


SECTIONS = {
    "strips": "Every print, one mark",
    "ranking": "Ranking",
    "responses": "Response",
    "stays": "Stays put or moves",
    "distortions": "Distortion",
    "decays": "Falling silent",
    "differences": "Every comparison as a table",
    "estimates": "What the filaments are",
    "drivers": "Beside finished drivers",
}
"""What may be left out of a report, by its key and its heading."""


def _without(report: Report, leave_out: Collection[str]) -> Report:
    """The report without some of its sections.

    Raises
    ------
    ParameterError
        If a section is none that may be left out.
    """
    unknown = [name for name in leave_out if name not in SECTIONS]
    if unknown:
        raise ParameterError(f"leave_out must name sections of {', '.join(SECTIONS)} (got {unknown[0]!r})")
    gone: dict[str, Any] = {f"{name[:-1]}_none": "" for name in leave_out if name in ("distortions", "decays")}
    gone |= {name: None for name in leave_out if name in ("differences", "drivers", "stays")}
    drawings = {name: [] if name in leave_out else held for name, held in report.drawings.items()}
    more = [] if "strips" in leave_out else report.more_strips
    return Report({**report.words, **gone}, drawings, more)


def _write_beside(folder: Path, findings: Findings, package: Package, photos: bool) -> list[File]:
    """Write tables, findings and package; say what the page links to."""
    (folder / "tables").mkdir()
    for name in LISTS:
        (folder / "tables" / f"{name}.csv").write_bytes(list_csv(findings, name))
    (folder / "findings.json").write_bytes(findings_json(findings))
    archive = folder / f"{package.campaign.campaign}.zip"
    export_package(package, archive, photos=photos)
    tables = [File(f"tables/{name}.csv", f"tables/{name}.csv", "") for name in LISTS if getattr(findings, name)]
    return [
        File(
            archive.name, archive.name, f"tables and all recordings, {_megabytes(archive)}. SHA-256 {digest(archive)}"
        ),
        File("findings.json", "findings.json", "all findings with their reasons"),
        *tables,
        File("SHA256SUMS", "SHA256SUMS", "hashes of every file here"),
    ]


def _megabytes(path: Path) -> str:
    return f"{max(path.stat().st_size / 1e6, 0.1):.1f}\u00a0MB"


def _page(
    report: Report,
    findings: Findings,
    package: Package,
    files: list[File],
    figures: Path,
    progress: Progress | None,
) -> str:
    figures.mkdir()
    total = sum(map(len, report.drawings.values())) + sum(len(drawn) for _, drawn in report.more_strips)
    done = 0

    def draw(drawing: Drawing) -> Drawn:
        nonlocal done
        drawn = _draw(drawing, figures)
        done += 1
        if progress is not None:
            progress(done, total)
        return drawn

    places: dict[str, Any] = {name: [draw(d) for d in held] for name, held in report.drawings.items()}
    more = [{"title": f.title, "says": f.says, "figures": [draw(d) for d in drawn]} for f, drawn in report.more_strips]
    ranking = places.pop("ranking")
    if ranking:
        places["ranking"] = replace(ranking[0], caption=report.words["ranking_caption"])
    else:
        places["ranking"] = None
    caption = _response_caption(package, findings)
    groups = Groups(findings.readings, package)
    distortion = DISTORTION_CAPTION.format(interval=_interval_words(findings, groups, "input_thd_peak_percent"))
    decay = DECAY_CAPTION.format(interval=_interval_words(findings, groups, "decay_2_percent_ms"))
    for name, text in (("responses", caption), ("distortions", distortion), ("decays", decay)):
        places[name] = [replace(d, caption=text if k == 0 else "") for k, d in enumerate(places[name])]
    script = render.asset("assets/report.js").decode("utf-8").strip()
    style = render.web_font_css() + render.asset("assets/report.css").decode("utf-8").strip()
    rendered: str = _template().render(
        **report.words,
        **places,
        more_strips=more,
        files=files,
        check_it=_check_it(findings, package),
        script=Markup(script),
        style=Markup(style),
        policy=policy(script, style),
    )
    return rendered


DISTORTION_CAPTION = (
    "Median print of each. Orders 2 to 5 over the fundamental, each first divided by the linear response at its own "
    "frequency, so that a peak in the response does not pass for distortion. Beside the names: the largest value, mean "
    "of all prints{interval}. Grey: the highest noise of these takes; a curve "
    "stops where its own noise comes within 10 dB."
)
DECAY_CAPTION = (
    "Median print of each. Envelope of the reflection-free impulse response from 200 Hz up, in percent of its peak. "
    "Beside the names: the time to fall to 2 %, mean of all prints{interval}."
)


def _interval_words(findings: Findings, groups: Groups, key: str) -> str:
    """What a caption says of the intervals of a figure's means; nothing where there are none."""
    known = any(mean.low is not None for mean in group_means(findings.readings, groups, key))
    return ", with its 95 % interval, each for itself" if known else ""


def _response_caption(package: Package, findings: Findings) -> str:
    from frusta.publish.facts import mounting_words, relative_levels, used_rigs

    rigs = used_rigs(findings, package)
    where = f", {mounting_words(rigs[0])}" if len(rigs) == 1 else ""
    reference = "dB, relative" if relative_levels(findings, package) else "dB re 20 µPa"
    return (
        f"The print with the median break-up of each. On axis{where}; {reference}, 96 points an octave. "
        "Dots: a rigid cone of the same shape, computed. One decade is as long as 25 dB."
    )


def _check_it(findings: Findings, package: Package) -> list[str]:
    licence = package.campaign.licence
    lines = [
        f"The package beside this page holds the tables, {counted(len(package.takes), 'recording')} and the settings. "
        f"Made with {findings.made_by}."
    ]
    lines.append(f"Licence: {licence}." if licence else "No licence is given: ask before you use it further.")
    return lines


def policy(script: str, style: str) -> str:
    """Return the page's content security policy: nothing external, and no script or style but its own two.

    Charts carry presentation attributes, no style attributes, so inline styles need no permission.
    """
    return (
        "default-src 'none'; "
        f"script-src '{_hash(script)}'; style-src '{_hash(style)}'; font-src data:; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )


def _hash(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")


def _template() -> Any:
    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=False)
    return environment.from_string(render.asset("templates/report.html").decode("utf-8"))


def _draw(drawing: Drawing, figures: Path) -> Drawn:
    """Render a drawing for the page and as files."""
    spec = drawing.make(drawing.wide, "light")
    wide = render.raw_svg(spec)
    frames = [spec["usermeta"]["frusta"]]
    narrow = ""
    if drawing.narrow:
        slim = drawing.make(NARROW_PX, "light")
        frames.append(slim["usermeta"]["frusta"])
        narrow = render.inline_svg(render.raw_svg(slim), label=drawing.label, key=f"{drawing.key}-slim")
    ground = render.with_ground(wide, LIGHT["card"])
    (figures / f"{drawing.key}.svg").write_bytes(render.standalone_svg(ground).encode("utf-8"))
    (figures / f"{drawing.key}.png").write_bytes(render.png(ground))
    data = ""
    if drawing.series:
        data = _safe_json({"units": drawing.units, "frames": frames, "series": drawing.series})
    return Drawn(
        drawing.key,
        drawing.heading,
        drawing.glyph,
        Markup(render.inline_svg(wide, label=drawing.label, key=drawing.key)),
        Markup(narrow),
        drawing.caption,
        Markup(data),
        drawing.table,
        _table_title(drawing),
        drawing.wide > 700,
    )


def _table_title(drawing: Drawing) -> str:
    """Name a table so that no two on the page are called alike: "Response, straight: the same as a table"."""
    kind = drawing.key.split("-")[0].capitalize()
    return f"{kind}, {drawing.heading}: the same as a table" if drawing.heading else f"{kind}: the same as a table"


def _safe_json(value: Any) -> str:
    """JSON that cannot end the element it stands in."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
