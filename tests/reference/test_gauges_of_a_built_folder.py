"""Templates of built folders, read back and held to the solids beside them by other people's programs.

Drawings are read by ezdxf, solids cut by trimesh (both MIT), outlines compared by shapely (BSD). A gauge is
an outside template: cut to the widest section over its thickness it touches the plug and never digs in,
comes to it straight from its side or from above, and stands on the board (the definition of such a
template: common practice, no source). Templates in the foam are the other way round: nowhere proud of it,
and put together, of two that cross, neither has anything where the other has (half-lap joint).
"""

from __future__ import annotations

import json
import math
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pytest
import shapely
import trimesh
from ezdxf.path import make_path
from shapely import affinity

from plugs.build import build

RECIPES = Path(__file__).resolve().parents[2] / "recipes"

NEAR = 0.05
"""Chords of 0.02 mm in the solid, arcs fitted within 0.01 mm in the drawing, and as much again, mm."""

TROUGH = '''
from plugs import Corner, Plug, Skin, Stack, Station, Templates


def trough():
    """Wider at half its height than above or below, with a hollow deck."""

    def station(x, by):
        return Station(
            x=x,
            corners={
                "foot": Corner(120.0 * by, 0.0, 6.0),
                "chine": Corner(160.0 * by, 60.0 * by, 15.0),
                "rim": Corner(130.0 * by, 140.0 * by, 12.0),
            },
            crowns={"deck": -14.0},
        )

    return Plug(
        name="Trough",
        panels=("floor", "lower side", "upper side", "deck"),
        stations=(station(0.0, 1.0), station(400.0, 0.85)),
        skin=Skin(thickness=2.0, no_laminate=("floor",)),
        stack=Stack(axis="z", thicknesses=(40.0,)),
        templates=Templates(stations=(100.0, 300.0), lengthwise=(-40.0, 0.0)),
    )
'''


