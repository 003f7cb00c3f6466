"""Radius blocks and panels: closed forms, blocks laid on the edges they are for, drawings read back."""

from __future__ import annotations

import io
import itertools
from dataclasses import replace
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pytest
import shapely
import shapely.affinity

from plugs.drafting.drawing import drawing_bounds, label_box
from plugs.drafting.flat import flat_points
from plugs.files.dxf import render_dxf
from plugs.files.svg import render_svg
from plugs.ground.checking import checked
from plugs.ground.errors import PlugError
from plugs.lines.checks import checked_loft
from plugs.lines.measured import in_pieces
from plugs.lines.section import Corner, End, LinesPlan, Station
from plugs.sanding.bays import read_bays
from plugs.sanding.radius_blocks import RadiusBlock
from plugs.sanding.sanding import CROSSWISE, FLAT, Sanding, SandingAids, sanding_aids
from plugs.subjects.block import BLOCK_CUT, BOARD_CUT, block_drawing
from plugs.subjects.sanding_map import sanding_map
from plugs.summary.sanding import sanding_figures
from tests.demos import at_defaults
from tests.shapes import box_plan, crowned_plan, tapered_plan

WORDS = Sanding()


def aids_of(plan: LinesPlan, words: Sanding = WORDS) -> SandingAids:
    """Return the sanding aids of a plan."""
    return sanding_aids(checked_loft(plan), words)


def outline_of(block: RadiusBlock) -> np.ndarray:
    """Return the end of a block as it is drawn, in points."""
    drawing = block_drawing(block, WORDS, plug_name="Part")
    (path,) = (path for path in drawing.paths if path.dxf_layer == BLOCK_CUT)
    return flat_points(path, tolerance=1e-4)


def edge_of(radius: float, turn_deg: float, reach: float = 150.0) -> shapely.Polygon:
    """Return foam with a blended outside edge, the middle of the blend's circle at the origin."""
    half = np.radians(turn_deg) / 2.0
    angle = np.linspace(-half, half, 2001)
    arc = radius * np.stack([np.sin(angle), np.cos(angle)], axis=1)
    right = arc[-1] + reach * np.array([np.cos(half), -np.sin(half)])
    left = arc[0] + reach * np.array([-np.cos(half), -np.sin(half)])
    return shapely.Polygon([*arc, right, (right[0], -9 * reach), (left[0], -9 * reach), left])


# ---- blocks


def test_box_needs_one_block_for_its_edges_and_one_for_its_ends() -> None:
    """Edges of one radius share a block, whatever they are called; all turn by a right angle."""
    aids = aids_of(box_plan(400.0, 200.0, 120.0, radius=20.0, end_radius=30.0))
    assert [block.name for block in aids.blocks] == [
        "R20 low; high",
        "R30 front end side; front end deck; front end floor; rear end side; rear end deck; rear end floor",
    ]
    assert [block.number for block in aids.blocks] == [1, 2]
    for block, radius in zip(aids.blocks, (20.0, 30.0), strict=True):
        assert block.radius == pytest.approx(radius, abs=1e-9)
        assert (block.turn_deg, block.largest_turn_deg) == (pytest.approx(90.0), pytest.approx(90.0))
        assert not block.is_inside and block.flat == 25.0 and not block.note


def test_sharp_edges_need_no_block() -> None:
    """A sharp box has none."""
    assert aids_of(box_plan(400.0, 200.0, 120.0)).blocks == ()


def test_radius_is_taken_square_to_the_edge() -> None:
    """Where the sides run in by an angle a in plan, r in the section is r cos a square to the edge.

    Derived here: seen along the edge the circle in the section is an ellipse of half axes r cos a and r.
    """

    def at(x: float, half: float) -> Station:
        corners = {"low": Corner(half, 0.0), "high": Corner(half, 200.0, 30.0)}
        return Station(x=x, corners=corners)

    (block,) = aids_of(LinesPlan(stations=[at(0.0, 300.0), at(400.0, 100.0)])).blocks
    assert block.radius == pytest.approx(30.0 * np.cos(np.arctan(0.5)), abs=1e-6)
    assert block.turn_deg == pytest.approx(90.0, abs=1e-6)


