"""What is set to both sides by one word is two, mirror images, and is refused by its one place."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from plugs import (
    Along,
    Boss,
    Corner,
    End,
    Form,
    HardPoint,
    Opening,
    Plug,
    PlugError,
    Ply,
    Recess,
    Schedule,
    Skin,
    Stack,
    Station,
    Zone,
)
from plugs.mesh import mesh
from plugs.mesh.mesh import Body
from plugs.work import Work, work_out

CORNERS = ({"foot": Corner(150.0, 0.0), "edge": Corner(120.0, 200.0, 5.0)},
           {"foot": Corner(180.0, 0.0), "edge": Corner(160.0, 220.0, 5.0)})  # fmt: skip
LAMP = Recess(
    name="lamp", panel="side", side="both", x=200.0, across=10.0, width=60.0, height=40.0, depth=15.0,
    turn_deg=20.0, draft_deg=5.0, corner_radius=6.0,
)  # fmt: skip
VENT = replace(LAMP, name="vent", panel="deck", across=70.0, x=120.0)
EXHAUST = Recess(
    name="exhaust", panel="rear", side="both", y=80.0, z=60.0, width=50.0, height=30.0, depth=20.0,
    turn_deg=-15.0,
)  # fmt: skip
PAD = Boss(name="pad", panel="side", side="both", x=320.0, width=40.0, height=30.0, rise=6.0)


def box(**words: Any) -> Plug:
    """Return a tapered box with such recesses."""
    usual: dict[str, Any] = {"recesses": (LAMP, VENT, EXHAUST), "bosses": (PAD,)}
    return Plug(
        name="Box", panels=("floor", "side", "deck"),
        stations=(Station(x=0.0, corners=CORNERS[0]), Station(x=400.0, corners=CORNERS[1])),
        stack=Stack(thicknesses=(50.0,)), **(usual | words),
    )  # fmt: skip


@cache
def both() -> Work:
    """Return the box with a schedule, each word for both sides used once."""
    plies = (Ply(cloth="cloth 200"), Ply(cloth="cloth 200", zone=("lamp", "exhaust")))
    return work_out(
        box(
            schedule=Schedule(plies=plies, resin="epoxy"),
            foam="xps 35",
            skin=Skin(no_laminate=("floor", "vent")),
            zones=(Zone(name="inside", panels=("lamp",)),),
        )
    )


def mirrored(body: Body) -> Body:
    """Return a body's mirror image in y = 0."""
    vertices, triangles = mesh.triangles_of(body)
    return mesh.body_of_triangles(vertices * [1.0, -1.0, 1.0], triangles[:, ::-1])


def test_each_is_two_mirror_images() -> None:
    """Each name twice, left first; how far one stands out of a twisted panel is taken from a grid: 1e-4."""
    solid = both().body
    assert [tool.name for tool in solid.tools] == [
        f"{side} {name}" for name in ("pad", "lamp", "vent", "exhaust") for side in ("left", "right")
    ]
    for left, right in zip(solid.cutters[::2], solid.cutters[1::2], strict=True):
        assert mesh.measure(left).centroid[1] < 0.0 < mesh.measure(right).centroid[1]
        assert mesh.volume_of(mesh.less(mirrored(left), right)) < 1e-4 * mesh.volume_of(right)
        assert mesh.volume_of(left) == pytest.approx(mesh.volume_of(right), rel=1e-4)


def test_both_are_told_wherever_the_builder_looks() -> None:
    """Pockets, kits, places of the schedule, zones; the vents stay without laminate."""
    work = both()
    names = {f"{side} {name}" for name in ("lamp", "vent", "exhaust") for side in ("left", "right")}
    assert {pocket.name for pocket in work.layering.pockets} == {kit.name for kit in work.kits} == names
    assert {"left pad", "right pad"} == {feature.name for feature in work.features}
    assert work.layup is not None and work.cloth is not None
    assert set(work.layup.bare) == {"floor", "left vent", "right vent"}
    (inside,) = (zone for zone in work.cloth.surface.zones if zone.name == "inside")
    assert set(inside.panels) == {"left lamp", "right lamp"}


def test_what_the_left_one_needs_is_told_as_well() -> None:
    """Its panel is that of the plies, "side": a ply that ends at its mouth is seen, and its thickness."""
    work = both()
    assert work.edges is not None
    mouths = [edge.between for edge in work.edges.edges if edge.place.startswith("mouth of")]
    assert {("side", "left lamp"), ("side", "right lamp"), ("deck", "left vent")} < set(mouths)
    told = [one.where for one in work.found(("resin",)) if "the plies make" in one.message]
    assert "left lamp" in " ".join(told) and "right lamp" in " ".join(told)


