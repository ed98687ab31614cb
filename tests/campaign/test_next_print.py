"""What to print next, from a package's tables and a fit to the same file of answers.

Oracles: what was put in (poles of known cones); the wall's and shape's limits.
"""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from barn import EMPTY, WISH

from frusta.campaign import cone_search
from frusta.campaign.next_file import bar, next_document, next_json, next_lines, profiles_csv
from frusta.campaign.next_print import NextPrint, next_print
from frusta.campaign.package import Package
from frusta.material.infer import Inferred


@pytest.fixture(scope="module")
def told(barn: Package, inferred: Inferred) -> NextPrint:
    return next_print(barn, EMPTY, inferred.learned, inferred, wish=WISH, cores=1, first=6, later=2)


def test_the_coupon_that_tells_what_cones_leave_open_comes_first(told: NextPrint) -> None:
    """Cones tell the hoop; what is printed upright tells what lies across layers. Both filaments, both answers."""
    first = told.suggestions[0]
    assert first.candidate.kind == "stick upright"
    assert any(n.key == "axial_modulus" and n.after < 0.5 * n.before for n in first.narrows)
    kinds = {s.candidate.kind for s in told.suggestions}
    assert kinds == {"print", "stick upright", "stick flat", "disc flat"}  # nothing was seated in this package
    assert {s.candidate.profile for s in told.suggestions} >= {"st84", "answer-1"}
    assert [s.bits for s in told.suggestions] == sorted((s.bits for s in told.suggestions), reverse=True)


def test_answers_keep_the_limits_and_whole_lines(told: NextPrint) -> None:
    assert told.found is not None
    assert {t.profile.rim_radius_m for t in told.found.trials} == {0.042}
    walls = {round(1e3 * t.profile.wall_m / 0.4, 9) for t in told.found.trials}
    assert walls == {2.0, 3.0, 4.0}
    assert all(t.profile.neck_radius_m == 0.0125 for t in told.found.trials)
    assert all(0.0208 <= t.profile.depth_m <= 0.0312 for t in told.found.trials)
    best = told.answers[0]
    assert best.trial.score >= max(e.trial.score for e in told.existing)
    assert best.score_95 is not None
    assert best.score_95[0] <= best.trial.score <= best.score_95[1]
    assert best.over_best is not None
    assert best.over_best.probability > 0.5
    assert best.told is not None
    assert best.told.printable.verdict == "yes"


def test_it_stands_in_words_and_in_json(told: NextPrint) -> None:
    document = next_document(told)
    again = json.loads(next_json(document))
    assert again["format"] == 1
    assert again["goal"]["weights"] == {"evenness": 2.0, "mass": 1.0, "level": 2.0}
    assert len(again["answers"]) == len(told.answers)
    assert again["answers"][0]["forecast"]["profile"] == "answer-1"
    assert len(again["tried"]["score"]) == len(again["tried"]["group"]) == len(again["tried"]["mass_g"])
    text = "\n".join(next_lines(told))
    assert "printed upright and tapped" in text
    assert "narrows modulus across layers of Fir from ±" in text
    assert "The best cone for 300 to 6000 Hz" in text
    assert "best now: " in text
    rows = profiles_csv(told).splitlines()
    assert rows[0].startswith("profile,shape,neck_radius_mm")
    assert len(rows) == 1 + len(told.answers)
    assert (bar(0.0), bar(100.0), bar(50.0)) == ("····", "████", "██··")


def test_ctrl_c_tells_what_was_found_until_then(
    barn: Package, inferred: Inferred, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second round is interrupted; a first round that is leaves nothing to tell."""
    real, calls = cone_search.map_batches, []

    def interrupted(*arguments, **named):  # type: ignore[no-untyped-def]
        calls.append(1)
        if len(calls) == at:
            raise KeyboardInterrupt
        return real(*arguments, **named)

    monkeypatch.setattr(cone_search, "map_batches", interrupted)
    at = 2
    told = next_print(barn, EMPTY, inferred.learned, inferred, wish=WISH, cores=1, first=4, later=2)
    assert told.stopped
    assert told.answers
    assert told.answers[0].told is None
    assert "stopped before the end" in "\n".join(next_lines(told))
    assert next_document(told)["answers"][0]["reasons"]["forecast"] == "stopped before"
    at, calls = 1, []
    with pytest.raises(KeyboardInterrupt):
        next_print(barn, EMPTY, inferred.learned, inferred, wish=WISH, cores=1, first=4, later=2)


def test_what_is_missing_is_said(barn: Package, inferred: Inferred) -> None:
    bandless = replace(barn, campaign=barn.campaign.model_copy(update={"band_high_hz": None}))
    told = next_print(bandless, EMPTY, inferred.learned, inferred, cores=1)
    assert "campaign.csv must name band_low_hz and band_high_hz" in told.reasons["answers"]
    assert told.suggestions
    assert "campaign.csv must name" in "\n".join(next_lines(told))
