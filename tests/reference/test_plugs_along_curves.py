"""A plug along a curve of its own against Pappus's theorems, the torus, and arcs.

Sources: Pappus's theorems (a plane figure swept square to a curve has the volume of its area times the way of
its centroid, and the area of its outline times the way of the outline's centroid), the torus: textbook
geometry, from memory; values derived here. Sections by integration: rounding; the mesh: its chord tolerance
times the area; the kernel: strips within 1e-4 mm of the sections.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely

from plugs import (
    Along,
    Bow,
    Corner,
    Edge,
    End,
    Plug,
    PlugError,
    Ply,
    Recess,
    Schedule,
    Skin,
    Stack,
    Station,
    Templates,
    WireWork,
    Work,
    work_out,
)
from plugs.comparing.places import Names
from plugs.comparing.reading import Expected, read_measured
from plugs.comparing.surface import make_surface
from plugs.kernel.job import KernelJob
from plugs.kernel.modelling import run_job
from plugs.kernel.spline_strips import fit_strips
from plugs.mesh import mesh
from plugs.summary.fit import fit_file

BEND, THICK = 100.0, 20.0
ARC = 0.5 * np.pi * BEND
CORNER = ((0.0, 0.0), (400.0, 0.0, 160.0), (400.0, 300.0))
BACK, TURN, SIDE = 240.0, 0.5 * np.pi * 160.0, 140.0
LENGTH = BACK + TURN + SIDE


def round_bar(x: float) -> Station:
    """Return a round section: a square whose blends all but meet."""
    r, corners = THICK * (1.0 - 1e-7), enumerate(((1, -1), (1, 1), (-1, 1), (-1, -1)))
    return Station(x=x, corners={f"c{i}": Corner(a * THICK, b * THICK, r) for i, (a, b) in corners})


def bumper(**words: object) -> Work:
    """Return a rear bumper's corner: along the back, round the corner, and along the side."""
    places = {"foot": (-60, 0), "toe": (40, 0), "brow": (40, 180), "ledge": (-60, 200)}
    section = {name: Corner(*place) for name, place in places.items()}
    plug = Plug(
        name="Bumper corner",
        mirrored=False,
        panels=("bottom", "inside", "top", "face"),
        along=Along(view="plan", points=CORNER),
        stations=[Station(x=x, corners=section) for x in (0.0, BACK, BACK + TURN, LENGTH)],
        stack=Stack(axis="z", thicknesses=(50.0,)),
    )
    return work_out(replace(plug, **words))  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def corner() -> Work:
    """Return a bumper's corner under 2 mm of skin but for its bottom, laid up, with gauges."""
    return bumper(
        skin=Skin(thickness=2.0, no_laminate=("bottom",)),
        schedule=Schedule(plies=[Ply(cloth="cloth 280")], resin="epoxy"),
        templates=Templates(thickness=6.0),
    )


@pytest.mark.parametrize("view", ["plan", "side"])
def test_a_quarter_of_a_torus(view: str) -> None:
    """Pappus: pi r^2 times a quarter turn of the middle, 2 pi r times the same, and two ends of pi r^2.

    In the plane of the bend its centroid lies 2 sqrt(2) / pi (R + r^2 / 4 R) from the middle of the bend.
    """
    along = Along(view=view, points=((0.0, 0.0), (BEND, 0.0, BEND), (BEND, BEND)))
    stations = [round_bar(0.0), round_bar(ARC)]
    solid = work_out(Plug(name="bar", mirrored=False, stations=stations, along=along)).body
    volume = np.pi * THICK**2 * ARC
    area = 2.0 * np.pi * THICK * ARC + 2.0 * np.pi * THICK**2
    assert solid.by_sections.volume_mm3 == pytest.approx(volume, rel=1e-6)
    assert solid.by_sections.area_mm2 == pytest.approx(area, rel=1e-6)
    assert solid.by_mesh.volume_mm3 == pytest.approx(volume, abs=0.02 * area)
    reach = (BEND + 0.25 * THICK**2 / BEND) * 2.0 / np.pi
    expected = np.array([0.0, BEND]) + reach * np.array([1.0, -1.0])
    plane = [0, 1] if view == "plan" else [0, 2]
    assert solid.by_sections.centroid[plane] == pytest.approx(expected, rel=1e-6)
    points, _ = mesh.triangles_of(solid.body)
    out = np.hypot(points[:, 0], points[:, plane[1]] - BEND) - BEND
    assert np.hypot(out, points[:, 3 - plane[1]]).max() < THICK + 1e-6