def test_a_boat_has_them_to_port_and_starboard() -> None:
    """The recipe's words stay; what is told follows the ways of the plug."""
    work = work_out(box(sides="port and starboard"))
    assert [tool.name for tool in work.lines.tools][2:4] == ["port lamp", "starboard lamp"]
    assert work.plug.recesses[0].panel == "port side"


def test_one_side_is_one_of_the_two() -> None:
    """Under its own name, where the recess to both sides would have it."""
    for i, side in enumerate(("left", "right")):
        work = work_out(box(recesses=(replace(VENT, side=side),), bosses=()))
        (tool,) = work.lines.tools
        assert tool.name == "vent"
        np.testing.assert_allclose(tool.frame, both().lines.finish_tools[4 + i].frame, atol=1e-9)


def test_form_to_both_sides() -> None:
    """A duct that bends outward, turned and moved: its mirror image on the left, called by its own name."""
    ring = {"low": Corner(8.0, -8.0), "high": Corner(8.0, 8.0)}
    duct = Form(
        name="duct", kind="cut", side="both", panels=("low face", "out", "top"),
        stations=(Station(x=0.0, corners=ring), Station(x=200.0, corners=ring)),
        along=Along(view="plan", points=[(0.0, 0.0), (150.0, 0.0, 60.0), (250.0, 60.0)]),
        move=(-20.0, 60.0, 100.0), turn_deg=(10.0, 5.0, -3.0),
    )  # fmt: skip
    work = work_out(
        box(forms=(duct,), recesses=(), bosses=(), skin=Skin(thickness=2.0, no_laminate=("duct out",)))
    )
    left, right = work.body.cutters
    assert [tool.name for tool in work.body.tools] == ["left duct", "right duct"]
    assert mesh.volume_of(mesh.less(mirrored(left), right)) < 1e-3 * mesh.volume_of(right)
    assert work.skin.no_laminate == ("left duct out", "right duct out")


def test_errors_are_told_by_the_place_that_the_recipe_gives() -> None:
    """The second recess of the recipe is the third and fourth of the plug."""
    with pytest.raises(PlugError) as caught:
        assert work_out(box(recesses=(LAMP, replace(VENT, x=170.0, panel="side", across=0.0)))).body
    assert caught.value.param == "recesses[1]" and "recesses[0], left lamp" in caught.value.reason
    with pytest.raises(PlugError) as caught:
        assert work_out(box(recesses=(LAMP, replace(VENT, corner_radius=40.0)))).lines
    assert caught.value.param == "recesses[1].corner_radius"
    ((place, value),) = caught.value.would_do
    assert place == "recesses[1].corner_radius" and isinstance(value, float)
    assert work_out(box(recesses=(LAMP, replace(VENT, corner_radius=value)))).lines


@pytest.mark.parametrize(
    ("words", "param"),
    [
        ({"recesses": (replace(VENT, across=-70.0),)}, "recesses[0].across"),
        ({"recesses": (replace(VENT, across=20.0),)}, "recesses[0].across"),
        ({"recesses": (replace(EXHAUST, y=10.0),)}, "recesses[0].y"),
    ],
)
def test_places_on_the_wrong_side_are_refused_with_one_that_does(words: dict[str, Any], param: str) -> None:
    """The number of the refusal is built."""
    with pytest.raises(PlugError) as caught:
        work_out(box(**words))
    assert caught.value.param == param
    ((_, value),) = caught.value.would_do
    (item,) = words["recesses"]
    work = work_out(box(recesses=(replace(item, **{param.rpartition(".")[2]: value}),), bosses=()))
    assert work.body.by_mesh.volume_mm3 < work.body.plain_by_mesh.volume_mm3


def test_a_section_that_is_not_mirrored_has_no_sides() -> None:
    """It is drawn all round, and so are its two recesses."""
    corners = {
        f"{n}": Corner(y, z) for n, y, z in (("a", 100, 0), ("b", 100, 80), ("c", -100, 80), ("d", -100, 0))
    }
    plug = Plug(
        name="Whole", mirrored=False, front=End(), recesses=(replace(LAMP, panel="a to b"),),
        stations=(Station(x=0.0, corners=corners), Station(x=400.0, corners=corners)),
    )  # fmt: skip
    with pytest.raises(PlugError, match="no mirror image") as caught:
        work_out(plug)
    assert caught.value.param == "recesses[0].side"


SLOT = np.array([(0.0, 0.0), (30.0, 0.0), (0.0, 18.0)])
"""Of an outline of the recipe's own, no mirror image of itself."""


