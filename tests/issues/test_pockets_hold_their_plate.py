"""A plate's pocket: the flat of the finished floor holds the plate with its clearance, or it is refused.

The floor's flat by trigonometry (derived here): walls that lean by a from square come in by depth tan a on
each side; a fillet of radius r between a floor and such a wall touches the floor r tan(45 - a/2) before
the two would meet, half their angle being 45 + a/2.
"""

from __future__ import annotations

import itertools
import re
from dataclasses import replace

import numpy as np
import pytest
import shapely

from plugs.ground.checking import checked
from plugs.ground.errors import PlugError
from plugs.lines.checks import checked_loft
from plugs.lines.section import Corner, End, LinesPlan, Station
from plugs.lines.stations import Loft
from plugs.recesses.plates import PLATES
from plugs.recesses.recess import Recess, Tool, make_tool
from plugs.recipe.words import check_recess
from tests.demos import EVERY
from tests.shapes import box_plan

STERN = checked_loft(box_plan(400.0, 900.0, 400.0))
PLATE = Recess(panel="rear", z=200.0, plate="us-canada-car", depth=35.0, draft_deg=5.0, floor_radius=3.0)


def tool_of(item: Recess, loft: Loft = STERN, skin: float = 0.0) -> Tool:
    """Return a recess as it is cut."""
    return make_tool(loft, item, "recesses[0]", skin)


def refused(item: Recess, loft: Loft = STERN) -> PlugError:
    """Return the error with which a recess is refused."""
    with pytest.raises(PlugError) as caught:
        tool_of(item, loft)
    return caught.value


def outline(width: float, height: float, radius: float) -> shapely.Polygon:
    """Return a rectangle about the origin with round corners."""
    a, b = 0.5 * width - radius, 0.5 * height - radius
    core = shapely.MultiPoint([(-a, -b), (a, -b), (a, b), (-a, b)]).convex_hull
    return core.buffer(radius, quad_segs=256) if radius > 0.0 else core


def floor_of(tool: Tool) -> shapely.Polygon:
    """Return the flat of a tool's floor, from points of its last section."""
    at = tool.loft.sections(tool.loft.breaks[-1:])
    count = at.rings.points.shape[1]
    points = at.place(np.repeat(np.arange(count), 256), np.tile(np.arange(256) / 256.0, count))[0]
    return shapely.Polygon(points[:, 1:]).buffer(0)


def flat_by_trigonometry(mouth: float, item: Recess) -> float:
    """Return the breadth of the floor's flat under a mouth."""
    lean = np.radians(item.draft_deg)
    return float(
        mouth - 2.0 * item.depth * np.tan(lean) - 2.0 * item.floor_radius * np.tan(np.pi / 4.0 - lean / 2.0)
    )


@pytest.mark.parametrize("clearance", [0.0, 3.0, 8.0])
def test_clearance_counts_where_sizes_are_given(clearance: float) -> None:
    """A mouth of the plate and 2 x 3 mm, drafted and filleted, is refused with the sizes that do."""
    item = replace(PLATE, width=310.8, height=158.4, clearance=clearance)
    error = refused(item)
    assert error.param == "recesses[0].width"
    width, height = (
        float(value) for value in re.findall(r"(?:width|height) ([\d.]+)", error.remedy.partition(", or")[0])
    )
    flat = floor_of(tool_of(replace(item, width=width, height=height)))
    assert flat.bounds[2] * 2.0 == pytest.approx(flat_by_trigonometry(width, item))
    assert flat.bounds[2] * 2.0 == pytest.approx(304.8 + 2.0 * clearance, abs=0.1)
    assert flat.bounds[3] * 2.0 == pytest.approx(152.4 + 2.0 * clearance, abs=0.1)
    assert refused(replace(item, width=width - 0.2, height=height)).param == "recesses[0].width"