def test_a_bumper_corner_by_pappus(corner: Work) -> None:
    """A prism swept round a bend: area and length of outline times the way of their centroids.

    The section is 100 mm wide and 200 high on its outer side, 180 on its inner one, and the bend turns to its
    right, where it reaches 40 mm towards the middle of the bend.
    """
    ring = shapely.Polygon([(-60, 0), (40, 0), (40, 180), (-60, 200)])
    way = BACK + SIDE + 0.5 * np.pi * (160.0 - ring.centroid.x)
    outline = BACK + SIDE + 0.5 * np.pi * (160.0 - ring.exterior.centroid.x)
    solid = corner.finish
    assert solid.by_sections.volume_mm3 == pytest.approx(ring.area * way, rel=1e-9)
    assert solid.by_sections.area_mm2 == pytest.approx(ring.length * outline + 2.0 * ring.area, rel=1e-7)
    assert solid.by_mesh.volume_mm3 == pytest.approx(ring.area * way, abs=0.02 * ring.length * way)
    assert solid.by_mesh.upper == pytest.approx([460.0, 300.0, 200.0], abs=1e-6)
    assert sum(layer.volume_mm3 for layer in corner.layers) == pytest.approx(corner.body.by_mesh.volume_mm3)


def test_the_foam_under_a_skin(corner: Work) -> None:
    """2 mm off face, inside and top, square to them, and off both ends."""
    assert corner.skin_proof is not None
    assert corner.skin_proof.largest_mm < 1e-3
    low = 2.0 * np.hypot(1.0, 0.2)
    ring = shapely.Polygon([(-58, 0), (38, 0), (38, 180.4 - low), (-58, 199.6 - low)])
    way = BACK + SIDE - 4.0 + 0.5 * np.pi * (160.0 - ring.centroid.x)
    assert corner.body.by_sections.volume_mm3 == pytest.approx(ring.area * way, rel=1e-6)


def test_cloth_of_a_bumper_corner(corner: Work) -> None:
    """Each panel is as large as its line in the section times the way that its middle takes."""
    assert corner.cloth is not None
    sized, low = corner.cloth.areas_m2, 2.0 * np.hypot(1.0, 0.2)  # of the foam, 2 mm under

    def swept(length: float, aside: float) -> float:
        return 1e-6 * length * (BACK + SIDE - 4.0 + 0.5 * np.pi * (160.0 - aside))

    assert sized["face"] == pytest.approx(swept(199.6 - low, -58.0), rel=1e-4)
    assert sized["inside"] == pytest.approx(swept(180.4 - low, 38.0), rel=1e-4)
    assert sized["top"] == pytest.approx(swept(np.hypot(96.0, 19.2), -10.0), rel=1e-4)


def test_gauges_are_square_to_the_curve(corner: Work) -> None:
    """Beside each station's gauges stands its section, exactly; they lie in the plane square to the curve."""
    finished = [one for one in corner.templates if one.line == "finished"]
    assert [one.at_mm for one in finished[::2]] == pytest.approx([0.0, BACK, BACK + TURN, LENGTH])
    straight = [one for one in finished if one.at_mm in (0.0, LENGTH)]  # no bend over their thickness
    ring = shapely.Polygon([(-60, 0), (40, 0), (40, 180), (-60, 200)])
    for one in straight:
        assert one.region.intersection(ring).area < 1.0
        top = one.region.bounds[3]
        side = shapely.box(-60, 0, 0, top) if one.part == "left" else shapely.box(0, 0, 40, top)
        assert one.region.intersection(side).area == pytest.approx(side.difference(ring).area, abs=1.0)
    (left,) = [one for one in finished if one.at_mm == pytest.approx(BACK + TURN) and one.part == "left"]
    points, _ = mesh.triangles_of(left.body)
    assert points[:, 1].min() == pytest.approx(160.0, abs=1e-6)
    assert points[:, 1].max() == pytest.approx(166.0, abs=1e-6)
    assert points[:, 0].min() == pytest.approx(400.0, abs=1e-6)
    assert points[:, 0].max() == pytest.approx(460.0 + 60.0, abs=0.1)


