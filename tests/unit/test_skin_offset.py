"""The skin: what it lays where, how the foam's tools and radii follow, and how it is refused."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import product
from types import SimpleNamespace

import numpy as np
import pytest

from plugs.body.body import make_solid, make_tools
from plugs.body.proof import integrate
from plugs.findings import skin_doubts
from plugs.ground.checking import checked
from plugs.ground.errors import PlugError
from plugs.lines.checks import checked_loft
from plugs.lines.section import Corner, End, LinesPlan, Station
from plugs.lines.stations import Loft
from plugs.mesh import mesh
from plugs.recesses.recess import Boss, Recess
from plugs.recipe.plug import Plug
from plugs.skin import proof
from plugs.skin.offset import foam_loft
from plugs.skin.planes import SurfaceBeside, moves_to_depth, slid, with_plane
from plugs.skin.proof import SkinProof, asked_depths, prove_cover
from plugs.skin.skin import Skin, make_cover
from tests.demos import some
from tests.shapes import box_plan, tapered_plan, wigley_plan
from tests.skins import laid

BOX = box_plan(300.0, 200.0, 100.0)
SIDES = ("floor", "side", "deck")


def refused(plan: LinesPlan, skin: Skin) -> PlugError:
    """Return the error with which a skin is refused, all its fields filled."""
    finish = checked_loft(plan)
    with pytest.raises(PlugError) as caught:
        foam_loft(finish, make_cover(finish, skin))
    error = caught.value
    assert error.param and error.reason and error.remedy and error.value is not None
    return error


def number_in(remedy: str) -> float:
    """Return the number that a remedy names."""
    return float(next(w for w in remedy.replace(",", " ").split() if w.replace(".", "", 1).isdigit()))


def bounds(loft: Loft) -> np.ndarray:
    """Return the corners of the box round a loft."""
    found = make_solid(loft, (), (), 0.02).by_mesh
    return np.stack([found.lower, found.upper])


# --- what lies where


def test_no_skin_is_the_surface_itself() -> None:
    """Nothing laid, nothing changed: the very same section function."""
    loft = checked_loft(BOX)
    cover = make_cover(loft, Skin())
    assert cover.is_nothing
    assert foam_loft(loft, cover) is loft


def test_everything_bare_is_the_surface_itself() -> None:
    """Also where all that there is stays bare."""
    loft = checked_loft(BOX)
    cover = make_cover(loft, Skin(thickness=3.0, no_laminate=(*SIDES, "front", "rear")))
    assert foam_loft(loft, cover) is loft


def test_thickness_over_each_place() -> None:
    """Laminate by panel, filler over all but what is bare."""
    loft = checked_loft(BOX)
    cover = make_cover(
        loft,
        Skin(thickness=2.0, filler=0.5, by_panel={"deck": 3.0, "rear": 1.0}, no_laminate=("floor", "front")),
    )
    found = {name: cover.over(loft, name) for name in (*SIDES, "front", "rear", "nowhere")}
    assert found == {"floor": 0.0, "side": 2.5, "deck": 3.5, "front": 0.0, "rear": 1.5, "nowhere": 0.0}
    assert not cover.is_nothing


def test_box_is_smaller_by_what_is_laid_on_each_side() -> None:
    """Floor and front stay, the rear end and the deck move by their own thicknesses, both sides by theirs."""
    skinned = laid(BOX, 2.0, no_laminate=("floor", "front"), by_panel={"deck": 5.0, "rear": 1.0})
    low, high = bounds(skinned.foam)
    assert low == pytest.approx([0.0, -98.0, 0.0], abs=1e-9)
    assert high == pytest.approx([299.0, 98.0, 95.0], abs=1e-9)


def test_raked_end_moves_square_to_itself() -> None:
    """Depth over the cosine of the rake, measured along the baseline."""
    plan = replace(BOX, rear=End(rake_deg=30.0))
    foam = laid(plan, 2.0, no_laminate=(*SIDES, "front")).foam
    assert foam.table.x[-1] == pytest.approx(300.0 - 2.0 / math.cos(math.radians(30.0)))


def test_radii_less_the_skin_outside_and_more_inside() -> None:
    """An L: outside blends of 6 become 4, the inside one becomes 8, a sharp outside edge stays sharp."""
    points = [(0, 0, 6), (100, 0, 0), (100, 40, 6), (40, 40, 6), (40, 100, 6), (0, 100, 6)]
    corners = {f"a{i}": Corner(float(y), float(z), float(r)) for i, (y, z, r) in enumerate(points)}
    plan = LinesPlan(stations=[Station(x=x, corners=corners) for x in (0.0, 200.0)], mirrored=False)
    foam = laid(plan, 2.0).foam
    assert foam.sections(np.array([100.0])).radius[0] == pytest.approx([4.0, 0.0, 4.0, 8.0, 4.0, 4.0])


def test_sharp_inside_edge_becomes_round() -> None:
    """The parallel of a sharp inside edge is an arc of the skin's thickness about it."""
    points = [(0, 0), (100, 0), (100, 40), (40, 40), (40, 100), (0, 100)]
    corners = {f"a{i}": Corner(float(y), float(z)) for i, (y, z) in enumerate(points)}
    plan = LinesPlan(stations=[Station(x=x, corners=corners) for x in (0.0, 200.0)], mirrored=False)
    skinned = laid(plan, 3.0)
    assert skinned.foam.sections(np.array([100.0])).radius[0] == pytest.approx([0.0, 0.0, 0.0, 3.0, 0.0, 0.0])
    area = 100.0 * 40.0 + 40.0 * 60.0
    inner = 94.0 * 34.0 + 34.0 * 60.0 + (1.0 - math.pi / 4.0) * 9.0
    assert integrate(skinned.foam).volume_mm3 == pytest.approx(194.0 * inner, rel=1e-9)
    assert inner < area


