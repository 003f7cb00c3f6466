"""Edges of the part: a return flange is laid on a panel that stays bare farther in, and trimmed to a line."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from plugs import (
    Corner,
    Edge,
    End,
    Gutter,
    Plug,
    PlugError,
    Ply,
    Schedule,
    Skin,
    Stack,
    Station,
    Templates,
    Work,
    work_out,
)
from plugs.book.scene import BookScene, make_book_scene, with_trims
from plugs.book.skin import skin
from plugs.book.source import BookSource
from plugs.changes.recording import record_of
from plugs.drafting.drawing import Drawing
from plugs.drafting.styles import TRIM_LINE
from plugs.drawings import edge_drawings, layer_drawings, template_drawings
from plugs.files.written import FileList
from plugs.summary.summary import Made, summarise

LAID = Schedule(plies=(Ply(cloth="mat 300"), Ply(cloth="mat 300")))


def lid(*edges: Edge, rear: float = 0.0, bare: tuple[str, ...] = ("front",)) -> Plug:
    """Return a lid that tapers to the rear."""

    def station(x: float, half: float, high: float) -> Station:
        corners = {"sill": Corner(half, 0.0), "sheer": Corner(half - 20.0, high, 10.0)}
        return Station(x=x, corners=corners)

    return Plug(
        name="Lid",
        stations=(station(0.0, 240.0, 120.0), station(300.0, 220.0, 120.0), station(600.0, 180.0, 90.0)),
        panels=("floor", "side", "deck"),
        rear=End(radius=rear, sharp=("floor",)),
        skin=Skin(no_laminate=bare),
        schedule=LAID,
        stack=Stack(thicknesses=(50.0,)),
        edges=edges,
    )


def drip(width: float = 60.0, radius: float = 3.0, lines: str = "left sheer") -> Edge:
    """Return a drip gutter on the deck."""
    channel = Gutter(inset=15.0, width=20.0, depth=10.0, floor_radius=radius)
    return Edge(name="drip", kind="drip gutter", on="deck", lines=lines, width=width, gutter=channel)


def brim(radius: float | None = None) -> Edge:
    """Return an edge that is turned out round the floor."""
    return Edge(name="brim", kind="turned edge", on="floor", width=40.0, radius=radius)


@pytest.fixture(scope="module")
def flanged() -> Work:
    """Return a lid with a flange all round its floor, round a radius."""
    return work_out(lid(Edge(name="lip", on="floor", width=30.0, radius=8.0), rear=25.0))


def test_the_radius_is_made_where_the_edge_runs(flanged: Work) -> None:
    """Sills and the floor's edge at the rear have at least the radius that is asked; others keep theirs."""
    assert [station.corners["sill"].radius for station in flanged.plug.stations] == [8.0] * 3
    assert [station.corners["sheer"].radius for station in flanged.plug.stations] == [10.0] * 3
    assert flanged.plug.rear.radius_of("floor") == 8.0
    assert flanged.plug.rear.radius_of("deck") == 25.0
    assert "floor" not in flanged.plug.rear.sharp


def test_a_radius_that_is_larger_stays() -> None:
    """An edge asks for the least: where the recipe's own blend is larger, it is let be."""
    work = work_out(lid(Edge(name="lip", on="deck", lines="sheer", width=40.0, radius=8.0)))
    assert {station.corners["sheer"].radius for station in work.plug.stations} == {10.0}


def test_the_trim_line_is_so_far_from_the_finished_edge(flanged: Work) -> None:
    """From the finished side, square to it, the trim line lies as far in as the flange is wide."""
    (trim,) = flanged.trims
    at = np.concatenate(trim.lines)
    at = at[(at[:, 0] < 560.0) & (np.abs(at[:, 0] - 300.0) > 5.0)]  # at the bend it is rounded
    slope = np.where(at[:, 0] < 300.0, 20.0, 40.0) / 300.0
    edge = np.where(
        at[:, 0] < 300.0, 240.0 - at[:, 0] * 20.0 / 300.0, 220.0 - (at[:, 0] - 300.0) * 40.0 / 300.0
    )
    off = (edge - np.abs(at[:, 1])) / np.hypot(1.0, slope)
    assert np.abs(off - 30.0).max() < 0.01