def test_the_base_plan_shows_the_curve(corner: Work) -> None:
    """Its lines stand square to the curve, which ends where its last leg does."""
    plan = corner.base
    assert plan.curve is not None
    assert plan.curve[-1] == pytest.approx([400.0, 300.0])
    assert shapely.LineString(plan.curve).length == pytest.approx(LENGTH, abs=0.05)
    face = next(line for line in plan.lines if line.at_mm == pytest.approx(BACK + TURN)).faces[0]
    assert np.array(face)[:, 1] == pytest.approx([160.0, 160.0])
    assert sorted(x for x, _ in face) == pytest.approx([400.0 - 40.0 - 15.0, 400.0 + 60.0 + 15.0], abs=2.1)


def test_what_is_measured_along_a_curve(corner: Work) -> None:
    """Half-breadths to its right and left at its stations; no lengths, which no tape follows round a bend."""
    rows = [row for row in corner.fit_list if row.what == "half-breadth"]
    rows = [row for row in rows if row.x == pytest.approx(BACK + TURN)]
    assert {row.side: row.finished for row in rows} == pytest.approx({"right": 40.0, "left": 60.0})
    assert {row.side: row.foam for row in rows} == pytest.approx({"right": 38.0, "left": 58.0})
    assert {row.what for row in corner.fit_list} == {"half-breadth", "height", "gap"}
    gap = next(one for one in corner.sanding.panels if one.panel == "face" and one.bay == 2).lengthwise
    assert gap is not None
    assert gap.length == pytest.approx(218.0 * np.sqrt(2.0))
    assert gap.gap == pytest.approx(218.0 * (1.0 - np.sqrt(0.5)), abs=1e-3)  # the arc's rise over its chord


def test_a_fit_list_along_a_curve_is_read_back(corner: Work, tmp_path: Path) -> None:
    """Filled in as the plug is drawn, each of its places lies on the finished surface, round the bend too."""
    rows = fit_file(corner.fit_list, corner.plug.name, "mm")
    for row in rows[2:]:
        row[-1] = row[-3]
    path = tmp_path / "fit-list.csv"
    path.write_text("\n".join(",".join(f'"{cell}"' for cell in row) for row in rows), encoding="utf-8")
    expected = Expected(
        plug_name=corner.plug.name, against="finished", body=corner.finish.body, rows=corner.fit_list,
        templates=lambda: corner.templates, course=corner.drawn.table.course,
    )  # fmt: skip
    points = read_measured(path, None, expected).points
    assert len(points) > 40
    assert np.abs(make_surface(corner.finish.body).nearest(points, 5.0).off).max() < 0.03
    names = Names(loft=corner.drawn, unit="mm")
    middle = np.array([240.0 + 220.0 * np.sqrt(0.5), 160.0 - 220.0 * np.sqrt(0.5), 100.0])
    told = names.place(middle, np.array([1.0, -1.0, 0.0]) * np.sqrt(0.5))
    assert told == "bay 2, face, 366 mm along the curve, left, 100 mm over the baseline"


def test_a_block_for_a_bent_edge_is_short() -> None:
    """Over a straight block of length l an edge of radius R falls away by l^2 / 8 R: 0.3 mm at most.

    The blend of 20 of a square edge at 40 mm to the inner side lies 34.1 mm to it in its middle.
    """
    places = {"a": (-60, 0, 0), "b": (40, 0, 0), "c": (40, 200, 20), "d": (-60, 200, 0)}
    section = {name: Corner(*place) for name, place in places.items()}
    stations = [Station(x=x, corners=section) for x in (0.0, LENGTH)]
    (block,) = bumper(stations=stations).sanding.blocks
    radius = 160.0 - (40.0 - 20.0 * (1.0 - np.sqrt(0.5)))
    assert block.turn_deg == pytest.approx(90.0)
    assert block.note.endswith(f"no longer than {int(np.sqrt(8.0 * radius * 0.3))} mm")