@cache
def folder(name: str, at: Path) -> Path:
    """Return what a recipe builds: drawings and solids alone."""
    path = RECIPES / f"{name}.py"
    if name == "trough":
        path = at / "trough.py"
        path.write_text(TROUGH, encoding="utf-8")
    build(path, {}, out=at / name, kinds=("dxf", "stl"))
    return at / name


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return where the folders are built."""
    return tmp_path_factory.mktemp("shop")


def rows_of(place: Path) -> list[dict[str, Any]]:
    """Return the templates that the summary lists."""
    rows: list[dict[str, Any]] = json.loads((place / "summary.json").read_text(encoding="utf-8"))["templates"]
    assert rows
    return rows


def region_of(place: Path, row: dict[str, Any], *, is_slotted: bool = True) -> shapely.Geometry:
    """Return what is left of a template when all that its DXF draws is cut: slots and holes too."""
    (file,) = [name for name in row["files"] if name.endswith(".dxf")]
    rings: dict[str, list[shapely.Polygon]] = {"CUT_LINE": [], "SLOT_CUT": []}
    for entity in ezdxf.readfile(place / file).modelspace():
        if entity.dxf.layer in rings:
            points = [(p.x, p.y) for p in make_path(entity).flattening(0.002)]
            rings[entity.dxf.layer].append(shapely.Polygon(points))
    region: shapely.Geometry = shapely.Polygon()
    for ring in sorted(rings["CUT_LINE"], key=lambda ring: -ring.area):
        region = region.symmetric_difference(ring)
    return region.difference(shapely.union_all(rings["SLOT_CUT"])) if is_slotted else region


def section(solid: trimesh.Trimesh, axis: str, at: float) -> shapely.Geometry:
    """Return the section of a solid square to x, in (y, z), or square to y, in (x, z)."""
    column = "xyz".index(axis)
    normal = np.eye(3)[column]
    path = solid.section(plane_origin=at * normal, plane_normal=normal)
    kept = [i for i in range(3) if i != column]
    found: shapely.Geometry = shapely.Polygon()
    for ring in sorted((shapely.Polygon(r[:, kept]) for r in path.discrete), key=lambda r: -r.area):
        found = found.symmetric_difference(shapely.make_valid(ring))
    return found


def over_thickness(solid: trimesh.Trimesh, row: dict[str, Any]) -> list[shapely.Geometry]:
    """Return sections at both faces of a template and between."""
    axis = "x" if row["kind"].startswith("station") else "y"
    low, high = row["from_mm"], row["to_mm"]
    return [section(solid, axis, low + share * (high - low)) for share in (1e-3, 0.25, 0.5, 0.75, 1.0 - 1e-3)]


def points_of(lines: shapely.Geometry) -> np.ndarray:
    """Return points along lines, 0.5 mm apart or nearer."""
    return shapely.points(shapely.get_coordinates(shapely.segmentize(lines, 0.5)))


@pytest.mark.parametrize("line", ["foam", "finished"])
def test_gauges_touch_and_never_dig_in(shop: Path, line: str) -> None:
    """Each gauge against the solid of its own line: room, reach, light as stated, and the board."""
    place = folder("trough", shop)
    solid = trimesh.load_mesh(place / "solid" / ("foam.stl" if line == "foam" else "finish.stl"))
    board = trimesh.load_mesh(place / "solid" / "foam.stl").bounds[0][2]
    rows = [row for row in rows_of(place) if row["line"] == line]
    names = {row["name"].split()[0] for row in rows}
    assert names == {"S01", "S02", "B01", "B02"}
    for name in names:
        parts = [row for row in rows if row["name"].startswith(name)]
        sections = over_thickness(solid, parts[0])
        whole = shapely.union_all(sections)
        regions = [region_of(place, row) for row in parts]
        for row, region in zip(parts, regions, strict=True):
            assert region.intersection(shapely.buffer(whole, -NEAR)).area == 0.0
            assert region.bounds[1] == pytest.approx(board, abs=1e-6)
            edge = points_of(region.boundary)
            edge = edge[shapely.distance(edge, whole) < NEAR]
            assert len(edge) > 100
            light = max(float(shapely.distance(edge, one).max()) for one in (sections[0], sections[-1]))
            assert row["gap_mm"] == pytest.approx(light, abs=NEAR)
        edge = points_of(whole.boundary)
        edge = edge[shapely.get_y(edge) > whole.bounds[1] + 6.0]
        assert float(shapely.distance(edge, shapely.union_all(regions)).max()) < NEAR


@pytest.mark.parametrize("line", ["foam", "finished"])
def test_each_part_comes_straight_to_its_place(shop: Path, line: str) -> None:
    """Some straight way from its side, level or from above, leads each part out without meeting the plug."""
    place = folder("trough", shop)
    solid = trimesh.load_mesh(place / "solid" / ("foam.stl" if line == "foam" else "finish.stl"))
    sides = {"left": -1.0, "front": -1.0, "right": 1.0, "rear": 1.0, "top": 0.0}
    for row in [row for row in rows_of(place) if row["line"] == line]:
        whole = shapely.buffer(shapely.union_all(over_thickness(solid, row)), -NEAR)
        region = region_of(place, row)

        def is_free(turn: float, region: shapely.Geometry = region, whole: shapely.Geometry = whole,
                    side: float = sides[row["part"]]) -> bool:  # fmt: skip
            """Return whether a way meets nothing."""
            way = (side * math.cos(turn), math.sin(turn))
            return not any(
                affinity.translate(region, s * way[0], s * way[1]).intersects(whole)
                for s in (0.5, 2.0, 5.0, 15.0, 40.0, 100.0, 250.0)
            )

        assert any(is_free(math.radians(turn)) for turn in range(0, 91, 5)), row["name"]


def test_templates_in_the_foam_are_not_proud_and_interlock(shop: Path) -> None:
    """The scoop's: inside the foam at every place of their thickness; where two cross, one or none."""
    place = folder("bonnet_scoop", shop)
    solid = trimesh.load_mesh(place / "solid" / "foam.stl")
    rows = rows_of(place)
    regions = {row["name"]: region_of(place, row) for row in rows}
    for row in rows:
        assert row["line"] is None
        assert row["gap_mm"] is None
        sections = over_thickness(solid, row)
        for one in sections:
            assert regions[row["name"]].difference(shapely.buffer(one, NEAR)).area == 0.0
        plain = region_of(place, row, is_slotted=False)
        edge = shapely.union_all([part.exterior for part in shapely.get_parts(plain)])
        away = max(
            float(shapely.distance(points_of(one), other).max())
            for face in (sections[0].boundary, sections[-1].boundary)
            for one, other in ((edge, face), (face, edge))
        )
        assert row["bevel_mm"] == pytest.approx(away, abs=NEAR)
    crossed = 0
    for one in [row for row in rows if row["kind"] == "station"]:
        for two in [row for row in rows if row["kind"] == "lengthwise"]:
            for share in np.linspace(0.01, 0.99, 7):
                y = two["from_mm"] + share * (two["to_mm"] - two["from_mm"])
                x = one["from_mm"] + share * (one["to_mm"] - one["from_mm"])
                heights = [_heights(regions[one["name"]], y), _heights(regions[two["name"]], x)]
                crossed += all(heights)
                for (_, high), (low, _) in pairwise(sorted([*heights[0], *heights[1]])):
                    assert high <= low
    assert crossed


def _heights(region: shapely.Geometry, across: float) -> list[tuple[float, float]]:
    """Return from where to where a template has material at a place across."""
    cut = region.intersection(shapely.LineString([(across, -1e4), (across, 1e4)]))
    return [(part.bounds[1], part.bounds[3]) for part in shapely.get_parts(cut) if part.length > 0.0]
