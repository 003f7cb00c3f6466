"""Recesses, through-cuts and bosses: where they sit, what they take, and how they are refused."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from plugs.body.body import Solid, make_solid, make_tools
from plugs.body.proof import integrate
from plugs.ground.checking import checked
from plugs.ground.errors import PlugError
from plugs.lines.checks import checked_loft
from plugs.lines.section import Corner, End, LinesPlan, Station
from plugs.mesh import mesh
from plugs.recesses.recess import Boss, Recess, make_tool
from tests.shapes import box_plan, tapered_plan

BOX = box_plan(300.0, 200.0, 100.0)
POCKET = Recess(panel="deck", x=150.0, width=60.0, height=40.0, depth=12.0)
PAD = Boss(panel="deck", x=150.0, width=60.0, height=40.0, rise=8.0)


def built(plan: LinesPlan, *items: Recess | Boss) -> Solid:
    """Return a plan's body with tools."""
    loft = checked_loft(plan)
    tools = make_tools(loft, [checked(i, Boss, "bosses[0]") for i in items if isinstance(i, Boss)], "bosses")
    tools += make_tools(
        loft, [checked(i, Recess, "recesses[0]") for i in items if isinstance(i, Recess)], "recesses"
    )
    return make_solid(loft, tools, (), 0.02)


def refused(plan: LinesPlan, *items: Recess | Boss) -> PlugError:
    """Return the error with which tools are refused."""
    with pytest.raises(PlugError) as caught:
        built(plan, *items)
    assert caught.value.remedy
    return caught.value


def changed_volume(plan: LinesPlan, *items: Recess | Boss) -> float:
    """Return what tools add to the volume, less what they take."""
    solid = built(plan, *items)
    return solid.by_mesh.volume_mm3 - solid.plain_by_mesh.volume_mm3


def frustum(width: float, height: float, depth: float, draft_deg: float) -> float:
    """Return the volume of a pocket with drafted walls and sharp corners (prismoidal rule, M)."""
    move = depth * math.tan(math.radians(draft_deg))
    top, bottom = width * height, (width - 2 * move) * (height - 2 * move)
    middle = (width - move) * (height - move)
    return depth / 6.0 * (top + 4.0 * middle + bottom)


@pytest.mark.parametrize("draft_deg", [0.0, 10.0, 30.0, -5.0])
@pytest.mark.parametrize(
    ("panel", "place"),
    [
        ("deck", {"x": 150.0}),
        ("floor", {"x": 120.0}),
        ("side", {"x": 100.0}),
        ("left side", {"x": 100.0}),
        ("rear", {"y": 10.0, "z": 50.0}),
        ("front", {"y": -10.0, "z": 45.0}),
    ],
)
def test_pocket_takes_its_volume(panel: str, place: dict[str, float], draft_deg: float) -> None:
    """On every panel and both ends: the frustum between mouth and floor."""
    item = replace(POCKET, panel=panel, draft_deg=draft_deg, **{"x": None, "z": None, **place})
    assert changed_volume(BOX, item) == pytest.approx(-frustum(60.0, 40.0, 12.0, draft_deg), rel=1e-9)


@pytest.mark.parametrize("draft_deg", [0.0, 10.0])
@pytest.mark.parametrize("panel", ["deck", "side", "left side"])
def test_boss_adds_its_volume(panel: str, draft_deg: float) -> None:
    """Narrower at the top with draft, its foot on the panel."""
    item = replace(PAD, panel=panel, draft_deg=draft_deg)
    assert changed_volume(BOX, item) == pytest.approx(frustum(60.0, 40.0, 8.0, draft_deg), rel=1e-9)


def test_round_corners_and_floor() -> None:
    """A pocket whose corners and floor are round is a rounded prism: less by the edges (closed forms, M).

    Corners of radius c take (4 - pi) c c of its area; along the floor a blend of radius r leaves
    (1 - pi/4) r r for each straight length, and a quarter of a torus at the corners (Pappus).
    """
    c, r, w, h, d = 10.0, 4.0, 60.0, 40.0, 12.0
    area = w * h - (4.0 - math.pi) * c**2
    straight = 2.0 * (w + h - 4.0 * c) * (1.0 - math.pi / 4.0) * r**2
    item = replace(POCKET, corner_radius=c, floor_radius=r)
    tool = make_tool(checked_loft(BOX), item, "recesses[0]")
    full = integrate(tool.loft).volume_mm3 - area * 1.0
    assert full == pytest.approx(area * d - straight - torus_spandrel(c, r), rel=1e-8)
    assert changed_volume(BOX, item) == pytest.approx(-full, rel=2e-3)


def torus_spandrel(c: float, r: float) -> float:
    """Return what a blend of radius r leaves along a circular corner of radius c: Pappus' rule.

    Its section between wall, floor and arc has area (1 - pi/4) r r; integrated round the axis at
    distance c - s from the wall: 2 pi int s-section (c - s) ds = 2 pi (c A - S), S its moment.
    """
    area = (1.0 - math.pi / 4.0) * r**2
    moment = r**3 * (5.0 / 6.0 - math.pi / 4.0)
    return 2.0 * math.pi * (c * area - moment)