@pytest.mark.parametrize("skin", [0.0, 4.0])
@pytest.mark.parametrize(
    ("region", "depth", "draft_deg", "floor_radius", "corner_radius"),
    [
        (region, *sizes)
        for region, sizes in zip(
            PLATES,
            itertools.cycle(
                [
                    (35.0, 5.0, 3.0, None), (12.0, 0.0, 0.0, None), (20.0, -4.0, 6.0, 25.0),
                    (35.0, 12.0, 9.0, 40.0), (12.0, 30.0, 2.0, 0.0),
                ]
            ),
            strict=False,
        )
    ],
)  # fmt: skip
def test_plate_alone_sizes_the_mouth(
    region: str,
    depth: float,
    draft_deg: float,
    floor_radius: float,
    corner_radius: float | None,
    skin: float,
) -> None:
    """Plate, clearance, draft, fillet and corners in plan: it lies on the flat, and no mouth is larger."""
    item = Recess(
        panel="rear", z=200.0, plate=region, depth=depth, draft_deg=draft_deg, floor_radius=floor_radius,
        corner_radius=corner_radius, clearance=4.0,
    )  # fmt: skip
    plate = PLATES[region]
    tool = tool_of(item, skin=skin)
    flat = floor_of(tool)
    room = outline(plate.width, plate.height, plate.corner_radius).buffer(4.0, quad_segs=256)
    assert flat.buffer(1e-3).contains(room)
    if skin == 0.0:
        (corners,) = tool.loft.unblended(np.array([0.0]), np.array([0.0]))[0]
        mouth = np.ptp(corners, axis=0)
        assert (mouth >= [room.bounds[2] * 2.0 - 1e-9, room.bounds[3] * 2.0 - 1e-9]).all()
        loose = min(flat.exterior.distance(room), *(mouth - 2.0 * np.array(room.bounds[2:])))
        assert loose < 1e-3


def test_what_is_held_is_no_plate() -> None:
    """A thing of the user's own, square or with round corners, in a mouth that is sized or given."""
    for holds, radius in (((200.0, 90.0), 0.0), ((200.0, 90.0, 45.0), 45.0)):
        item = Recess(
            panel="rear", z=200.0, holds=holds, depth=15.0, draft_deg=8.0, floor_radius=5.0, clearance=2.0
        )
        flat = floor_of(tool_of(item))
        assert flat.buffer(1e-3).contains(outline(200.0, 90.0, radius).buffer(2.0, quad_segs=256))
        error = refused(replace(item, width=214.0, height=110.0))
        assert error.param == "recesses[0].width"
        assert "clearance 0.5" in error.remedy
        tool_of(replace(item, width=214.0, height=110.0, clearance=0.5))
        assert refused(replace(item, width=214.0, height=110.0, clearance=0.6)).param == error.param


def test_corner_of_the_pocket_reaches_into_that_of_the_plate() -> None:
    """Wide and high enough, and the plate's corners stand on the round of the pocket's."""
    item = replace(PLATE, width=324.0, height=172.0, corner_radius=60.0, floor_radius=0.0)
    error = refused(item)
    assert error.param == "recesses[0].corner_radius"
    (radius,) = (float(found) for found in re.findall(r"corner_radius ([\d.]+)", error.remedy))
    plate = outline(304.8, 152.4, 12.7).buffer(3.0)
    assert floor_of(tool_of(replace(item, corner_radius=radius))).buffer(1e-3).contains(plate)


def test_plate_too_high_for_its_end_is_told_the_flat_and_the_blend() -> None:
    """How high the flat runs, from where to where, and the blend with which the plate fits."""
    plan = box_plan(400.0, 700.0, 300.0, radius=20.0, end_radius=50.0)
    item = Recess(panel="rear", z=150.0, plate="eu-two-line", depth=10.0)
    error = refused(item, checked_loft(plan))
    assert error.param == "recesses[0].panel"
    assert "200.0 mm high (z = 50.0 to 250.0)" in error.reason
    (radius,) = (float(found) for found in re.findall(r"rear.radius ([\d.]+)", error.remedy))
    tool_of(item, checked_loft(replace(plan, rear=End(radius=radius))))
    assert refused(item, checked_loft(replace(plan, rear=End(radius=radius + 0.2))))


def test_plate_too_wide_for_its_panel_is_told_the_edges_radius() -> None:
    """On a panel it is the blends along its edges that would do."""
    plan = box_plan(400.0, 220.0, 100.0, radius=40.0)
    item = Recess(panel="deck", x=200.0, holds=(170.0, 60.0), depth=10.0)
    error = refused(item, checked_loft(plan))
    assert "140.0 mm wide (y = -70.0 to 70.0)" in error.reason
    (radius,) = (float(found) for found in re.findall(r"radius of .* ([\d.]+) or less", error.remedy))
    tool_of(item, checked_loft(box_plan(400.0, 220.0, 100.0, radius=radius)))
    assert radius == pytest.approx(22.0)