def test_crown_keeps_its_centre() -> None:
    """A crowned deck of radius R has one of radius R - d under it."""
    corners = {"low": Corner(80.0, 0.0), "high": Corner(80.0, 60.0)}
    station = Station(x=0.0, corners=corners, crowns={"deck": 20.0})
    plan = LinesPlan(stations=[station, replace(station, x=300.0)], panels=SIDES)
    outer, inner = (
        loft.sections(np.array([150.0])) for loft in (laid(plan, 4.0).finish, laid(plan, 4.0).foam)
    )

    def radius(at: object, panel: int) -> float:
        chord = float(np.ptp(at.corners[0, [panel, panel + 1], 0]))  # type: ignore[attr-defined]
        rise = float(at.rise[0, panel])  # type: ignore[attr-defined]
        return (0.25 * chord * chord + rise * rise) / (2.0 * rise)

    deck = laid(plan, 4.0).finish.table.panel_names.index("deck")
    assert radius(outer, deck) - radius(inner, deck) == pytest.approx(4.0, abs=1e-6)


def test_twisted_panel_is_followed() -> None:
    """A flat side that twists from upright to leaning: within 1 %, with pieces between the stations."""
    first = {"low": Corner(100.0, 0.0), "high": Corner(100.0, 90.0)}
    last = {"low": Corner(100.0, 0.0), "high": Corner(40.0, 90.0)}
    plan = LinesPlan(stations=[Station(x=0.0, corners=first), Station(x=300.0, corners=last)], panels=SIDES)
    skinned = laid(plan, 3.0)
    assert skinned.proof.largest_mm < 0.03
    assert skinned.foam.lines.knots.shape[1] > 2


def test_same_skin_same_foam() -> None:
    """Twice the same, to the last bit."""
    one, two = (laid(tapered_plan(radius=15.0, bays="faired"), 2.0) for _ in range(2))
    assert np.array_equal(one.foam.lines.coefficients, two.foam.lines.coefficients)
    assert one.proof == two.proof


# --- tools


def tool_solid(skin: float, item: Recess | Boss) -> tuple[mesh.Measures, mesh.Measures]:
    """Return what a recess or a boss takes or adds, in the finished surface and in the foam."""
    finish = checked_loft(BOX)
    cover = make_cover(finish, Skin(thickness=skin))
    word = "recesses" if isinstance(item, Recess) else "bosses"
    found = []
    for loft, over in ((finish, None), (foam_loft(finish, cover), cover)):
        tools = make_tools(finish, [item], word, over)
        solid = make_solid(loft, tools, (), 0.01)
        changed = (
            mesh.less(solid.plain, solid.body) if word == "recesses" else mesh.less(solid.body, solid.plain)
        )
        found.append(mesh.measure(changed))
    return found[0], found[1]