def test_angle_is_that_between_the_panels() -> None:
    """The angle that a block turns is measured between the panels' planes, which meet askew."""
    plan = tapered_plan(half=(150.0, 75.0), height=(180.0, 90.0), radius=15.0)  # its sides are planes
    aids = aids_of(plan)
    (block,) = (block for block in aids.blocks if "high" in block.edges)
    # the panels' planes, from the corners of the plan alone
    ring = [np.array([[s.x, c.y, c.z] for c in (s.corners["low"], s.corners["high"])]) for s in plan.stations]
    side = np.cross(ring[0][1] - ring[0][0], ring[-1][0] - ring[0][0])
    deck = np.cross([0.0, -1.0, 0.0], ring[-1][1] - ring[0][1])
    cosine = abs(side @ deck) / np.linalg.norm(side) / np.linalg.norm(deck)
    assert block.turn_deg == pytest.approx(np.degrees(np.arccos(cosine)), abs=1e-6)


def test_block_rests_on_its_edge_and_touches_all_along() -> None:
    """The drawn outline and the edge it is for do not overlap, and lie together along arc and flats."""
    block = aids_of(box_plan(400.0, 200.0, 120.0, radius=20.0)).blocks[0]
    outline = shapely.Polygon(outline_of(block))
    foam = edge_of(20.0, 90.0)
    assert outline.intersection(foam).area < 0.01  # chords of both arcs
    shared = outline.buffer(0.01).intersection(foam.boundary)
    assert shared.length == pytest.approx(20.0 * np.pi / 2.0 + 2.0 * 25.0, abs=0.1)


def overlap_with_one_flat_down(block: RadiusBlock, radius: float, turn_deg: float) -> float:
    """Return how much a block cuts into an edge, mm2, held with one flat flush on its panel."""
    down = (radius - block.radius) / np.cos(np.radians(turn_deg) / 2.0)
    outline = shapely.affinity.rotate(
        shapely.Polygon(outline_of(block)), (block.turn_deg - turn_deg) / 2.0, origin=(0.0, 0.0)
    )
    return float(shapely.affinity.translate(outline, yoff=down).intersection(edge_of(radius, turn_deg)).area)


@pytest.mark.parametrize("turn_deg", [80.0, 84.0, 89.0])
@pytest.mark.parametrize("radius", [48.0, 48.4])
def test_block_of_the_smallest_angle_and_radius_digs_into_nothing(turn_deg: float, radius: float) -> None:
    """A block for 48 mm and 80 degrees, one flat flush, leaves edges whole that turn more or are rounder."""
    (block, *_) = aids_of(box_plan(400.0, 200.0, 120.0, radius=48.0)).blocks
    block = replace(block, turn_deg=80.0, flat=25.0)
    assert overlap_with_one_flat_down(block, radius, turn_deg) < 0.02  # chords of both arcs
    assert overlap_with_one_flat_down(replace(block, turn_deg=turn_deg + 5.0), radius, turn_deg) > 1.0
    assert overlap_with_one_flat_down(replace(block, radius=radius + 2.0), radius, turn_deg) > 1.0


def test_inside_edge_gets_a_round_block() -> None:
    """In an inside edge the block is round, and fits the hollow without cutting into it."""
    corners = {
        "a": Corner(-100.0, 0.0),
        "b": Corner(100.0, 0.0),
        "c": Corner(100.0, 60.0),
        "notch": Corner(0.0, 60.0, 25.0),
        "d": Corner(0.0, 150.0),
        "e": Corner(-100.0, 150.0),
    }
    plan = LinesPlan(
        stations=[Station(x=0.0, corners=corners), Station(x=300.0, corners=corners)], mirrored=False
    )
    (block,) = aids_of(plan).blocks
    assert block.is_inside and block.name == "R25 notch"
    assert (block.radius, block.turn_deg) == (pytest.approx(25.0), pytest.approx(90.0))
    outline = shapely.Polygon(outline_of(block))
    hollow = shapely.affinity.rotate(edge_of(25.0, 90.0), 180.0, origin=(0.0, 0.0))
    room = outline.convex_hull.buffer(200.0).difference(hollow)  # foam is outside of the hollow
    assert outline.difference(hollow).area < 0.01
    assert room.distance(outline) < 1e-3
    assert block.places[0].outward == pytest.approx([0.0, np.sqrt(0.5), np.sqrt(0.5)])


