"""A pocket of a built folder, measured in its files by other readers, against school trigonometry.

Sources: trigonometry and the area of a surface of revolution (Pappus), textbook, from memory; the formulas
are derived here. No part of the program but the build itself is asked.

A thing w x h with corners p lies with k all round on a floor d under the face, in walls that lean by a from
square, with a fillet r at their foot, all of it finished; T of skin lies over the foam.

* The flat is w + 2 k. A fillet touches floor and wall r tan(45 - a / 2) from where these would meet, for
  the angle between them is 90 + a; so they meet at w + 2 k + 2 r tan(45 - a / 2), and the finished mouth
  is wider than that by 2 d tan a.
* Foam walls lie T outside finished walls, square to themselves, so T / cos a along the face; the foam's face
  lies T under the finished one, and its floor T under the finished floor. The foam's mouth is therefore
  the finished one and 2 T / cos a - 2 T tan a; so much wider is the foot of its walls, too.
* The foam's fillet is R = r + T, its flat that of the finished floor. Unrolled, floor to mouth is
  R (90 - a) of arc and (d - R (1 - sin a)) / cos a of wall. Along the straight sides that makes strips; the
  four corners make one whole surface of revolution, 2 pi times the radius integrated along that line.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pytest
import trimesh

from plugs.build import build

W, H, P, K = 200.0, 90.0, 6.0, 4.0
DEPTH, DRAFT, FILLET, SKIN = 18.0, math.radians(7.0), 8.0, 3.0

RECIPE = f'''\
"""A block with a pocket in its raked or upright end."""

from plugs import Corner, End, Plug, Ply, Recess, Schedule, Skin, Stack, Station


def block(rake_deg=0.0):
    """Return a block of 400 x 400 x 260."""
    corners = {{"foot": Corner(200.0, 0.0), "edge": Corner(200.0, 260.0)}}
    return Plug(
        name="Block", panels=("floor", "side", "deck"),
        stations=(Station(x=0.0, corners=corners), Station(x=400.0, corners=corners)),
        rear=End(radius=25.0, rake_deg=rake_deg),
        recesses=(
            Recess(
                name="pocket", panel="rear", y=0.0, z=130.0, holds=({W}, {H}, {P}), clearance={K},
                depth={DEPTH}, draft_deg=7.0, floor_radius={FILLET},
            ),
        ),
        skin=Skin(thickness={SKIN}, no_laminate=("floor", "front")), foam="xps 35",
        schedule=Schedule(plies=(Ply(cloth="mat 450"), Ply(cloth="mat 450")), resin="epoxy"),
        stack=Stack(thicknesses=(50.0,)),
    )
'''


@pytest.fixture(scope="module", params=[0.0, 12.0])
def folder(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[float, Path]:
    """Return the rake of an end, and the folder of its build."""
    place = tmp_path_factory.mktemp("pocket")
    (place / "block.py").write_text(RECIPE, encoding="utf-8")
    built = build(place / "block.py", {"rake_deg": request.param}, out=place / "out", kinds=("dxf", "stl"))
    return request.param, built.folder


def mouth_and_foot(size: float) -> tuple[float, float]:
    """Return the breadth of the foam's mouth, and of its floor without the fillet, for a thing's size."""
    meet = size + 2.0 * K + 2.0 * FILLET * math.tan(math.pi / 4.0 - DRAFT / 2.0)
    wider = 2.0 * SKIN / math.cos(DRAFT) - 2.0 * SKIN * math.tan(DRAFT)
    return meet + 2.0 * DEPTH * math.tan(DRAFT) + wider, meet + wider


def summary_of(folder: Path) -> dict[str, Any]:
    """Return the summary of a build."""
    found: dict[str, Any] = json.loads((folder / "summary.json").read_bytes())
    return found


@pytest.mark.parametrize("name", ["finish", "foam"])
def test_flat_of_the_floor_holds_the_thing_with_its_clearance(folder: tuple[float, Path], name: str) -> None:
    """Facets that face along the end's normal at the floor's depth: their breadth, height and area."""
    rake, out = folder
    body = trimesh.load(out / "solid" / f"{name}.stl")
    lean = math.radians(rake)
    outward = np.array([math.cos(lean), 0.0, -math.sin(lean)])
    up = np.array([math.sin(lean), 0.0, math.cos(lean)])
    middle = np.array([400.0 + 130.0 * math.tan(lean), 0.0, 130.0])  # in the raked plane
    deep = DEPTH + (SKIN if name == "foam" else 0.0)
    off = (body.triangles_center - middle) @ outward
    is_floor = (body.face_normals @ outward > 1.0 - 1e-6) & (np.abs(off + deep) < 0.01)
    corners = body.triangles[is_floor].reshape(-1, 3) - middle
    assert np.ptp(corners[:, 1]) == pytest.approx(W + 2.0 * K, abs=0.02)
    assert np.ptp(corners @ up) == pytest.approx(H + 2.0 * K, abs=0.02)
    rounded = (W + 2.0 * K) * (H + 2.0 * K) - (4.0 - math.pi) * (P + K) ** 2
    assert body.area_faces[is_floor].sum() == pytest.approx(rounded, rel=2e-4)


def test_lines_of_the_template(folder: tuple[float, Path]) -> None:
    """Mouth and floor as drawn for the bench are those of the foam."""
    space = ezdxf.readfile(folder[1] / "templates" / "pocket-01.dxf").modelspace()
    for group, which in (("MOUTH", 0), ("FLOOR", 1)):
        (line,) = (entity for entity in space if entity.dxf.layer == group)
        size = np.ptp(np.array(line.get_points("xy")), axis=0)
        assert size == pytest.approx([mouth_and_foot(W)[which], mouth_and_foot(H)[which]], abs=1e-3)
    assert not [entity for entity in space if entity.dxf.layer in ("CLOTH", "FOLD")]


def test_figures_of_the_summary(folder: tuple[float, Path]) -> None:
    """The same sizes, and what lies on the floor."""
    (kit,) = summary_of(folder[1])["pocket_patterns"]
    assert kit["flat_mm"]["width"] == pytest.approx(W + 2.0 * K)
    assert kit["flat_mm"]["height"] == pytest.approx(H + 2.0 * K)
    assert kit["flat_mm"]["corner_radius"] == pytest.approx(P + K)
    assert (kit["holds_mm"]["width"], kit["holds_mm"]["height"], kit["clearance_mm"]) == (W, H, K)
    assert kit["mouth_mm"]["width"] == pytest.approx(mouth_and_foot(W)[0])
    assert kit["depth_mm"] == pytest.approx(DEPTH)
    assert kit["wall_lean_deg"] == pytest.approx(7.0)
    assert kit["floor_fillet_mm"] == pytest.approx(FILLET + SKIN)


def test_cloth_covers_floor_fillet_and_walls(folder: tuple[float, Path]) -> None:
    """One zone, one piece for each ply; its surface is that of the foam's pocket."""
    cloth = summary_of(folder[1])["cloth"]
    (zone,) = (zone for zone in cloth["zones"] if zone["name"] == "pocket")
    start, fillet = P + K, FILLET + SKIN
    wall = (DEPTH - fillet * (1.0 - math.sin(DRAFT))) / math.cos(DRAFT)
    turn = math.pi / 2.0 - DRAFT
    flat = (W + 2.0 * K) * (H + 2.0 * K) - (4.0 - math.pi) * start**2
    straight = 2.0 * (W + H + 4.0 * K - 4.0 * start) * (fillet * turn + wall)
    low = start + fillet * math.sin(turn)
    round_part = fillet * (start * turn + fillet * (1.0 - math.cos(turn))) + wall * (
        low + 0.5 * wall * math.sin(DRAFT)
    )
    area = flat + straight + 2.0 * math.pi * round_part
    assert 1e6 * zone["area_m2"] == pytest.approx(area, rel=4e-3)  # of a surface thinned by up to 0.3 mm
    pieces = [piece for roll in cloth["rolls"] for piece in roll["pieces"] if piece["zone"] == "pocket"]
    assert [piece["ply"] for piece in pieces] == [1, 2]
