"""A shelf is analysed by several processes, an entry each: the same findings as by one, and the same refusals.

Oracle: the findings of one process, to the byte.
"""

from __future__ import annotations

import numpy as np
import soundfile
from hard_package import RATE_HZ, make_small_package

from frusta.campaign.output import findings_json
from frusta.campaign.shelf.analysing import analyse_shelf
from frusta.campaign.shelf.blobs import place_of
from frusta.campaign.shelf.store import Shelf


def test_two_processes_find_what_one_finds(tmp_path):
    shelf = Shelf(tmp_path / "shelf.sqlite")
    for number, name in enumerate(("fen", "marsh", "pond")):
        package = make_small_package(tmp_path / name, campaign=f"campaign,title\n{name},{name}\n")
        time_s = np.arange(RATE_HZ // 4) / RATE_HZ
        ring = 0.5 * np.exp(-60 * time_s) * np.sin(2 * np.pi * (500 + 40 * number) * time_s)
        soundfile.write(package / "recordings/a.wav", ring, RATE_HZ, subtype="PCM_24")
        shelf.add(package)
    held = next(h for path, (h, _) in shelf.contents("pond").files.items() if path == "recordings/a.wav")
    place_of(shelf.database.files, held).write_bytes(b"damaged")
    one = analyse_shelf(shelf, anew=True, cores=1)
    before = [findings_json(shelf.findings(name)) for name in ("fen", "marsh")]
    calls: list[tuple[int, int]] = []
    two = analyse_shelf(shelf, anew=True, cores=2, progress=lambda done, total: calls.append((done, total)))
    assert two == one
    assert two.done == ("fen", "marsh")
    assert [name for name, _ in two.failed] == ["pond"]
    assert "damaged" in two.failed[0][1]
    assert [findings_json(shelf.findings(name)) for name in ("fen", "marsh")] == before
    assert calls[0] == (0, 3)
    assert calls[-1] == (3, 3)
    shelf.close()