def test_radius_that_varies_gets_a_block_for_each_station_and_a_note() -> None:
    """From 10 over 20 to 20 mm: a block of 10, one of 20 for both stations, and what holds in between."""

    def at(x: float, radius: float) -> Station:
        return Station(x=x, corners={"low": Corner(100.0, 0.0), "high": Corner(100.0, 150.0, radius)})

    aids = aids_of(LinesPlan(stations=[at(0.0, 10.0), at(200.0, 20.0), at(400.0, 20.0)]))
    assert [block.name for block in aids.blocks] == [
        "R10 high, station 1",
        "R20 high, station 2; high, station 3",
    ]
    assert all("varies" in block.note for block in aids.blocks)
    assert [block.radius for block in aids.blocks] == [pytest.approx(10.0), pytest.approx(20.0)]


@pytest.mark.parametrize(("radii", "count"), [((20.0, 20.4), 1), ((20.0, 20.8), 2)])
def test_half_a_millimetre_is_the_same_radius(radii: tuple[float, float], count: int) -> None:
    """Radii within 0.5 mm share a block, the smaller one; more do not."""
    stations = [
        Station(x=x, corners={"low": Corner(100.0, 0.0), "high": Corner(100.0, 150.0, radius)})
        for x, radius in zip((0.0, 300.0), radii, strict=True)
    ]
    blocks = aids_of(LinesPlan(stations=stations)).blocks
    assert len(blocks) == count
    assert blocks[0].radius == pytest.approx(20.0)


def test_blend_beside_a_measured_panel_is_found() -> None:
    """A measured panel's blend is a piece of its own: it gets its block like any other."""
    points = np.stack([np.linspace(100.0, 0.0, 41), np.full(41, 150.0)], axis=1)
    stations = [
        Station(
            x=x,
            corners={
                "low": Corner(100.0, 0.0),
                "high": Corner(100.0, 150.0, 20.0),
                "top": Corner(0.0, 150.0),
            },
            curves={"deck": points},
        )
        for x in (0.0, 300.0)
    ]
    plan = in_pieces(LinesPlan(stations=stations, panels=("floor", "side", "deck")))
    aids = aids_of(plan)
    (block,) = aids.blocks
    assert block.name == "R20 high"
    assert (block.radius, block.turn_deg) == (pytest.approx(20.0, abs=1e-3), pytest.approx(90.0, abs=1e-3))
    assert {panel.panel: panel.kind for panel in aids.panels} == dict.fromkeys(
        ("side", "deck", "floor"), FLAT
    )
    (deck,) = (panel for panel in aids.panels if panel.panel == "deck")
    assert deck.crosswise is not None
    assert deck.crosswise.length == pytest.approx(160.0, abs=1e-3)  # over the centreline, blend to blend


def test_flats_keep_to_narrow_panels() -> None:
    """Where a panel is 10 mm wide between its blends, so are the flats."""
    aids = aids_of(box_plan(400.0, 200.0, 50.0, radius=20.0))
    assert aids.blocks[0].flat == pytest.approx(10.0)


def test_ends_turn_by_the_slope_of_each_panel() -> None:
    """The rear end's blend turns from the end's plane into each panel, which slopes by its own angle."""
    aids = aids_of(tapered_plan(rear=End(radius=20.0, sharp=("floor",))))
    by_edge = {edge: block for block in aids.blocks for edge in block.edges}
    assert set(by_edge) == {"rear end side", "rear end deck"}
    slope = np.degrees(np.arctan2(180.0 - 120.0, 400.0))
    assert by_edge["rear end deck"].turn_deg == pytest.approx(90.0 - slope, abs=1e-6)
    assert by_edge["rear end deck"].radius == 20.0