@pytest.mark.parametrize("turn_deg", [0.0, 30.0, 90.0, -45.0])
def test_turning_takes_the_same_volume(turn_deg: float) -> None:
    """And a quarter turn exchanges width and height."""
    item = replace(POCKET, turn_deg=turn_deg, corner_radius=5.0)
    straight = changed_volume(BOX, replace(POCKET, corner_radius=5.0))
    assert changed_volume(BOX, item) == pytest.approx(straight, rel=1e-9)
    if turn_deg == 90.0:
        tool = make_tool(checked_loft(BOX), item, "recesses[0]")
        ends = tool.frame[:, 1] * 30.0
        assert abs(ends[0]) == pytest.approx(30.0)


@pytest.mark.parametrize(
    ("panel", "outward"),
    [
        ("deck", (0.0, 0.0, 1.0)),
        ("floor", (0.0, 0.0, -1.0)),
        ("side", (0.0, 1.0, 0.0)),
        ("left side", (0.0, -1.0, 0.0)),
    ],
)
def test_tool_looks_into_the_panel(panel: str, outward: tuple[float, float, float]) -> None:
    """A cut's axis runs inward, a boss's outward, right-handed both, the middle on the surface."""
    loft = checked_loft(BOX)
    cut = make_tool(loft, replace(POCKET, panel=panel), "recesses[0]")
    pad = make_tool(loft, replace(PAD, panel=panel), "bosses[0]")
    assert cut.frame[:, 0] == pytest.approx(-np.array(outward), abs=1e-9)
    assert pad.frame[:, 0] == pytest.approx(np.array(outward), abs=1e-9)
    for tool in (cut, pad):
        assert np.linalg.det(tool.frame[:, :3]) == pytest.approx(1.0)
        assert tool.frame[0, 3] == pytest.approx(150.0)
    assert cut.kind == "cut"
    assert pad.kind == "add"


@pytest.mark.parametrize(
    ("panel", "axis", "sign"), [("deck", 1, 1.0), ("side", 2, 1.0), ("left side", 2, 1.0)]
)
def test_across_is_to_the_right_or_up(panel: str, axis: int, sign: float) -> None:
    """+ to the right on a panel that runs across, + up on one that stands."""
    loft = checked_loft(BOX)
    middle, moved = (
        make_tool(loft, replace(POCKET, panel=panel, across=a), "recesses[0]").frame[:, 3]
        for a in (0.0, 20.0)
    )
    assert moved[axis] - middle[axis] == pytest.approx(sign * 20.0)


def test_depth_is_measured_at_the_middle_on_a_sloping_side() -> None:
    """Square to the surface the floor lies 12 mm under it; along an axis 12 mm along that axis."""
    loft = checked_loft(tapered_plan())
    for square_to in ("surface", "y"):
        item = Recess(panel="side", x=180.0, width=20.0, height=20.0, depth=12.0, square_to=square_to)
        tool = make_tool(loft, item, "recesses[0]")
        assert tool.depth == 12.0
        if square_to == "y":
            assert np.abs(tool.frame[:, 0]) == pytest.approx([0.0, 1.0, 0.0], abs=1e-12)
        else:
            assert abs(tool.frame[1, 0]) < 0.999


def test_crowned_deck_is_reached_from_its_highest_point() -> None:
    """A pocket on a crown begins above it everywhere: no foam is left standing over its mouth."""
    stations = [replace(s, crowns={"deck": 20.0}) for s in BOX.stations]
    solid = built(replace(BOX, stations=stations), replace(POCKET, width=120.0))
    over = mesh.outline(mesh.stacked(solid.body, "z"), 108.5, above=True)
    mouth = shapely.box(130.0, -60.0, 170.0, 60.0)
    assert over.area > 0.0
    assert over.intersection(mouth).area == 0.0


@pytest.mark.parametrize("panel", ["deck", "side", "rear"])
def test_through_cut_goes_right_through(panel: str) -> None:
    """Its volume is its section times the plug's whole thickness there."""
    place = {"y": 0.0, "z": 50.0, "x": None} if panel == "rear" else {}
    window = replace(POCKET, width=30.0, height=20.0, depth="right through")
    item = replace(window, panel=panel, **place)  # type: ignore[arg-type]
    thick = {"deck": 100.0, "side": 200.0, "rear": 300.0}[panel]
    assert changed_volume(BOX, item) == pytest.approx(-600.0 * thick, rel=1e-9)


def test_plate_gives_the_size() -> None:
    """Width, height and corner radius from the table; what the recipe gives itself goes first if it holds."""
    wide = box_plan(300.0, 700.0, 300.0)
    item = Recess(panel="rear", z=150.0, plate="eu-one-line", depth=10.0)
    assert -changed_volume(wide, item) == pytest.approx(
        10.0 * (526.0 * 126.0 - (4 - math.pi) * 11.0**2), rel=1e-4
    )
    own = replace(item, height=140.0, corner_radius=0.0)
    assert -changed_volume(wide, own) == pytest.approx(10.0 * 526.0 * 140.0, rel=1e-9)
    assert refused(wide, replace(own, height=100.0)).param == "recesses[0].height"


