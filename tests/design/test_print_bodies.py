"""Printed bodies. Oracles: volumes in closed form, an independent mesh library reading the files back."""

from __future__ import annotations

import io
import math
from dataclasses import replace

import numpy as np
import pytest
import trimesh

from frusta.cone.profile import ConeProfile
from frusta.design.print_bodies import (
    Socket,
    cone_body,
    disc_body,
    overhang_body,
    overhang_lean_deg,
    stick_body,
)
from frusta.design.print_file import print_file
from frusta.design.solid import Solid, turned
from frusta.errors import ParameterError

CONES = {
    "straight": ConeProfile("straight", 0.0145, 0.045, 0.030, 0.0, 0.0009),
    "concave": ConeProfile("concave", 0.0145, 0.042, 0.029, -0.0026, 0.0012, "line"),
    "convex": ConeProfile("convex", 0.0145, 0.039, 0.024, 0.0024, 0.0008, wall_taper=0.1),
    "capped": ConeProfile("straight", 0.0145, 0.040, 0.026, 0.0, 0.0009, cap="flat"),
}
COARSE = 40


def read_back(data: bytes, kind: str) -> trimesh.Trimesh:
    mesh = trimesh.load(io.BytesIO(data), file_type=kind, force="mesh")
    mesh.merge_vertices()
    return mesh


@pytest.mark.parametrize("name", CONES)
@pytest.mark.parametrize("kind", ["3mf", "stl"])
def test_a_cone_read_back_is_watertight_and_weighs_what_was_forecast(name: str, kind: str):
    cone = CONES[name]
    mesh = read_back(print_file(cone_body(cone, segments=COARSE), f".{kind}", name), kind)
    chords = math.sin(2.0 * math.pi / COARSE) / (2.0 * math.pi / COARSE)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.volume * 1e-9 == pytest.approx(cone.volume_m3 * chords, rel=0.01 if name == "capped" else 4e-4)
    assert mesh.bounds[0][2] == pytest.approx(0.0, abs=1e-4)
    across = 1e3 * 2.0 * cone.rim_radius_m
    assert across < mesh.bounds[1][0] - mesh.bounds[0][0] < across + 1e3 * 1.2 * cone.wall_m
    assert cone_body(cone).volume_m3 == pytest.approx(cone.volume_m3, rel=0.01 if name == "capped" else 5e-4)


def test_the_socket_adds_its_sleeve_and_leaves_a_seat():
    cone = CONES["straight"]
    socket = Socket(former_radius_m=0.0145, length_m=4e-3, wall_m=0.8e-3, fit_m=0.05e-3)
    body = cone_body(cone, socket)
    sleeve = math.pi * ((socket.bore_radius_m + 0.8e-3) ** 2 - socket.bore_radius_m**2) * 4e-3
    assert body.closed
    assert body.volume_m3 - cone.volume_m3 == pytest.approx(sleeve, rel=0.06)  # the fillet under the neck
    radii = np.hypot(body.vertices_m[:, 0], body.vertices_m[:, 1])
    low = body.vertices_m[:, 2] < 3.5e-3
    assert radii[low].min() == pytest.approx(0.01455, abs=1e-9)  # the bore
    assert radii.min() < 0.0144  # the edge that the former stops at


@pytest.mark.parametrize(
    ("socket", "cone", "words"),
    [
        (Socket(0.012), CONES["straight"], "the socket must meet the neck"),
        (Socket(0.0145), CONES["capped"], "a capped cone has no socket"),
    ],
)
def test_a_socket_that_cannot_be_is_refused(socket: Socket, cone: ConeProfile, words: str):
    with pytest.raises(ParameterError, match=words):
        cone_body(cone, socket)


def test_coupons_have_the_volumes_of_their_measures():
    assert stick_body(0.1, 0.01, 0.003, upright=True).volume_m3 == pytest.approx(3e-6)
    upright = stick_body(0.1, 0.01, 0.003, upright=True)
    assert np.ptp(upright.vertices_m, axis=0) == pytest.approx([0.003, 0.01, 0.1])
    disc = disc_body(0.08, 0.002)
    assert disc.volume_m3 == pytest.approx(math.pi * 0.04**2 * 0.002, rel=3e-4)
    block = overhang_body(0.03, 0.01, 0.028)
    top = math.radians(75.0)
    area = 0.028 * 0.03 * math.sin(top) + 0.03**2 * (math.sin(top) - 0.5 * (top + math.sin(top) * math.cos(top)))
    assert block.volume_m3 == pytest.approx(0.01 * area, rel=1e-3)
    assert all(body.closed for body in (upright, disc, block))


def test_the_overhang_coupon_s_height_tells_the_angle():
    body = overhang_body()
    front = body.vertices_m[(body.vertices_m[:, 1] > 0) & (body.vertices_m[:, 0] >= 0)]
    front = front[np.argsort(front[:, 2])]
    steps = np.diff(front, axis=0)
    middle = 0.5 * (front[1:, 2] + front[:-1, 2])
    lean = np.degrees(np.arctan2(steps[:, 0], steps[:, 2]))
    told = [overhang_lean_deg(float(h)) for h in middle]
    assert lean == pytest.approx(np.array(told), abs=0.3)
    with pytest.raises(ParameterError, match=r"on the coupon, 0 to 29\.0 mm"):
        overhang_lean_deg(0.03)


def test_a_3mf_keeps_unit_name_and_notes_and_is_the_same_every_time():
    import zipfile

    body = cone_body(CONES["straight"])
    first = print_file(body, ".3mf", "otter & st90", {"layer_mm": "0.2 <fine>"})
    assert first == print_file(cone_body(CONES["straight"]), ".3mf", "otter & st90", {"layer_mm": "0.2 <fine>"})
    model = zipfile.ZipFile(io.BytesIO(first)).read("3D/3dmodel.model").decode()
    assert 'unit="millimeter"' in model
    assert "otter &amp; st90" in model
    assert "layer_mm: 0.2 &lt;fine&gt;" in model


def test_what_is_open_or_of_another_ending_is_refused():
    body = cone_body(CONES["straight"])
    with pytest.raises(ParameterError, match=r"end in .3mf or .stl \(got .obj\)"):
        print_file(body, ".obj", "x")
    with pytest.raises(ParameterError, match="must be closed"):
        print_file(Solid(body.vertices_m, body.faces[1:]), ".stl", "x")
    with pytest.raises(ParameterError, match="cross the axis"):
        turned(np.array([[-0.001, 0.0], [0.01, 0.0], [0.01, 0.01]]))


def test_a_cone_turned_inside_out_would_be_seen():
    body = cone_body(replace(CONES["straight"], wall_m=0.0012))
    assert body.volume_m3 > 0.0
    assert Solid(body.vertices_m, body.faces[:, ::-1]).volume_m3 < 0.0