# ---- panels


def test_bays_stop_at_the_blends_of_the_ends() -> None:
    """Bays run between stations, less what the ends' blends take up, and are numbered from the front."""
    loft = checked_loft(tapered_plan(rear=End(radius=20.0)))
    bays = read_bays(loft)
    assert loft.rear is not None
    assert bays.edges == pytest.approx([0.0, 200.0, loft.rear.u_start])
    assert bays.numbers == (1, 2)


def test_knuckle_at_a_station_shows_over_the_whole_length() -> None:
    """Straight bays are flat each; over a station that stands out the straightedge rocks.

    Derived here: of two straight bays of 200 mm with a station b out between them, a straightedge of 300 mm
    laid evenly over it rests on points 150 b / 200 lower: that is its gap, less the lean of the panel.
    """
    plan = tapered_plan(half=(150.0, 150.0), height=(180.0, 180.0), bulge=4.0)
    aids = aids_of(plan, Sanding(straightedge=300.0))
    decks = [panel for panel in aids.panels if panel.panel == "deck"]
    assert [deck.kind for deck in decks] == [FLAT, FLAT]
    (whole,) = (panel for panel in aids.wholes if panel.panel == "deck")
    assert whole.kind == CROSSWISE and whole.bay == 0
    assert whole.lengthwise is not None
    assert whole.lengthwise.gap == pytest.approx(3.0, rel=0.05)
    assert whole.lengthwise.place[0] == pytest.approx(200.0, abs=10.0)


def test_port_side_is_not_repeated() -> None:
    """A mirrored plug lists each side once, and says that there are two of it."""
    aids = aids_of(box_plan(400.0, 200.0, 120.0))
    assert {panel.panel: panel.is_both_sides for panel in aids.panels} == {
        "side": True,
        "deck": False,
        "floor": False,
    }


def test_figures_are_plain() -> None:
    """The figures for the summary hold what the records hold."""
    aids = aids_of(crowned_plan())
    figures = sanding_figures(aids)
    assert len(figures["blocks"]) == len(aids.blocks)
    assert len(figures["panels"]) == len(aids.panels)
    for panel, record in zip(figures["panels"], aids.panels, strict=True):
        assert panel["kind"] == record.kind and panel["bay"] == record.bay
        if record.crosswise is not None:
            assert panel["crosswise"]["gap_mm"] == pytest.approx(record.crosswise.gap, abs=1e-6)


@pytest.mark.parametrize(
    ("words", "param"),
    [
        (Sanding(straightedge=0.0), "sanding.straightedge"),
        (Sanding(gap_allowed=-1.0), "sanding.gap_allowed"),
        (Sanding(flat=float("nan")), "sanding.flat"),
        (Sanding(block_length=1.0), "sanding.block_length"),
        (Sanding(grip=0.0), "sanding.grip"),
        ("600", "sanding"),
    ],
)
def test_words_are_checked(words: object, param: str) -> None:
    """A value that no block can have is refused by its name."""
    with pytest.raises(PlugError) as caught:
        checked(words, Sanding, "sanding")
    assert caught.value.param == param
    assert checked(WORDS, Sanding, "sanding") == WORDS


# ---- drawings


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_block_is_drawn_with_a_true_arc(unit: str) -> None:
    """Read back by ezdxf, the block has one arc, of its radius and angle; the board is as wide as it."""
    block = aids_of(box_plan(400.0, 200.0, 120.0, radius=20.0)).blocks[0]
    drawing = block_drawing(block, WORDS, plug_name="Part", display_unit=unit)
    document = ezdxf.read(io.StringIO(render_dxf(drawing)))
    outlines = {e.dxf.layer: e for e in document.modelspace() if e.dxftype() == "LWPOLYLINE" and e.closed}
    assert set(outlines) == {BLOCK_CUT, BOARD_CUT}
    rows = list(outlines[BLOCK_CUT].get_points("xyb"))
    arcs = [(a, b) for a, b in itertools.pairwise([*rows, rows[0]]) if a[2]]
    ((begin, end),) = arcs
    chord = np.hypot(end[0] - begin[0], end[1] - begin[1])
    turn = 4.0 * np.arctan(abs(begin[2]))
    assert np.degrees(turn) == pytest.approx(90.0)
    assert 0.5 * chord / np.sin(0.5 * turn) == pytest.approx(20.0)
    board = np.array(outlines[BOARD_CUT].get_points("xy"))
    assert np.ptp(board, axis=0) == pytest.approx([2.0 * (20.0 + 25.0) * np.sqrt(0.5), 150.0])
    words = " ".join(label.text for label in drawing.labels)
    assert "B1 R20" in words if unit == "mm" else "20 mm (0.787 in)" in words


