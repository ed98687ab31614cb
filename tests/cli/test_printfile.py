"""`frusta printfile` from the shell."""

from __future__ import annotations

from pathlib import Path

import pytest
from shell import frusta


def test_a_cone_with_its_socket_and_a_coupon(unrecorded: Path, tmp_path: Path):
    cone = frusta(
        "printfile", unrecorded, "st80", "--out", tmp_path / "st80.3mf", "--recipe", "walls", "--socket-former-mm", 14
    )
    assert cone.returncode == 0, cone.stderr
    assert "watertight" in cone.stdout
    assert (tmp_path / "st80.3mf").read_bytes().startswith(b"PK")
    coupon = frusta("printfile", unrecorded, "overhang", "--out", tmp_path / "lean.stl")
    assert coupon.returncode == 0, coupon.stderr
    assert "15 mm 30°" in coupon.stdout  # asin(15/30)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("st90", "--out", "a.stl"), "profile must be one of st80 (got st90)"),
        (("st80", "--out", "a.obj"), "must end in .3mf or .stl (got .obj)"),
        (("st80", "--out", "a.3mf", "--recipe", "thin"), "recipe must be one of walls (got thin)"),
        (("st80", "--out", "a.3mf", "--socket-former-mm", "9"), "the socket must meet the neck"),
        (("disc", "--out", "a.3mf", "--socket-former-mm", "9"), "a coupon has no socket"),
    ],
)
def test_a_mistake_is_one_line_and_writes_nothing(unrecorded: Path, tmp_path: Path, arguments, words: str):
    first, option, name, *rest = arguments
    done = frusta("printfile", unrecorded, first, option, tmp_path / name, *rest)
    assert done.returncode == 2
    assert len(done.stderr.strip().splitlines()) == 1
    assert words in done.stderr
    assert not (tmp_path / name).exists()
