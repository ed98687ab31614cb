"""The blind test in a browser. Oracle: X drawn as B each time; sixteen right answers, and the binomial."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import soundfile

from frusta.campaign.curves import TakeCurves
from frusta.publish.listening import Listening, verdicts, write_listening

DRAW_B = "Object.defineProperty(window.crypto, 'getRandomValues', {value: (a) => a.fill(0)})"


def test_sixteen_right_answers_are_told_at_the_end(browser, tmp_path):
    impulse, none = np.zeros(2400), np.zeros(0)
    impulse[240] = 1.0
    held = TakeCurves({}, impulse, 0.005, 48000, none, 0.0, none, none, np.zeros((0, 0)), none, 0.006)
    readings = [SimpleNamespace(take=n, specimen=n, quality="ok", snr_db=60.0) for n in ("fir", "yew")]
    soundfile.write(tmp_path / "own.wav", 0.1 * np.random.default_rng(2).standard_normal(48000), 48000)
    wanted = Listening(tmp_path / "own.wav", ("fir", "yew"), 0.0, 1.0)
    write_listening(tmp_path, wanted, SimpleNamespace(readings=readings), {"fir": held, "yew": held})
    page = browser.new_page()
    wrong = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("console", lambda said: wrong.append(said.text) if said.type == "error" else None)
    page.add_init_script(DRAW_B)
    page.goto((tmp_path / "listen.html").as_uri())
    for trial in range(16):
        page.wait_for_function(f"document.getElementById('count').textContent === '{trial + 1} of 16'")
        assert page.locator("#verdict").text_content() == ""
        page.click("#play-x")
        page.wait_for_selector("#is-b:not([disabled])")
        page.click("#is-b")
    page.wait_for_function("document.getElementById('count').textContent === 'Done'")
    assert page.locator("#verdict").text_content() == verdicts()[16]
    page.click("#again")
    assert page.locator("#count").text_content() == "1 of 16"
    page.close()
    assert wrong == []
