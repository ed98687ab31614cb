"""What a maker may choose of a report: sections, private columns, pictures for showing; and what may not go.

Oracle: the report published without any choice, and the tables that went in.
"""

from __future__ import annotations

import zipfile
from dataclasses import replace

import pytest
from workshop import Workshop, invent

from frusta.campaign.package import open_package
from frusta.campaign.private_columns import without_private
from frusta.errors import ParameterError
from frusta.publish import render
from frusta.publish.report import publish


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    invented = invent(tmp_path_factory.mktemp("shop") / "package", Workshop(estimates=True, faults=1))
    specimens = {
        key: row.model_copy(update={"notes": "bought from the neighbour"})
        for key, row in invented.package.specimens.items()
    }
    return invented, replace(invented.package, specimens=specimens)


def test_a_section_may_go_and_what_is_not_shown_stays(shop, tmp_path):
    invented, package = shop
    page = publish(invented, package, tmp_path / "out", leave_out=("ranking", "distortions", "differences"))
    text = page.read_text("utf-8")
    for gone in ('id="ranking"', 'id="distortion"', 'id="differences"'):
        assert gone not in text
    for stays in ('id="response"', 'id="not-shown"', 'id="faults"', 'id="conditions"', 'id="method"'):
        assert stays in text


@pytest.mark.parametrize("name", ["faults", "gaps", "method", "nonsense"])
def test_what_speaks_against_the_result_cannot_be_left_out(shop, tmp_path, name):
    invented, package = shop
    with pytest.raises(ParameterError, match="leave_out must name sections"):
        publish(invented, package, tmp_path / "out", leave_out=(name,))
    assert not (tmp_path / "out").exists()


def test_without_private_columns_no_note_leaves_the_workshop(shop, tmp_path, monkeypatch):
    monkeypatch.setattr(render, "png", lambda svg, scale=2.0: b"\x89PNG")
    invented, package = shop
    for private, wanted in ((True, True), (False, False)):
        out = tmp_path / str(private)
        publish(invented, package, out, private=private, leave_out=("strips", "responses", "decays", "estimates"))
        archive = next(out.glob("*.zip"))
        with zipfile.ZipFile(archive) as held:
            texts = b"".join(held.read(name) for name in held.namelist() if name.endswith(".csv"))
        assert (b"neighbour" in texts) is wanted
    bare = without_private(package)
    assert all(row.notes is None for row in bare.specimens.values())
    assert {k: r.mass_g for k, r in bare.specimens.items()} == {k: r.mass_g for k, r in package.specimens.items()}
    assert open_package(archive).campaign.title == package.campaign.title


def test_pictures_for_showing_are_wide_and_say_the_result(shop, tmp_path):
    invented, package = shop
    out = tmp_path / "out"
    left_out = ("strips", "responses", "decays", "estimates", "distortions")
    publish(invented, package, out, slides=True, leave_out=left_out)
    slide = out / "slides" / "ranking.png"
    data = slide.read_bytes()
    width, height = (int.from_bytes(data[k : k + 4], "big") for k in (16, 20))
    assert (width, height) == (1600, 900)
    text = slide.with_suffix(".svg").read_text("utf-8")
    assert "Scores." in text
    assert 'font-size="46"' in text