def test_recess_grows_by_the_skin() -> None:
    """Walls 2 mm outward, the floor 2 mm deeper, corners 10 become 12, the sharp rim of the floor 2."""
    item = Recess(panel="deck", x=150.0, width=60.0, height=40.0, depth=12.0, corner_radius=10.0)
    outer, inner = tool_solid(2.0, item)
    assert outer.upper - outer.lower == pytest.approx([40.0, 60.0, 12.0], abs=1e-3)
    assert inner.upper - inner.lower == pytest.approx([44.0, 64.0, 12.0], abs=1e-3)
    assert inner.lower[2] == pytest.approx(outer.lower[2] - 2.0, abs=1e-3)
    area = 44.0 * 64.0 - (4.0 - math.pi) * 12.0**2
    rim = (1.0 - math.pi / 4.0) * 2.0**2 * (2.0 * (44.0 + 64.0) - (8.0 - 2.0 * math.pi) * 12.0)
    assert inner.volume_mm3 == pytest.approx(12.0 * area - rim, rel=2e-4)


def test_recess_with_sharp_corners_gets_round_ones() -> None:
    """From outside a pocket's corner is an inside edge: sharp in the finish, it is round in the foam."""
    _, inner = tool_solid(3.0, Recess(panel="deck", x=150.0, width=60.0, height=40.0, depth=9.0))
    area = 46.0 * 66.0 - (4.0 - math.pi) * 9.0
    floor_round = inner.volume_mm3 / (9.0 * area)
    assert 0.98 < floor_round < 1.0


def test_drafted_recess_moves_square_to_its_walls() -> None:
    """Walls that lean by 20 degrees move by the skin over the cosine of it, along the surface."""
    item = Recess(panel="deck", x=150.0, width=60.0, height=40.0, depth=12.0, draft_deg=20.0)
    outer, inner = tool_solid(2.0, item)
    slope = math.tan(math.radians(20.0))
    aside = 2.0 / math.cos(math.radians(20.0)) - 2.0 * slope
    wider = (inner.upper - inner.lower) - (outer.upper - outer.lower)
    assert wider[:2] == pytest.approx([2.0 * aside, 2.0 * aside], abs=5e-3)


def test_boss_shrinks_by_the_skin() -> None:
    """A pad on the deck stands 2 mm smaller all round, as high over the foam; corners 10 become 8."""
    item = Boss(panel="deck", x=150.0, width=60.0, height=40.0, rise=8.0, corner_radius=10.0)
    outer, inner = tool_solid(2.0, item)
    assert outer.upper - outer.lower == pytest.approx([40.0, 60.0, 8.0], abs=1e-3)
    assert inner.upper - inner.lower == pytest.approx([36.0, 56.0, 8.0], abs=1e-3)
    area = 36.0 * 56.0 - (4.0 - math.pi) * 8.0**2
    assert inner.volume_mm3 == pytest.approx(8.0 * area, rel=1e-3)


@pytest.mark.parametrize(
    ("item", "param", "remedy"),
    [
        (Boss(panel="deck", x=150.0, width=60.0, height=40.0, rise=2.0), "bosses[0].rise", 4.0),
        (
            Boss(panel="deck", x=150.0, width=60.0, height=40.0, rise=8.0, corner_radius=1.0),
            "bosses[0].corner_radius",
            3.5,
        ),
        (
            Boss(panel="deck", x=150.0, width=60.0, height=40.0, rise=8.0, top_radius=1.0),
            "bosses[0].top_radius",
            3.5,
        ),
    ],
)
def test_boss_that_is_all_skin(item: Boss, param: str, remedy: float) -> None:
    """Refused with the number that does, and the number does."""
    finish = checked_loft(BOX)
    cover = make_cover(finish, Skin(thickness=3.0))
    with pytest.raises(PlugError) as caught:
        make_tools(finish, [item], "bosses", cover)
    assert caught.value.param == param
    assert number_in(caught.value.remedy) == remedy
    better = replace(item, **{param.rpartition(".")[2]: remedy})
    assert len(make_tools(finish, [better], "bosses", cover)) == 1