@pytest.mark.parametrize(
    ("edge", "bare", "param", "word"),
    [
        (Edge(name="a", on="flor", width=30.0), ("front",), "edges[0].on", None),
        (Edge(name="a", on="floor", lines="sheer", width=30.0), ("front",), "edges[0].lines", None),
        (Edge(name="a", on="floor", lines="front", width=30.0), ("front",), "edges[0].lines", None),
        (Edge(name="a", on="floor", width=30.0), ("front", "floor"), "edges[0].on", None),
        (Edge(name="a", on="floor", width=300.0), ("front",), "edges[0].width", "width"),
        (Edge(name="a", on="floor", width=9.0, radius=12.0), ("front",), "edges[0].width", "width"),
        (Edge(name="a", on="floor", width=30.0, from_x=700.0), ("front",), "edges[0].from_x", "from_x"),
        (Edge(name="a", on="floor", width=30.0, to_x=-50.0), ("front",), "edges[0].to_x", "to_x"),
        (Edge(name="a", on="floor", width=230.0, radius=200.0), ("front",), "edges[0].radius", None),
        (brim(), ("front",), "edges[0].on", None),
        (brim(radius=5.0), ("front", "floor"), "edges[0].radius", "radius"),
        (replace(brim(), on="deck", lines="sheer"), ("deck",), "edges[0].lines", None),
        (drip(width=35.0), ("front",), "edges[0].width", "width"),
        (replace(drip(), gutter=None), ("front",), "edges[0].gutter", None),
        (drip(lines="rear"), ("front",), "edges[0].lines", None),
        (drip(radius=14.0), ("front",), "edges[0].gutter.floor_radius", "radius"),
        (
            Edge(name="a", on="floor", width=30.0, from_x=90.0, to_x=100.0),
            ("front",),
            "edges[0].to_x",
            "to_x",
        ),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_what_cannot_be_is_refused(edge: Edge, bare: tuple[str, ...], param: str, word: str | None) -> None:
    """Each refusal names the word and what would do; where that is a number, it does."""
    with pytest.raises(PlugError) as caught:
        assert work_out(lid(edge, bare=bare)).trims
    error = caught.value
    assert error.param == param
    if word is None:
        assert any(
            name in error.remedy
            for name in ("sill", "floor", "sheer", "Gutter", "corners", "use at most", "use 0")
        )
        return
    number = float(
        error.remedy.removeprefix("use ").removeprefix("at least ").removeprefix("at most ").split(",")[0]
    )
    if word == "radius" and edge.gutter:
        edge = replace(edge, gutter=replace(edge.gutter, floor_radius=number))
        assert work_out(lid(edge, bare=bare)).strips
        return
    assert work_out(lid(replace(edge, **{word: number}), bare=bare)).trims


def test_two_edges_are_not_called_alike() -> None:
    """Drawings and steps are named by the edge."""
    edge = Edge(name="lip", on="floor", lines="left sill", width=30.0)
    with pytest.raises(PlugError) as caught:
        work_out(lid(edge, replace(edge, lines="right sill")))
    assert caught.value.param == "edges[1].name"


def test_two_edges_on_one_place_are_two_lines() -> None:
    """A wide flange on the left and a narrow one on the right of one floor: each its trim line and area."""
    left = Edge(name="wide", on="floor", lines="left sill", width=60.0)
    right = Edge(name="narrow", on="floor", lines="right sill", width=25.0)
    work = work_out(lid(left, right, bare=("front", "rear")))
    wide, narrow = work.trims
    assert (wide.strip.edge.name, narrow.strip.edge.name) == ("wide", "narrow")
    assert np.concatenate(wide.lines)[:, 1].max() < 0.0 < np.concatenate(narrow.lines)[:, 1].min()
    assert wide.area_mm2 > 2.0 * narrow.area_mm2
    assert work.cloth.areas_m2["floor"] == pytest.approx(1e-6 * (wide.area_mm2 + narrow.area_mm2), rel=1e-3)


# ---- where it is told


def drawn_length(drawing: Drawing) -> float:
    """Return the length of all trim lines on a drawing."""
    lines = [path.points for path in drawing.paths if path.dxf_layer == TRIM_LINE]
    return float(sum(np.linalg.norm(np.diff(points, axis=0), axis=1).sum() for points in lines))


def test_the_trim_line_is_drawn(flanged: Work) -> None:
    """Its own template has it at full size with both edges; the layer that it lies on has it, others not."""
    (trim,) = flanged.trims
    (drawing,) = edge_drawings(flanged).values()
    assert drawing.path == "templates/edge-01"
    assert drawn_length(drawing) == pytest.approx(trim.length, rel=1e-4)
    assert {path.dxf_layer for path in drawing.paths} >= {"PLUG_EDGE", "FOAM_EDGE", TRIM_LINE}
    assert "30 mm in from the finished edge" in " ".join(label.text for label in drawing.labels)
    first, *others = layer_drawings(flanged).values()
    assert drawn_length(first) == pytest.approx(trim.length, rel=1e-4)
    assert any("where the laminate is trimmed, lip" in label.text for label in first.labels)
    assert not any(drawn_length(other) for other in others)


def test_the_trim_line_is_laid_out_by_offsets(flanged: Work) -> None:
    """Its template has it beside the edge in a table: 30 mm in, square to sills that taper."""
    (drawing,) = edge_drawings(flanged).values()
    assert drawing.layout is not None
    spans, inner = dict(drawing.layout.spans), drawing.layout.lines[1:-1]
    assert drawing.layout.axes == ("x", "y")
    across = [np.ptp(np.array(spans[name][1:-1]), axis=(1, 2)) for name in ("PLUG_EDGE", TRIM_LINE)]
    tapers = [20.0 / 300.0 if x < 300.0 else 40.0 / 300.0 for _, x in inner]  # of one sill, from its stations
    assert len(tapers)
    assert across[0] - across[1] == pytest.approx(60.0 * np.hypot(1.0, tapers), abs=0.01)


def test_a_trim_line_across_layers_and_templates_is_marked() -> None:
    """Along a side it crosses gauges, which have a tick there, and goes from layer to layer at its ends."""
    edge = Edge(name="return", on="side", lines="sill", width=60.0, from_x=50.0, to_x=500.0)
    work = work_out(replace(lid(edge), templates=Templates(stations=(300.0,))))
    ticks = [drawn_length(one) for path, one in template_drawings(work).items() if "gauge" in path]
    assert ticks
    assert all(tick == pytest.approx(8.0, abs=0.1) for tick in ticks)
    marked = [drawn_length(one) for one in layer_drawings(work).values()]
    ends = 2 * 2 * 60.0  # up the side at both ends of both sides; along it in the second layer
    assert sum(marked) == pytest.approx(sum(trim.length for trim in work.trims), abs=ends)
    assert marked[1] > 2 * 450.0


def test_the_summary_and_the_book_tell_it(flanged: Work) -> None:
    """A row with its figures; a step to mark it, and one to cut it with its cautions."""
    asked = frozenset({"body", "finish", "cloth"})
    made = summarise(flanged, Made(files=FileList(), proof=None, stages=asked, findings=()))
    (row,) = made["edges"]
    assert (row["name"], row["kind"], row["on"], row["width_mm"]) == ("lip", "return flange", "floor", 30.0)
    assert row["area_m2"] == pytest.approx(1e-6 * flanged.trims[0].area_mm2)
    scene = BookScene(meshes=(), views=(), axis="z")  # type: ignore[arg-type]
    source = BookSource(summary=made, drawings=edge_drawings(flanged), scene=scene, pictures={})
    page = str(skin(source))
    assert "lip: trim line marked on floor" in page
    assert "lip: laminate on floor cut on its trim line" in page
    assert "dust" in page
    assert page.count("templates/edge-01") == 1


def test_what_changed_tells_it(flanged: Work) -> None:
    """A wider flange is told by its area and the length of its trim line."""
    before = record_of(flanged, ("body", "cloth"), ()).figures
    wider = work_out(replace(flanged.plug, edges=(replace(flanged.plug.edges[0], width=45.0),)))
    after = record_of(wider, ("body", "cloth"), ()).figures
    assert after["flanges_m2"] > before["flanges_m2"]
    assert after["trim_lines_mm"] < before["trim_lines_mm"]


def test_the_board_of_a_turned_edge_is_drawn_and_told() -> None:
    """A template past the trim line and under the plug; steps for board, mark and cut; no line on foam."""
    work = work_out(lid(brim(), bare=("front", "floor")))
    (drawing,) = edge_drawings(work).values()
    cut = [path.points for path in drawing.paths if path.dxf_layer == "CUT_LINE"]
    (trim,) = work.trims
    span = np.concatenate(trim.lines)
    assert np.ptp(np.concatenate(cut)[:, 1]) == pytest.approx(np.ptp(span[:, 1]) + 80.0, abs=0.5)
    assert "out from the finished edge" in " ".join(label.text for label in drawing.labels)
    assert not any(drawn_length(one) for one in layer_drawings(work).values())
    asked = frozenset({"body", "finish", "cloth"})
    made = summarise(work, Made(files=FileList(), proof=None, stages=asked, findings=()))
    scene = BookScene(meshes=(), views=(), axis="z")  # type: ignore[arg-type]
    page = str(skin(BookSource(summary=made, drawings={}, scene=scene, pictures={})))
    assert "brim: flange board fixed flush with floor" in page
    assert "brim: laminate on its board cut on its trim line" in page


def test_the_view_shows_the_trim_line(flanged: Work) -> None:
    """It is drawn on the foam, and on the finished surface as far over that as the laminate is thick."""
    plain = make_book_scene(flanged.looks)
    scene = with_trims(plain, flanged.trims)
    points = sum(len(line) for line in flanged.trims[0].lines)
    for one, before in zip(scene.meshes, plain.meshes, strict=True):
        assert len(one.vertices) - len(before.vertices) == points
        assert len(one.edges) - len(before.edges) == points - len(flanged.trims[0].lines)
        assert len(one.normals) == len(one.vertices)
    foam, finish = (one.vertices[-points:, 2].mean() for one in scene.meshes)
    assert foam - finish == pytest.approx(flanged.lines.cover.over(flanged.lines.finish, "floor"), abs=0.02)
