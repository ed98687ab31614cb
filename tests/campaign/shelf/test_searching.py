"""Takes found by material, recipe, event, date and reading. Oracle: the package's own tables, by hand."""

from __future__ import annotations

import pytest

from frusta.campaign.findings import Findings, Reading
from frusta.campaign.shelf.searching import Wanted, search
from frusta.errors import ParameterError


@pytest.fixture
def filled(shelf, maker_package):
    shelf.add(maker_package)
    rows = [
        Reading(
            take=t,
            specimen=s,
            kind="cone",
            material=m,
            recipe="walls",
            profile=p,
            session=d,
            seating=1,
            quality="ok",
            **f,
        )
        for t, s, m, p, d, f in (
            ("a", "fir-1", "fir", "st80", "s1", {"breakup_hz": 3000.0, "level_db": 80.0}),
            ("b", "oak-1", "oak", "cv80", "s2", {"breakup_hz": 2500.0}),
        )
    ]
    content = shelf.contents("two-jars").content
    assert shelf.keep_findings("two-jars", content, Findings(campaign="two-jars", made_by="test", readings=tuple(rows)))
    return shelf


@pytest.mark.parametrize(
    ("wanted", "takes"),
    [
        (Wanted(material="fir"), ["a", "c"]),
        (Wanted(material="Oak"), ["b"]),
        (Wanted(material="%"), []),
        (Wanted(recipe="wall"), ["a", "b", "c"]),
        (Wanted(profile="cv80"), ["b"]),
        (Wanted(specimen="oak"), ["b"]),
        (Wanted(event="anneal"), ["a"]),
        (Wanted(since="2026-05-05"), ["b"]),
        (Wanted(until="2026-05-04"), ["a"]),
        (Wanted(until="2026"), ["a", "b"]),
        (Wanted(readings=("breakup_hz>2600",)), ["a"]),
        (Wanted(readings=("breakup_hz > 2e3", "breakup_hz<=2500")), ["b"]),
        (Wanted(readings=("level_db<90",)), ["a"]),
        (Wanted(material="fir", readings=("breakup_hz<2600",)), []),
    ],
)
def test_search(filled, wanted, takes):
    assert [f.take for f in search(filled, wanted)] == takes


def test_what_was_asked_for_is_told(filled):
    found = search(filled, Wanted(readings=("level_db>0",)))[0]
    assert (found.entry, found.material, found.date, found.figures) == (
        "two-jars",
        "fir",
        "2026-05-04",
        {"level_db": 80.0},
    )


@pytest.mark.parametrize("words", ["breakup>3", "breakup_hz", "breakup_hz>x", "quality=ok"])
def test_a_condition_that_is_none_is_refused(filled, words):
    with pytest.raises(ParameterError, match="must be a figure, a sign and a number"):
        search(filled, Wanted(readings=(words,)))


def test_a_date_that_is_none_is_refused(filled):
    with pytest.raises(ParameterError, match="--since must be a date"):
        search(filled, Wanted(since="spring"))