# --- refusals


@pytest.mark.parametrize(
    ("words", "param"),
    [
        ({"thickness": -1.0}, "skin.thickness"),
        ({"thickness": math.nan}, "skin.thickness"),
        ({"thickness": math.inf}, "skin.thickness"),
        ({"thickness": 1e6}, "skin.thickness"),
        ({"thickness": "2 mm"}, "skin.thickness"),
        ({"thickness": True}, "skin.thickness"),
        ({"filler": -0.5}, "skin.filler"),
        ({"filler": math.nan}, "skin.filler"),
        ({"by_panel": {"deck": -1.0}}, "skin.by_panel['deck']"),
        ({"by_panel": {"roof": 1.0}}, "skin.by_panel"),
        ({"by_panel": [("deck", 1.0)]}, "skin.by_panel"),
        ({"thickness": 2.0, "no_laminate": ("roof",)}, "skin.no_laminate"),
        ({"thickness": 2.0, "no_laminate": "floor"}, "skin.no_laminate"),
        ({"thickness": 2.0, "no_laminate": ("left side",)}, "skin.no_laminate"),
        ({"thickness": 2.0, "no_laminate": 3}, "skin.no_laminate"),
    ],
)
def test_words_that_no_skin_can_have(words: dict[str, object], param: str) -> None:
    """Each with its parameter, the value and a remedy; a name that is not there with those that are."""
    loft = checked_loft(BOX)
    with pytest.raises(PlugError) as caught:
        make_cover(loft, checked(Skin(**words), Skin, "skin"))  # type: ignore[arg-type]
    assert caught.value.param == param
    assert caught.value.reason and caught.value.remedy
    if words.get("no_laminate") == ("roof",):
        assert caught.value.remedy == "use one of floor, side, deck, front, rear"


def test_blend_tighter_than_the_skin() -> None:
    """The corner and station are named, and the radius named does."""
    error = refused(box_plan(300.0, 200.0, 100.0, radius=2.0), Skin(thickness=3.0))
    assert error.param == "stations[0].corners['low'].radius"
    assert error.value == 2.0
    laid(box_plan(300.0, 200.0, 100.0, radius=number_in(error.remedy)), 3.0)
    laid(box_plan(300.0, 200.0, 100.0, radius=0.0), 3.0)


def test_blend_beside_a_bare_panel_counts_the_other_side() -> None:
    """With floor and sides bare the low corner may be as tight as it likes, the high one not."""
    plan = box_plan(300.0, 200.0, 100.0, radius=2.0)
    error = refused(plan, Skin(thickness=3.0, no_laminate=("floor", "side")))
    assert error.param == "stations[0].corners['high'].radius"


@pytest.mark.parametrize("word", ["front", "rear"])
def test_end_blend_tighter_than_the_skin(word: str) -> None:
    """Likewise at the ends; a bare end has no such limit."""
    plan = replace(BOX, **{word: End(radius=2.0)})
    error = refused(plan, Skin(thickness=3.0))
    assert error.param == f"{word}.radius"
    laid(replace(BOX, **{word: End(radius=number_in(error.remedy))}), 3.0)


@pytest.mark.parametrize(
    "plan",
    [
        box_plan(300.0, 40.0, 100.0),
        box_plan(300.0, 200.0, 30.0),
        tapered_plan(half=(60.0, 12.0)),
        tapered_plan(half=(60.0, 12.0), height=(90.0, 20.0), bays="faired"),
    ],
)
def test_skin_too_thick_for_the_body(plan: LinesPlan) -> None:
    """Refused with the thickest that does; that does, and a millimetre more does not."""
    error = refused(plan, Skin(thickness=30.0))
    assert error.param == "skin.thickness"
    assert error.value == 30.0
    most = number_in(error.remedy)
    assert most > 1.0
    assert integrate(laid(plan, most).foam).volume_mm3 > 0.0
    refused(plan, Skin(thickness=most + 1.0))