def test_openings_go_to_sides_too() -> None:
    """The scribed outline on the left is the mirror image of that on the right, in space."""
    vent = Opening(name="vent", panel="side", side="both", x=200.0, across=5.0, outline=SLOT, turn_deg=30.0)
    left, right = work_out(box(openings=(vent,), recesses=(), bosses=())).lines.scribes
    places = []
    for scribe in (left, right):
        ring = np.asarray(scribe.outline.exterior.coords)[:-1]
        places.append(ring @ scribe.frame[:, :2].T + scribe.frame[:, 3])
    mirror = places[0] * [1.0, -1.0, 1.0]
    assert (left.name, right.name) == ("left vent", "right vent")
    for point in mirror:
        assert np.linalg.norm(places[1] - point, axis=1).min() < 1e-6


def test_through_the_skin_only_is_an_opening() -> None:
    """The foam is whole, nothing is taken off it; the opening has the recess's place, size and name."""
    grille = replace(VENT, name="grille", depth="skin only", draft_deg=0.0)
    work = work_out(box(recesses=(LAMP, grille), bosses=(), skin=Skin(thickness=2.0)))
    same = Opening(
        name="grille", panel="deck", side="both", x=120.0, across=70.0, width=60.0, height=40.0,
        corner_radius=6.0, turn_deg=20.0,
    )  # fmt: skip
    other = work_out(box(recesses=(LAMP,), openings=(same,), bosses=(), skin=Skin(thickness=2.0)))
    assert [one.name for one in work.lines.scribes] == ["left grille", "right grille"]
    assert repr(work.plug.openings) == repr(other.plug.openings) and len(work.plug.recesses) == 2
    assert work.body.by_mesh.volume_mm3 == other.body.by_mesh.volume_mm3
    for mine, its in zip(work.scribed, other.scribed, strict=True):
        assert (mine.area_mm2, mine.length) == (its.area_mm2, its.length)


@pytest.mark.parametrize(
    ("words", "param"),
    [({"draft_deg": 5.0}, "draft_deg"), ({"method": "saw"}, "method"), ({"width": None}, "width")],
)
def test_what_the_skin_alone_has_not_is_refused(words: dict[str, Any], param: str) -> None:
    """By the place that the recipe gives."""
    grille = replace(VENT, depth="skin only", draft_deg=0.0)
    with pytest.raises(PlugError) as caught:
        work_out(box(recesses=(LAMP, replace(grille, **words))))
    assert caught.value.param == f"recesses[1].{param}"


def test_an_opening_that_leaves_its_panel_is_told_as_the_recess_that_it_is() -> None:
    """The second recess, though it is the first opening; the value that does, does."""
    grille = replace(VENT, depth="skin only", draft_deg=0.0, x=10.0)
    with pytest.raises(PlugError) as caught:
        assert work_out(box(recesses=(LAMP, grille))).lines
    assert {caught.value.param, *(place for place, _ in caught.value.would_do)} > {"recesses[1].x"}
    does = {place.removeprefix("recesses[1]."): value for place, value in caught.value.would_do}
    assert work_out(box(recesses=(LAMP, replace(grille, **does)))).lines


def test_a_place_on_the_left_is_told_as_the_recipe_counts_it() -> None:
    """Outward from the centreline, though the left one's own place is negative; what it says does."""
    far = replace(VENT, side="left", across=115.0)
    with pytest.raises(PlugError) as caught:
        assert work_out(box(recesses=(far,))).lines
    does = {place.removeprefix("recesses[0]."): value for place, value in caught.value.would_do}
    assert 60.0 < does["across"] < 115.0 and caught.value.where == "the left one"
    assert work_out(box(recesses=(replace(far, **does),))).lines
    with pytest.raises(PlugError) as caught:
        assert work_out(box(recesses=(replace(far, across=200.0),))).lines
    does = {place.removeprefix("recesses[0]."): value for place, value in caught.value.would_do}
    assert caught.value.value == 200.0 and f"across = {does['across']:.1f}" in caught.value.remedy
    assert 60.0 < does["across"] < 115.0 and work_out(box(recesses=(replace(far, **does),))).lines


@pytest.mark.parametrize("ask", ["hard_points", "pieces", "findings"])
def test_a_place_is_told_once_however_deep_the_stage_that_refuses_it(ask: str) -> None:
    """Its sign was turned at each stage that asked for another: -290 was told of what stands at 290."""
    latch = HardPoint(name="latch", panel="deck", side="both", x=150.0, across=290.0, width=30.0, height=30.0)
    with pytest.raises(PlugError) as caught:
        getattr(work_out(box(hard_points=(latch,))), ask)
    assert (caught.value.param, caught.value.value) == ("hard_points[0].across", 290.0)
    assert re.search(r"use \d", caught.value.remedy)