def test_surface_that_falls_away_under_a_plate() -> None:
    """A crown lower at its sides than the floor is deep leaves the plate in the air there."""
    stations = [replace(s, crowns={"deck": 30.0}) for s in box_plan(400.0, 300.0, 100.0).stations]
    loft = checked_loft(LinesPlan(stations=stations, panels=("floor", "side", "deck")))
    item = Recess(panel="deck", x=200.0, holds=(240.0, 60.0), depth=10.0)
    error = refused(item, loft)
    assert error.param == "recesses[0].depth"
    depth = float(error.remedy.split()[1])
    radius = (150.0**2 + 30.0**2) / 60.0  # of the crown's arc, by chord and rise
    assert depth == pytest.approx(radius - np.sqrt(radius**2 - 123.0**2) + 0.5, abs=0.1)
    tool_of(replace(item, depth=depth), loft)


def test_nothing_is_left_over_the_mouth_on_a_hollow_panel() -> None:
    """A pocket reaches up to the rim of a hollow, however it lies between the points that are looked at."""
    stations = [replace(s, crowns={"deck": -30.0}) for s in box_plan(400.0, 300.0, 100.0).stations]
    loft = checked_loft(LinesPlan(stations=stations, panels=("floor", "side", "deck")))
    radius = (150.0**2 + 30.0**2) / 60.0
    for width in (181.0, 200.0, 217.0, 230.0):
        item = Recess(panel="deck", x=200.0, width=width, height=60.0, depth=10.0)
        stands = radius - np.sqrt(radius**2 - (0.5 * width) ** 2)
        assert -tool_of(item, loft).loft.breaks[0] > stands + 0.5


@pytest.mark.parametrize(
    ("words", "param"),
    [
        ({"holds": (1.0,)}, "holds"),
        ({"holds": "12"}, "holds"),
        ({"holds": (300.0, 0.0)}, "holds[1]"),
        ({"holds": (300.0, 100.0, 60.0)}, "holds[2]"),
        ({"holds": (300.0, 100.0), "plate": "japan"}, "holds"),
        ({"holds": (300.0, 100.0), "clearance": -1.0}, "clearance"),
        ({"holds": ("a", 100.0)}, "holds[0]"),
    ],
)
def test_words_that_say_no_thing(words: dict[str, object], param: str) -> None:
    """Refused by name, by the check of every word or by the recess itself."""
    with pytest.raises(PlugError) as caught:
        item = checked(Recess(panel="rear", z=200.0, **words), Recess, "recesses[0]")  # type: ignore[arg-type]
        check_recess(item, "recesses[0]")
        tool_of(item)
    assert caught.value.param == f"recesses[0].{param}"


def test_through_cut_holds_at_its_far_side() -> None:
    """Without a floor it is the narrowest place that the thing passes."""
    item = Recess(
        panel="deck", x=200.0, holds=(100.0, 60.0), draft_deg=3.0, depth="right through", clearance=1.0
    )
    flat = floor_of(tool_of(item))
    assert 2.0 * flat.bounds[2] == pytest.approx(102.0)


@pytest.mark.parametrize("case", range(30 if EVERY else 10))
def test_drafted_pocket_on_a_raked_blended_end(case: int) -> None:
    """A surface that stands out of its own plane by 3e-16 mm is flat: built or refused, never a crash."""
    rng = np.random.default_rng(case)
    width, height = rng.uniform(300.0, 700.0), rng.uniform(250.0, 500.0)
    corners = {"low": Corner(0.5 * width, 0.0), "high": Corner(0.45 * width, height, 20.0)}
    plan = LinesPlan(
        stations=[Station(x=x, corners=corners) for x in (0.0, 400.0, 800.0)],
        rear=End(radius=float(rng.uniform(1.0, 50.0)), rake_deg=float(rng.uniform(-25.0, 25.0))),
    )
    item = Recess(
        panel="rear", y=float(rng.uniform(-20.0, 20.0)), z=0.5 * height, width=120.0, height=60.0, depth=10.0,
        draft_deg=float(rng.uniform(1.0, 20.0)), corner_radius=float(rng.uniform(0.0, 10.0)),
    )  # fmt: skip
    tool = tool_of(item, checked_loft(plan))
    lean = np.tan(np.radians(item.draft_deg))
    assert floor_of(tool).bounds[2] * 2.0 == pytest.approx(120.0 - 20.0 * lean)