def test_the_book_is_told_of_the_curve(corner: Work) -> None:
    """Where each station's plane stands, and which way the curve runs there."""
    told = corner.summary["solid"]["along"]
    assert told["view"] == "plan"
    assert told["length_mm"] == pytest.approx(LENGTH)
    last = told["stations"][-1]
    assert (last["number"], last["along_mm"]) == (4, pytest.approx(LENGTH))
    assert last["place_mm"] == pytest.approx([400.0, 300.0, 0.0])
    assert last["heading_deg"] == pytest.approx(90.0)


@pytest.mark.kernel
def test_a_bumper_corner_in_the_kernel(corner: Work) -> None:
    """The third opinion: the same volume and area, no free edge."""
    proof = run_job(KernelJob(name="corner", body=fit_strips(corner.drawn), wants_step=False))
    assert proof.volume_mm3 == pytest.approx(corner.finish.by_sections.volume_mm3, rel=1e-5)
    assert proof.area_mm2 == pytest.approx(corner.finish.by_sections.area_mm2, rel=1e-5)
    assert proof.n_free_edges == 0


def test_a_flare_is_as_long_as_its_arc() -> None:
    """Half a circle of 300 in side view: pi 300 along it, its crown 300 up; gauges lean with its planes."""
    points = ((-300.0, 0.0), (-300.0, 300.0, 300.0), (300.0, 300.0, 300.0), (300.0, 0.0))
    whole = 300.0 * np.pi
    plug = Plug(
        name="flare",
        stations=[
            Station(x=x, corners={"a": Corner(30, 0), "b": Corner(30, 40)}) for x in (0.0, 0.5 * whole, whole)
        ],
        along=Along(view="side", points=points),
        templates=Templates(thickness=6.0, stands="centred"),
    )
    work = work_out(plug)
    course = work.drawn.table.course
    assert course is not None
    assert course.length == pytest.approx(whole)
    assert work.body.by_sections.volume_mm3 == pytest.approx(60.0 * 40.0 * np.pi * 320.0, rel=1e-9)
    assert work.base.leaning == pytest.approx((0.0, whole))
    crown = [one for one in work.templates if one.at_mm == pytest.approx(0.5 * whole)]
    assert not any(one.is_on_board for one in crown)
    points, _ = mesh.triangles_of(crown[0].body)
    assert points.min(axis=0)[[0, 2]] == pytest.approx([-3.0, 300.0], abs=0.1)
    with pytest.raises(PlugError, match="942") as caught:
        _ = work_out(replace(plug, stations=[*plug.stations, replace(plug.stations[0], x=1000.0)])).drawn
    assert caught.value.param == "stations[3].x"


def test_a_recess_stands_so_far_along_the_curve() -> None:
    """A pocket of 60 x 40 x 10 in the face, 60 mm before its end: x is the length along the curve."""
    recess = Recess(panel="face", x=LENGTH - 60.0, width=40.0, height=60.0, depth=10.0, corner_radius=1e-3)
    work = bumper(recesses=[recess])
    (tool,) = work.lines.tools
    assert tool.frame[:, 3] == pytest.approx([460.0, 240.0, 100.0])
    assert tool.frame[:, 0] == pytest.approx([-1.0, 0.0, 0.0])
    plain = work.body.plain_by_mesh.volume_mm3
    assert plain - work.body.by_mesh.volume_mm3 == pytest.approx(60.0 * 40.0 * 10.0, rel=1e-4)
    with pytest.raises(PlugError, match="mm wide") as caught:
        _ = bumper(recesses=[replace(recess, x=LENGTH - 25.0)]).lines
    (path, value), *_ = caught.value.would_do
    assert path == "recesses[0].x"
    assert bumper(recesses=[replace(recess, x=float(str(value)))]).lines


