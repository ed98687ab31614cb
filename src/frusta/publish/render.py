"""From a chart to SVG and PNG, without a browser and without the network."""

from __future__ import annotations

import base64
import html
import re
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

from frusta.publish.theme import FONT, LIGHT

_FONT_FOLDER = "assets/fonts"
WEB_FONT = f"{_FONT_FOLDER}/atkinson-hyperlegible-next-latin-wght-normal.woff2"


def asset(name: str) -> bytes:
    """Return a vendored file of the package, by its place below ``frusta/publish``."""
    return resources.files("frusta.publish").joinpath(name).read_bytes()


@cache
def web_font_css() -> str:
    """Return the font as a CSS rule that carries it along."""
    data = base64.b64encode(asset(WEB_FONT)).decode("ascii")
    return (
        f'@font-face{{font-family:"{FONT}";font-weight:200 800;font-display:swap;'
        f'src:url(data:font/woff2;base64,{data}) format("woff2")}}'
    )


@cache
def _ready() -> None:
    """Let the renderer know the font; once a process."""
    import vl_convert

    folder = Path(str(resources.files("frusta.publish").joinpath(_FONT_FOLDER)))
    vl_convert.register_font_directory(str(folder))


def raw_svg(spec: dict[str, Any]) -> str:
    """Render a chart as SVG.

    Parameters
    ----------
    spec : dict
        A Vega-Lite specification; its data are inline, and addresses are refused.

    Returns
    -------
    str
        An SVG document with shortened coordinates.
    """
    import vl_convert

    _ready()
    svg: str = vl_convert.vegalite_to_svg(spec, allowed_base_urls=[])
    return _short_numbers(_numbered_clips(svg))


def _numbered_clips(svg: str) -> str:
    """Number clip paths from 0 in each picture: the renderer counts on, and equal charts would differ."""
    names = list(dict.fromkeys(re.findall(r'\bid="(clip\d+)"', svg)))
    numbers = {name: f"clip{place}" for place, name in enumerate(names)}
    return re.sub(r"\bclip\d+\b", lambda m: numbers.get(m[0], m[0]), svg)


_LONG_NUMBER = re.compile(r"-?\d+\.\d{2,}")
_PATHS = re.compile(r'(?<![-\w])(d|transform|x1|x2|y1|y2|x|y|width|height)="([^"]*)"')


def _short_numbers(svg: str) -> str:
    """Round coordinates to a tenth of a pixel: half the bytes, no visible change."""

    def short(match: re.Match[str]) -> str:
        text = f"{float(match[0]):.1f}"
        return text.removesuffix(".0") if text not in ("-0.0", "0.0") else "0"

    return _PATHS.sub(lambda m: f'{m[1]}="{_LONG_NUMBER.sub(short, m[2])}"', svg)


_VARIABLES = {colour.lower(): f"var(--{name})" for name, colour in reversed(tuple(LIGHT.items()))}
_COLOUR = re.compile(r'(fill|stroke)="(#[0-9a-fA-F]{6})"')


def inline_svg(svg: str, *, label: str, key: str) -> str:
    """Make an SVG part of a page: colours become the page's variables, so that one drawing serves both schemes.

    Parameters
    ----------
    svg : str
        Of a chart in the light scheme.
    label : str
        The result in words; becomes the picture's accessible name.
    key : str
        Unique in the page; keeps the clip paths of different charts apart.

    Returns
    -------
    str
        An ``svg`` element.
    """
    body = svg[svg.index("<svg") :]
    head, rest = body[: body.index(">") + 1], body[body.index(">") + 1 :]
    size = re.search(r'viewBox="([^"]+)"', head)
    box = size[1] if size else "0 0 0 0"
    width, height = box.split()[2:4]
    rest = _COLOUR.sub(lambda m: f'{m[1]}="{_VARIABLES.get(m[2].lower(), m[2])}"', rest)
    rest = re.sub(r' font-family="[^"]*"', "", rest)
    rest = re.sub(r' (?:aria-hidden|pointer-events|class|aria-roledescription|role|aria-label)="[^"]*"', "", rest)
    rest = re.sub(r'\bid="(clip[^"]*)"', f'id="{key}-\\1"', rest)
    rest = re.sub(r"url\(#(clip[^)]*)\)", f"url(#{key}-\\1)", rest)
    rest = re.sub(r"<g>\s*</g>", "", rest)
    return (
        f'<svg class="chart" viewBox="{box}" width="{width}" height="{height}" role="img" '
        f'aria-label="{html.escape(label, quote=True)}">{rest}'
    )


def standalone_svg(svg: str) -> str:
    """Give an SVG its font, so that the file looks alike wherever it is opened."""
    end = svg.index(">", svg.index("<svg")) + 1
    return f"{svg[:end]}<style>{web_font_css()}</style>{svg[end:]}"


def png(svg: str, *, scale: float = 2.0) -> bytes:
    """Render an SVG of `raw_svg` as PNG, ``scale`` pixels a unit."""
    import vl_convert

    _ready()
    data: bytes = vl_convert.svg_to_png(svg, scale=scale)
    return data


def with_ground(svg: str, colour: str) -> str:
    """Paint the ground of an SVG, for a file that stands alone."""
    end = svg.index(">", svg.index("<svg")) + 1
    return f'{svg[:end]}<rect width="100%" height="100%" fill="{colour}"/>{svg[end:]}'