def test_ends_that_leave_nothing_between_them() -> None:
    """A part 20 mm long under 15 mm of skin at either end."""
    error = refused(box_plan(20.0, 200.0, 100.0), Skin(thickness=15.0, no_laminate=SIDES))
    assert error.param == "skin.thickness"
    laid(box_plan(20.0, 200.0, 100.0), number_in(error.remedy), no_laminate=SIDES)


POINTED = LinesPlan(
    stations=[
        Station(x=0.0, corners={"low": Corner(0.0, 40.0), "high": Corner(0.0, 40.0)}),
        Station(x=200.0, corners={"low": Corner(60.0, 0.0), "high": Corner(60.0, 90.0)}),
    ],
)


@pytest.mark.parametrize("depth", [0.5, 2.0, 6.0])
def test_point_is_all_skin(depth: float) -> None:
    """A pyramid: its foam begins where the skins of all four sides meet, about depth over the sine."""
    skinned = laid(POINTED, depth)
    slopes = [60.0 / 200.0, 40.0 / 200.0, 50.0 / 200.0]
    farthest = max(depth / math.sin(math.atan(slope)) for slope in slopes)
    assert 0.8 * farthest < skinned.foam.breaks[0] < 1.3 * farthest
    assert skinned.proof.largest_mm < max(0.1, 0.05 * depth)


FAIRED, STRAIGHT = (wigley_plan(6, 4, bays=bays) for bays in ("faired", "straight"))


@pytest.mark.parametrize(
    ("plan", "depth"),
    [
        *product((FAIRED, STRAIGHT, POINTED), (1.0, 5.0)),
        *some([(POINTED, 40.0), (FAIRED, 40.0), (STRAIGHT, 40.0)], 1),
    ],
)
def test_ridges_and_points_build_or_are_refused(plan: LinesPlan, depth: float) -> None:
    """Never anything but foam that is sound, or an error with a remedy."""
    try:
        skinned = laid(plan, depth)
    except PlugError as error:
        assert error.param == "skin.thickness"
        assert error.remedy
    else:
        assert 0.0 < integrate(skinned.foam).volume_mm3 < integrate(skinned.finish).volume_mm3


# --- the proof and its finding


def test_proof_finds_foam_that_lies_wrong() -> None:
    """Foam for 2.0 mm held against a cover of 2.3 mm: off by 0.3, on the panel where it is."""
    finish = checked_loft(BOX)
    foam = foam_loft(finish, make_cover(finish, Skin(thickness=2.0)))
    proof = prove_cover(finish, foam, make_cover(finish, Skin(thickness=2.0, by_panel={"deck": 2.3})))
    assert proof.largest_mm == pytest.approx(0.3, abs=1e-6)
    assert proof.panel == "deck"
    assert proof.asked_mm == pytest.approx(2.3)
    assert proof.place[2] == pytest.approx(98.0)
    assert proof.count >= 100


def test_proof_finds_a_bare_panel_that_moved() -> None:
    """Distance counts with its side: a bare floor drawn in by 2 mm is 2 mm off."""
    finish = checked_loft(BOX)
    foam = foam_loft(finish, make_cover(finish, Skin(thickness=2.0)))
    proof = prove_cover(finish, foam, make_cover(finish, Skin(thickness=2.0, no_laminate=("floor",))))
    assert proof.largest_mm == pytest.approx(2.0, abs=1e-6)
    assert (proof.panel, proof.asked_mm) == ("floor", 0.0)


def test_nothing_is_asked_where_the_skin_changes() -> None:
    """A blend between panels, or between a panel and an end, of different skins carries the step."""
    plan = box_plan(300.0, 200.0, 100.0, radius=15.0, end_radius=20.0)
    skinned = laid(plan, 2.0, no_laminate=("floor", "front"))
    table = skinned.foam.table
    middle, front = asked_depths(skinned.foam, skinned.cover, np.array([150.0, 5.0]))
    floor, deck = (2 * table.panel_names.index(name) + 1 for name in ("floor", "deck"))
    assert (middle[floor], middle[deck]) == (0.0, 2.0)
    assert np.isnan(middle[[floor - 1, (floor + 1) % len(middle)]]).all()
    assert middle[deck - 1] == 2.0
    assert front[floor] == 0.0
    assert np.isnan(front[deck])


