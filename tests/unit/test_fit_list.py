"""The fit list: half-breadths, heights, lengths, edges and gaps that a person with a tape finds on the plug.

Outside: a tapered box and a crowned one by hand; on the main demo every place is looked for again by
trimesh's closest point (a general-purpose library) on the body's own triangles.
"""

from __future__ import annotations

import csv
import io
from itertools import product

import numpy as np
import pytest
import trimesh

from plugs import Corner, End, Opening, Plug, Skin, Station
from plugs.mesh import mesh
from plugs.sanding.fit_list import EDGE, GAP, HALF_BREADTH, HEIGHT, LENGTH, FitRow
from plugs.summary.csv_files import csv_files
from plugs.summary.fit import fit_file
from plugs.work import work_out
from tests.demos import at_defaults


def tapered(**words: object) -> Plug:
    """Return a tapered box: half-breadth 200 - 0.1 x, 120 high, 1000 long, 2 mm of skin on side and deck."""
    stations = [
        Station(x=x, corners={"low": Corner(200.0 - 0.1 * x, 0.0), "high": Corner(200.0 - 0.1 * x, 120.0)})
        for x in (0.0, 500.0, 1000.0)
    ]
    skin = Skin(thickness=2.0, no_laminate=("floor", "front", "rear"))
    return Plug(name="Box", panels=("floor", "side", "deck"), stations=stations, skin=skin, **words)  # type: ignore[arg-type]


def of_kind(rows: tuple[FitRow, ...], what: str) -> list[FitRow]:
    """Return the rows of a kind."""
    return [row for row in rows if row.what == what]


def test_a_box_by_hand() -> None:
    """Half-breadths are 200 - 0.1 x finished, and 2 / cos(atan 0.1) = 2.00998 less in the foam."""
    rows = work_out(tapered()).fit_list
    assert {row.x for row in of_kind(rows, HALF_BREADTH)} == {10.0, 500.0, 990.0}
    for row in of_kind(rows, HALF_BREADTH):
        assert row.y is None
        assert row.finished == pytest.approx(200.0 - 0.1 * (row.x or 0.0), abs=1e-6)
        assert row.foam == pytest.approx((row.finished or 0.0) - 2.0 * np.sqrt(1.01), abs=1e-6)
    assert {row.side for row in of_kind(rows, HALF_BREADTH)} == {"right", "left"}
    assert {(row.foam, row.finished) for row in of_kind(rows, HEIGHT)} == {(118.0, 120.0)}
    lengths = {(row.place.split(",")[0], row.foam, row.finished) for row in of_kind(rows, LENGTH)}
    assert lengths == {("front end", 0.0, 0.0), ("rear end", 1000.0, 1000.0)}
    assert all(abs(row.foam or 0.0) < 1e-3 for row in of_kind(rows, GAP)), "flat panels show no daylight"


def test_of_a_flat_end_corners_and_middle_are_measured() -> None:
    """A straightedge tells the rest, and what lies along an end's rounding: that by Pythagoras."""
    flat = of_kind(work_out(tapered()).fit_list, LENGTH)
    front = [(row.y, row.z) for row in flat if row.place.startswith("front")]
    assert sorted(front) == [(-150.0, 20.0), (-150.0, 100.0), (0.0, 60.0), (150.0, 20.0), (150.0, 100.0)]
    corners = {"low": Corner(200.0, 0.0), "high": Corner(200.0, 300.0)}
    stations = [Station(x=x, corners=corners) for x in (0.0, 500.0)]
    bow = Plug(name="Bow", panels=("floor", "side", "deck"), stations=stations, front=End(radius=100.0))
    fallen = 100.0 - np.sqrt(100.0**2 - 50.0**2)
    asked = dict.fromkeys(product((-100.0, 100.0), (100.0, 200.0)), 0.0) | {(0.0, 150.0): 0.0}
    asked |= dict.fromkeys(product((-150.0, 150.0), (50.0, 250.0)), fallen)
    told = [row for row in of_kind(work_out(bow).fit_list, LENGTH) if row.place.startswith("front")]
    assert {(row.y, row.z): row.foam for row in told} == pytest.approx(asked, abs=0.02)


def beside_the_centreline() -> Plug:
    """Return a block of which nothing lies on the centreline."""
    corners = {
        "a": Corner(100.0, 0.0),
        "b": Corner(300.0, 0.0),
        "c": Corner(300.0, 90.0),
        "d": Corner(100.0, 90.0),
    }
    stations = [Station(x=x, corners=corners) for x in (0.0, 400.0)]
    return Plug(name="Block", panels=("floor", "out", "deck", "in"), stations=stations, mirrored=False)