@pytest.mark.parametrize(
    ("item", "param"),
    [
        (replace(POCKET, panel="roof"), "recesses[0].panel"),
        (replace(POCKET, width=None), "recesses[0].width"),
        (replace(POCKET, height=-3.0), "recesses[0].height"),
        (replace(POCKET, depth=0.0), "recesses[0].depth"),
        (replace(POCKET, depth=math.nan), "recesses[0].depth"),
        (replace(POCKET, corner_radius=21.0), "recesses[0].corner_radius"),
        (replace(POCKET, draft_deg=70.0), "recesses[0].draft_deg"),
        (replace(POCKET, floor_radius=30.0), "recesses[0].floor_radius"),
        (replace(POCKET, square_to="w"), "recesses[0].square_to"),
        (replace(POCKET, square_to="y"), "recesses[0].square_to"),
        (replace(POCKET, x=None), "recesses[0].x"),
        (replace(POCKET, x=900.0), "recesses[0].x"),
        (replace(POCKET, across=150.0), "recesses[0].across"),
        (replace(POCKET, x=5.0), "recesses[0].panel"),
        (replace(POCKET, width=250.0), "recesses[0].panel"),
        (replace(POCKET, depth=120.0), "recesses[0].depth"),
        (replace(POCKET, panel="rear"), "recesses[0].z"),
        (replace(POCKET, plate="moon"), "recesses[0].plate"),
        (replace(POCKET, depth="right through", draft_deg=30.0), "recesses[0].draft_deg"),
        (replace(PAD, rise=-1.0), "bosses[0].rise"),
        (replace(PAD, top_radius=50.0), "bosses[0].top_radius"),
    ],
)
def test_refused_with_its_parameter(item: Recess | Boss, param: str) -> None:
    """By the name that the recipe writes."""
    assert refused(BOX, item).param == param


@pytest.mark.parametrize(
    ("item", "field"),
    [
        (replace(POCKET, corner_radius=21.0), "corner_radius"),
        (replace(POCKET, draft_deg=70.0), "draft_deg"),
        (replace(POCKET, floor_radius=30.0), "floor_radius"),
        (replace(POCKET, depth=120.0), "depth"),
        (replace(POCKET, depth="right through", draft_deg=30.0), "draft_deg"),
        (replace(PAD, top_radius=50.0), "top_radius"),
    ],
)
def test_remedies_do(item: Recess | Boss, field: str) -> None:
    """The number of the remedy builds."""
    remedy = refused(BOX, item).remedy
    number = float(remedy.replace("use at most ", "").split(",")[0])
    built(BOX, replace(item, **{field: number}))  # type: ignore[arg-type]


def test_outline_off_its_panel_is_told_where_to_go() -> None:
    """By how much, in which direction, and how large it may be where it is."""
    error = refused(BOX, replace(POCKET, x=5.0))
    assert "15.1 mm to the rear" in error.remedy
    built(BOX, replace(POCKET, x=5.0 + 15.1))
    error = refused(BOX, replace(POCKET, across=90.0))
    assert "to the left" in error.remedy


def test_pocket_keeps_off_the_blends() -> None:
    """The flat of the panel ends where its blends begin."""
    rounded = box_plan(300.0, 200.0, 100.0, radius=30.0, end_radius=30.0)
    built(rounded, replace(POCKET, width=139.0))
    assert refused(rounded, replace(POCKET, width=141.0)).param == "recesses[0].panel"
    built(rounded, replace(POCKET, x=51.0))
    assert refused(rounded, replace(POCKET, x=48.0)).param == "recesses[0].panel"


@pytest.mark.parametrize("rake_deg", [15.0, -15.0])
def test_pocket_on_a_raked_end_is_square_to_it(rake_deg: float) -> None:
    """The tool leans with the end's plane."""
    corners = {"low": Corner(100.0, 0.0), "high": Corner(100.0, 120.0)}
    plan = LinesPlan(
        stations=[Station(x=x, corners=corners) for x in (0.0, 300.0)], rear=End(rake_deg=rake_deg)
    )
    item = Recess(panel="rear", z=60.0, width=40.0, height=30.0, depth=10.0)
    tool = make_tool(checked_loft(plan), item, "recesses[0]")
    lean = math.radians(rake_deg)
    assert -tool.frame[:, 0] == pytest.approx([math.cos(lean), 0.0, -math.sin(lean)], abs=1e-9)
    assert changed_volume(plan, item) == pytest.approx(-40.0 * 30.0 * 10.0, rel=1e-9)


@pytest.mark.parametrize("height", [40.0, 60.0])
def test_slot_with_round_ends(height: float) -> None:
    """A corner radius of half the height, or a round hole: the largest that the remedy allows."""
    item = replace(POCKET, height=height, corner_radius=0.5 * height)
    area = (60.0 - height) * height + math.pi * (0.5 * height) ** 2
    assert changed_volume(BOX, item) == pytest.approx(-12.0 * area, rel=1e-3)