def test_only_places_that_count_are_sought(monkeypatch: pytest.MonkeyPatch) -> None:
    """None over edges where the skin changes, of which nothing is asked."""
    sought: list[int] = []
    frame = proof._frame
    monkeypatch.setattr(proof, "_frame", lambda *of: sought.append(len(of[1])) or frame(*of))
    finish = checked_loft(replace(box_plan(400.0, 300.0, 200.0), rear=End(radius=60.0)))
    cover = make_cover(finish, Skin(thickness=3.0, by_panel={"floor": 1.0}))
    foam = foam_loft(finish, cover)
    sought.clear()
    found = prove_cover(finish, foam, cover)
    assert found.largest_mm < 1e-3 and sought[0] == found.count


def finding_codes(proof: SkinProof | None, **words: object) -> list[str]:
    """Return the codes of what is found on a box with a skin's proof."""
    plug = Plug(name="Box", stations=BOX.stations, panels=BOX.panels, **words)  # type: ignore[arg-type]
    return [finding.code for finding in skin_doubts(plug, proof)]


@pytest.mark.parametrize(
    ("largest", "asked", "is_told"),
    [(0.09, 1.0, False), (0.11, 1.0, True), (0.11, 4.0, False), (0.13, 4.0, True), (0.11, 0.0, True)],
)
def test_finding_tells_of_foam_too_near_or_far(largest: float, asked: float, is_told: bool) -> None:
    """Beyond 0.1 mm or 3 % of what was asked, the larger; on a bare panel beyond 0.1 mm."""
    proof = SkinProof(largest_mm=largest, asked_mm=asked, place=(1.0, 2.0, 3.0), panel="deck", count=9)
    assert finding_codes(proof) == (["skin-depth"] if is_told else [])


def test_own_shapes_are_told_of() -> None:
    """The recipe's own shapes stay as drawn, which a skin makes worth a note."""
    proof = SkinProof(largest_mm=0.0, asked_mm=2.0, place=(1.0, 2.0, 3.0), panel="deck", count=9)
    assert finding_codes(proof, added=(SimpleNamespace(),)) == ["skin-own-shape"]
    assert finding_codes(None) == []


# --- the meeting of planes


def flat_beside(*normals: tuple[float, float, float], curvature: float = 0.0) -> SurfaceBeside:
    """Return surfaces beside one point of a line along x."""
    rows = np.array(normals)
    along = np.tile([1.0, 0.0, 0.0], (len(rows), 1))
    return SurfaceBeside(normal=rows, along=along, curvature=np.full(len(rows), curvature))


def test_meeting_of_two_planes() -> None:
    """Square to each other: in by each one's own depth, and not along the line."""
    move = moves_to_depth(flat_beside((0.0, 1.0, 0.0), (0.0, 0.0, 1.0)), np.array([2.0, 3.0]))
    assert move == pytest.approx([0.0, -2.0, -3.0])


def test_meeting_with_an_end() -> None:
    """A third plane says where along the line."""
    beside = with_plane(flat_beside((0.0, 1.0, 0.0), (0.0, 0.0, 1.0)), np.array([-1.0, 0.0, 0.0]))
    assert moves_to_depth(beside, np.array([2.0, 3.0, 1.5])) == pytest.approx([1.5, -2.0, -3.0])


def test_meeting_of_two_cylinders() -> None:
    """Two circles of 10 that cross at a right angle: the meeting is 8 from both centres."""
    move = moves_to_depth(flat_beside((0.0, 1.0, 0.0), (0.0, 0.0, 1.0), curvature=0.1), np.array([2.0, 2.0]))
    for centre in ((-10.0, 0.0), (0.0, -10.0)):
        assert math.dist(move[1:], centre) == pytest.approx(8.0, abs=1e-9)


def test_moves_slide_back_unless_the_line_has_a_kink() -> None:
    """Along a line that climbs 1 in 10 a move of 2 to the rear is taken back, with its climb."""
    slope = np.array([0.1, 0.0])
    move = np.array([2.0, -1.0, -3.0])
    assert slid(move, slope, slope) == pytest.approx([0.0, -1.2, -3.0])
    assert slid(move, slope, -slope) == pytest.approx(move)