def test_name_stands_inside_the_block() -> None:
    """The short name lies within the outline, not on its lines."""
    for plan in (box_plan(400.0, 200.0, 120.0, radius=8.0), crowned_plan()):
        for block in aids_of(plan).blocks:
            label = block_drawing(block, WORDS, plug_name="Part").labels[0]
            assert shapely.Polygon(outline_of(block)).contains(shapely.box(*label_box(label)))


@pytest.mark.parametrize("recipe", ["sidecar_tail", "seat_hump", "tank_cover", "cab_fairing"])
def test_map_shows_every_panel(recipe: str) -> None:
    """Every panel has its number in a view and in the table, and no hatch runs through its words."""
    work = at_defaults(recipe)
    aids = sanding_aids(work.lines.foam, WORDS)
    drawing = sanding_map(
        aids, path="templates/sanding-map", plug_name=work.plug.name, display_unit=work.plug.display_unit
    )
    starts = [label.text.split()[0] for label in drawing.labels]
    for number, panel in enumerate(aids.panels, start=1):
        assert starts.count(str(number)) >= 2, panel.panel
    for block in aids.blocks:
        assert starts.count(f"B{block.number}") >= 2
    hatches = shapely.linestrings(
        [path.points for path in drawing.paths if not path.is_closed and path.dxf_layer != "LABELS"]
        or np.zeros((0, 2, 2))
    )
    inside = [label for label in drawing.labels if label.align == "centre"]
    boxes = shapely.union_all(shapely.box(*np.array([label_box(label) for label in inside]).T))
    assert shapely.length(shapely.intersection(hatches, boxes)).sum() < 1e-6
    svg = ElementTree.fromstring(render_svg(drawing))
    left, bottom, right, top = drawing_bounds(drawing)
    assert svg.get("width") == f"{right - left + 20.0:.4f}".rstrip("0").rstrip(".") + "mm"
    assert top - bottom < 900.0


def test_bays_too_narrow_for_their_numbers_are_numbered_one_in_some() -> None:
    """A hundred bays in 2 m: numbers stand apart, the view says which bays have one, the table has all."""
    box = box_plan(2000.0, 300.0, 200.0)
    stations = [replace(box.stations[0], x=20.0 * i) for i in range(101)]
    aids = aids_of(replace(box, stations=stations))
    drawing = sanding_map(aids, path="templates/sanding-map", plug_name="Part")
    (view,) = [one.text for one in drawing.labels if one.text.startswith("Seen from above")]
    every = int(view.split()[-2])
    assert view.endswith(f", one bay in {every} numbered") and every > 1
    top = [i for i, panel in enumerate(aids.panels, start=1) if panel.normal[2] > 0.9]
    seen = [one for one in drawing.labels if one.align == "centre" and one.text in map(str, top)]
    assert len(seen) == len(top[::every])
    assert np.diff(sorted(one.at[0] for one in seen)).min() >= 7.9
    starts = [one.text.split()[0] for one in drawing.labels if one.align == "left"]
    assert all(starts.count(str(i)) >= 1 for i in top)


def test_same_plug_same_map() -> None:
    """The same plug gives the same text, byte for byte."""
    texts = {
        render_svg(sanding_map(aids_of(crowned_plan()), path="templates/sanding-map", plug_name="Part"))
        for _ in range(2)
    }
    assert len(texts) == 1
