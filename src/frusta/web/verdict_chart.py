"""The take that waits for its verdict over the seating before it: one picture beside the words."""

from __future__ import annotations

import shutil
import tempfile
import weakref
from pathlib import Path
from typing import Any

from frusta.bench.steps import TakeMade
from frusta.bench.tables import take_row
from frusta.campaign.curve_store import load_curves
from frusta.campaign.package import Package
from frusta.campaign.resolve import calibration_of, resolve_take
from frusta.campaign.rows import Take
from frusta.campaign.take_reading import Job, TakeRows, read_job
from frusta.errors import FrustaError
from frusta.publish import facts
from frusta.publish.charts import Curve, response_chart
from frusta.publish.curves_of import Shown, response_curve, rigid_curve
from frusta.publish.drawings.drawing import Drawing
from frusta.publish.groups import Group, Groups
from frusta.publish.theme import Style
from frusta.web.drawn import Drawn, drawn, series_of
from frusta.web.sitting import Sitting

DASH = (4, 3)


class VerdictCharts:
    """Reads takes for their picture, each once."""

    def __init__(self, sitting: Sitting) -> None:
        self._sitting = sitting
        self._folder = Path(tempfile.mkdtemp(prefix="frusta-verdict-"))
        weakref.finalize(self, shutil.rmtree, self._folder, ignore_errors=True)
        self._rows: dict[tuple[str, str], TakeRows] = {}

    def of(self, package: Package) -> Drawn | None:
        """Return the picture of the take at hand; None where no take waits or it cannot be read.

        Parameters
        ----------
        package : Package
            As it stands on disk.
        """
        guide = self._sitting.guide
        state = guide.state
        take = state.take
        if take is None:
            return None
        channels = {name: str(channel) for name, channel in guide.settings.channels.items()}
        row = Take.model_validate(take_row(take, state.session, channels, guide.settings.sweep))
        before = _before(package, take)
        shown = [s for s in (self._shown(package, row, take, False), self._before_shown(package, before, take)) if s]
        if not shown or shown[0].reading.take != take.take:
            return None
        return drawn(self._sitting.desk, _drawing(package, shown, self._sitting.relative), take.take, state.session)

    def _before_shown(self, package: Package, before: Take | None, take: TakeMade) -> Shown | None:
        return None if before is None else self._shown(package, before, take, True)

    def _shown(self, package: Package, row: Take, take: TakeMade, earlier: bool) -> Shown | None:
        key = (str(row.session), row.take)
        folder = self._folder / str(row.session or "none")
        try:
            resolved = resolve_take(package, row)
            if key not in self._rows:
                folder.mkdir(exist_ok=True)
                job = Job(package, resolved, calibration_of(package, resolved.rig), None, folder)
                self._rows[key] = read_job(job)
            rows = self._rows[key]
            if rows.damage is not None:
                return None
            curves = load_curves(folder, row.take)
        except FrustaError:
            return None
        group = Groups((), package).of(resolved.specimen.material, resolved.specimen.recipe)
        own = group.style if group else Style("m1", (), "circle")
        style = Style(own.colour, DASH, own.mark) if earlier else own
        name = f"seating {row.seating}" if earlier else "this take"
        return Shown(Group("", "", name, style), rows.reading, curves)


def _before(package: Package, take: TakeMade) -> Take | None:
    """The latest kept seating of the same cone before this one."""
    turn = take.turn
    older = [t for t in package.takes.values() if t.specimen == turn.specimen and t.seating < turn.seating]
    return max(older, key=lambda t: t.seating, default=None)


def _drawing(package: Package, shown: list[Shown], relative: bool) -> Drawing:
    lines = [response_curve(one) for one in shown]
    rigid = rigid_curve(shown)
    said = "Level along the band: " + " over ".join(line.name for line in lines) + "."
    band = facts.band_of(package)

    def make(width: float, scheme: str) -> dict[str, Any]:
        return response_chart(
            lines, description=said, rigid=rigid, band_hz=band, relative=relative, total_width=width, scheme=scheme
        )

    series = series_of([Curve(line.name, line.style, line.x, line.y) for line in lines], 1)
    return Drawing("verdict", make, said, 400, series=series, units=("Hz", "dB"))