def low(height: float) -> Plug:
    """Return a flat board, with room for few waterlines or none."""
    corners = {"low": Corner(200.0, 0.0), "high": Corner(200.0, height)}
    return Plug(
        name="Board",
        panels=("floor", "side", "deck"),
        stations=[Station(x=x, corners=corners) for x in (0.0, 400.0)],
    )


@pytest.mark.parametrize(
    ("plug", "count"), [(beside_the_centreline(), 5), (low(8.0), 3), (low(13.0), 5), (low(4.5), 0)]
)
def test_of_whatever_flat_end_corners_and_middle_are_measured(plug: Plug, count: int) -> None:
    """Beside the centreline as well, and where there is one waterline: of that two ends and the middle."""
    rows = of_kind(work_out(plug).fit_list, LENGTH)
    assert [sum(row.place.startswith(end) for row in rows) for end in ("front", "rear")] == [count, count]


def test_the_middle_of_an_opening_in_an_end_is_measured() -> None:
    """It is no place of the end's, though it may lie where one would."""
    hole = Opening(name="hole", panel="rear", y=0.0, z=40.0, width=30.0, height=30.0)
    rows = of_kind(work_out(tapered(openings=[hole])).fit_list, LENGTH)
    assert sum("hole" in row.place for row in rows) == 1
    assert sum(row.place.startswith("rear") for row in rows) == 5


@pytest.mark.parametrize("line", ["foam", "finished"])
def test_every_place_of_the_demo_lies_on_its_surface(line: str) -> None:
    """With its own figure in the blank, each row is a point of the surface that it speaks of."""
    work = at_defaults("sidecar_tail")
    solid = work.body if line == "foam" else work.finish
    points, ways = [], []
    for row in work.fit_list:
        value = row.foam if line == "foam" else row.finished
        if row.what in (HALF_BREADTH, HEIGHT, LENGTH) or (row.what == EDGE and line == "foam"):
            assert value is not None
            told = -value if row.what == HALF_BREADTH and row.side == "left" else value
            points.append([told if v is None else v for v in (row.x, row.y, row.z)])
            ways.append([row.what != EDGE and v is None for v in (row.x, row.y, row.z)])
    shape = trimesh.Trimesh(*mesh.triangles_of(solid.body), process=False)
    _, off, which = trimesh.proximity.closest_point(shape, np.array(points))
    assert len(points) > 50
    assert min(len(of_kind(work.fit_list, what)) for what in (HALF_BREADTH, HEIGHT, LENGTH)) > 8
    assert off.max() < 1e-6
    facing = np.abs(shape.face_normals[which])[np.array(ways)]
    assert facing.min() > np.cos(np.radians(45.5)), "what leans more cannot be told with a tape"
    assert len({row.place for row in work.fit_list if row.what != GAP}) == len(points) + (
        0 if line == "foam" else sum(row.what == EDGE for row in work.fit_list)
    ), "no two places have one name"


def test_the_mating_edge_is_found_by_tape() -> None:
    """Its places lie at round distances from the centreline and the baseline."""
    edges = of_kind(at_defaults("sidecar_tail").fit_list, EDGE)
    assert len(edges) > 20
    for row in edges:
        assert row.x is None and row.panel == "joint with the tub"
        assert any(abs((v or 0.0) / 50.0 - round((v or 0.0) / 50.0)) < 1e-9 for v in (row.y, row.z))


def test_the_file_is_filled_in_the_display_unit() -> None:
    """In inches to a thousandth, lengths by hand: 120 mm are 4.724 in; the blanks are there."""
    work = work_out(tapered(display_unit="in"))
    (name,), heads, *rows = fit_file(work.fit_list, "Box", "in")
    assert name == "# fit list of: Box"
    assert heads == ["row", "what", "panel", "place", "side", "x (in)", "y (in)", "z (in)", "foam (in)",
                     "finished (in)", "measured foam (in)", "measured finished (in)"]  # fmt: skip
    told = [dict(zip(heads, row, strict=True)) for row in rows]
    assert {one["finished (in)"] for one in told if one["what"] == HEIGHT} == {"4.724"}
    assert {one["measured foam (in)"] for one in told} == {""}
    assert {float(one["z (in)"]) % 1.0 for one in told if one["what"] == HALF_BREADTH} == {0.0}, (
        "whole inches"
    )
    held = csv_files(work)["templates/fit-list.csv"]
    assert len(list(csv.reader(io.StringIO(held)))) == len(rows) + 2