def test_a_rail_bent_back_beside_itself() -> None:
    """Legs of 40 x 30, 40 mm apart: gauges, half-breadths and a hole right through are of one leg alone."""
    bend = Along(view="plan", points=((0.0, 0.0), (240.0, 0.0, 40.0), (240.0, 80.0, 40.0), (0.0, 80.0)))
    places = {"a": (-20, 0), "b": (20, 0), "c": (20, 30), "d": (-20, 30)}
    section = {name: Corner(*place) for name, place in places.items()}
    whole = 400.0 + 40.0 * np.pi
    hole = Recess(panel="b to c", x=100.0, width=15.0, height=20.0, corner_radius=1e-3, depth="right through")
    work = bumper(
        panels=(), along=bend, stations=[Station(x=x, corners=section) for x in (0.0, 100.0, whole)],
        recesses=[hole], templates=Templates(stations=(50.0, whole - 50.0)),
        stack=Stack(axis="z", thicknesses=(30.0,)),
    )  # fmt: skip
    body = work.body
    plain = body.plain_by_mesh.volume_mm3
    assert plain == pytest.approx(1200.0 * whole, rel=1e-4)
    assert plain - body.by_mesh.volume_mm3 == pytest.approx(15.0 * 20.0 * 40.0, rel=1e-3)
    assert len(work.templates) == 4
    for one in work.templates:
        assert mesh.volume_of(mesh.common(one.body, body.body)) < 1.0
    breadths = [row.foam for row in work.fit_list if row.what == "half-breadth" and row.x == 50.0]
    assert breadths == pytest.approx([20.0] * len(breadths))
    assert len(breadths) > 3


def test_rounded_ends_on_straight_leads() -> None:
    """An end's blend of 30 on a straight lead is that of a straight plug: what it takes off is the same."""
    ends = {"front": End(radius=30.0), "rear": End(radius=10.0)}
    bent, straight = bumper(**ends).body, bumper(along=None, **ends).body
    plain, block = bumper().body, bumper(along=None).body
    assert plain.by_sections.volume_mm3 - bent.by_sections.volume_mm3 == pytest.approx(
        block.by_sections.volume_mm3 - straight.by_sections.volume_mm3, rel=1e-6
    )
    short = Along(view="plan", points=((0.0, 0.0), (170.0, 0.0, 160.0), (170.0, 300.0)))
    words = {"along": short, "stations": [replace(bumper().plug.stations[0], x=x) for x in (0.0, 300.0)]}
    with pytest.raises(PlugError, match="straight for 10") as caught:
        _ = bumper(**words, **ends).drawn
    ((path, radius),) = caught.value.would_do
    assert path == "front.radius"
    assert bumper(**words, front=End(radius=float(str(radius))), rear=End(radius=10.0)).drawn


@pytest.mark.parametrize(
    ("words", "param", "told"),
    [
        ({"mirrored": True}, "mirrored", "not alike"),
        ({"front": End(rake_deg=5.0)}, "front.rake_deg", "square to it"),
        ({"templates": Templates(lengthwise=(0.0,))}, "templates.lengthwise", "bend with it"),
        ({"templates": Templates(), "stack": Stack(axis="x", between_templates=True)},
         "stack.between_templates", "wedges"),
        ({"wire": WireWork(cut="bays", bow=Bow(span=900.0)), "foam": "eps 22"}, "wire.cut", "wedges"),
        ({"edges": [Edge(name="lip", on="bottom", lines=("foot",), width=20.0, to_x=300.0)]},
         "edges[0].to_x", "the curve leaves"),
        ({"along": Along(view="plan", points=((0, 0), (300, 0, 30.0), (300, 400)))},
         "along.points[1][2]", "cross within it"),
    ],
)  # fmt: skip
def test_what_is_refused_along_a_curve(words: dict[str, object], param: str, told: str) -> None:
    """Each by its word, with why, and a value that does."""
    with pytest.raises(PlugError, match=re.escape(told)) as caught:
        _ = bumper(**words).drawn
    assert caught.value.param == param
    assert caught.value.remedy
