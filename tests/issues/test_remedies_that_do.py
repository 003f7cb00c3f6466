"""Remedies that hold a number do: for errors by following them, for findings by drawing what they say.

Expected values are derived here: what is asked for in the foam, plus what the skin or the draft takes off.
"""

from __future__ import annotations

import math
import os
import re
from dataclasses import replace

import numpy as np
import pytest

from plugs.foam.layers import Stack, make_layers
from plugs.ground.errors import Finding, PlugError
from plugs.laminate.layup import Layup
from plugs.laminate.part import FlatPanel, sag_under_hand
from plugs.laminate.radii import judge_edges
from plugs.laminate.shape_edges import plug_edges, shape_edges
from plugs.laminate.skin_findings import edge_findings, sag_findings
from plugs.lines.checks import checked_loft
from plugs.lines.section import Corner, End, Station
from plugs.recesses.recess import Recess, make_tool
from plugs.recipe.plug import Plug
from plugs.skin.offset import foam_loft
from plugs.skin.skin import Skin, make_cover
from plugs.work import work_out
from tests.invariants.followed import MOST_STEPS, follow, wide_plug, with_value
from tests.invariants.random_plugs import run_case
from tests.shapes import box_plan, solid_of, tapered_plan
from tests.unit.test_skin_findings import lay

CASES = int(os.environ.get("PLUGS_CASES", "200")) // 50


@pytest.mark.parametrize("seed", range(5, 5 + CASES))
def test_remedies_followed_to_the_end(seed: int) -> None:
    """No ring, no crash; what is built is built within three steps."""
    trail = follow(wide_plug(seed), seed)
    assert trail.ended in ("built", "left"), "\n".join(trail.errors)
    assert trail.ended == "left" or len(trail.errors) <= MOST_STEPS, "\n".join(trail.errors)


def test_blends_tighter_than_their_skin_are_told_at_once() -> None:
    """Four corners at two stations: one error names them all, and one step does for all."""
    finish = checked_loft(box_plan(300.0, 200.0, 100.0, radius=2.0))
    with pytest.raises(PlugError) as caught:
        foam_loft(finish, make_cover(finish, Skin(thickness=5.0)))
    changes = dict(caught.value.would_do)
    assert len(changes) == 4
    plan = box_plan(300.0, 200.0, 100.0, radius=2.0)
    for path, value in changes.items():
        plan = with_value(plan, path, value)
    finish = checked_loft(plan)
    foam_loft(finish, make_cover(finish, Skin(thickness=5.0)))


def drawn_in(found: Finding) -> float:
    """Return the radius that a remedy says to draw."""
    told = re.search(r"draw the (?:blend|corner) with ([\d.]+) mm", found.remedy)
    assert told is not None, found.remedy
    return float(told[1])


def blends(radius: float, layup: Layup) -> list[Finding]:
    """Return the findings on the edges of a plug that tapers steeply, under its skin."""
    finish = checked_loft(tapered_plan(half=(150.0, 80.0), height=(180.0, 90.0), length=150.0, radius=radius))
    cover = make_cover(finish, Skin(thickness=layup.laminates["deck"].thickness))
    edges = [
        e for e in plug_edges(foam_loft(finish, cover), ("front", "rear", "floor"), finish) if e.radius > 0.0
    ]
    return [f for f in edge_findings(layup, judge_edges(layup, edges)) if f.code == "blend-tight"]


def test_blend_drawn_as_its_finding_says_is_no_longer_tight() -> None:
    """On a taper the skin takes off more than its thickness, and 10.05 was told as 10.1 or 10.0 by chance."""
    layup = lay("mat 450")
    (found, *_) = blends(6.0, layup)
    again = blends(drawn_in(found), layup)
    assert found.where not in {f.where for f in again}


@pytest.mark.parametrize("draft_deg", [0.0, 5.0, 10.0])
def test_wall_corners_drawn_as_their_finding_says(draft_deg: float) -> None:
    """Draft takes a corner's radius away towards the floor: "draw 10.1" was told where 12 was drawn."""
    layup = lay("mat 450")
    loft = checked_loft(box_plan(300.0, 200.0, 100.0))

    def found_with(radius: float) -> list[Finding]:
        item = Recess(
            panel="deck",
            x=150.0,
            width=120.0,
            height=90.0,
            depth=25.0,
            corner_radius=radius,
            draft_deg=draft_deg,
        )
        tool = make_tool(loft, item, "recesses[0]")
        walls = [e for e in shape_edges([item], [tool]) if e.place.startswith("wall")]
        walls = [
            type(e)(**{**{s: getattr(e, s) for s in e.__slots__}, "between": ("deck", "deck")}) for e in walls
        ]
        return list(edge_findings(layup, judge_edges(layup, walls)))

    (found,) = found_with(4.0)
    assert found_with(drawn_in(found)) == []


def test_hand_that_presses_a_deck_in_by_a_tenth_of_a_metre() -> None:
    """No one believes such a figure: it is far too thin, and what would do has numbers."""
    sag = sag_under_hand(lay("cloth 200"), FlatPanel(place="deck", length=1100.0, width=900.0))
    assert sag is not None
    assert sag.sag > 50.0
    (found,) = sag_findings([sag])
    assert str(round(sag.sag, 1)) not in found.message
    assert "far too thin" in found.message
    assert re.search(r"lay [\d.]+ mm .*crown it by \d+ mm.* rib", found.remedy)
    assert np.isfinite(sag.least_thickness)


@pytest.mark.parametrize(
    ("item", "word"),
    [
        (Recess(panel="deck", x=30.0, width=60.0, height=80.0, depth=8.0), "x"),
        (Recess(panel="rear", y=105.0, z=60.0, width=40.0, height=30.0, depth=8.0), "y"),
        (Recess(panel="rear", y=0.0, z=110.0, width=40.0, height=30.0, depth=8.0), "z"),
    ],
)
def test_a_recess_off_its_flat_is_moved_as_told(item: Recess, word: str) -> None:
    """A box of 400 x 240 x 120 mm: the word and its value in the error put the recess on its panel."""
    loft = checked_loft(box_plan(400.0, 240.0, 120.0, radius=5.0))
    with pytest.raises(PlugError) as caught:
        make_tool(loft, item, "recesses[0]")
    ((path, value),) = caught.value.would_do
    assert path == f"recesses[0].{word}"
    make_tool(loft, replace(item, **{word: value}), "recesses[0]")


def flat_end_refusal(item: Recess) -> PlugError:
    """Return what is told of a recess on the end of a plug 240 mm wide and 120 high, its blend 40 mm."""
    with pytest.raises(PlugError) as caught:
        make_tool(checked_loft(box_plan(400.0, 240.0, 120.0, end_radius=40.0)), item, "recesses[0]")
    return caught.value


@pytest.mark.parametrize(
    ("item", "changed"),
    [
        (Recess(panel="rear", y=90.0, z=0.0, width=60.0, height=30.0, depth=8.0), {"y", "z"}),
        (Recess(panel="rear", y=0.0, z=200.0, width=60.0, height=30.0, depth=8.0), {"z"}),
        (Recess(panel="rear", y=0.0, z=190.0, width=60.0, height=130.0, depth=8.0), {"z", "height"}),
    ],
)
def test_a_recess_far_off_its_end_is_moved_both_ways_or_made_smaller(item: Recess, changed: set[str]) -> None:
    """The flat is 160 x 40 mm, 80 to either side and z = 40 to 80; off it, it was told as 0.0 mm wide."""
    error = flat_end_refusal(item)
    assert "160.0 mm wide (y = -80.0 to 80.0) and 40.0 mm high (z = 40.0 to 80.0)" in error.reason
    words = {path.removeprefix("recesses[0]."): value for path, value in error.would_do}
    assert set(words) == changed
    loft = checked_loft(box_plan(400.0, 240.0, 120.0, end_radius=40.0))
    make_tool(loft, replace(item, **words), "recesses[0]")  # type: ignore[arg-type]


@pytest.mark.parametrize("seed", [247, 1958, 2132])
def test_a_move_is_tried_before_it_is_told(seed: int) -> None:
    """Panels that twist and taper: where the recess was to be moved to, it left the flat again."""
    outcome = run_case(seed)
    assert (outcome.kind, outcome.remedy) == ("refused", "kept"), outcome.detail


def test_a_drafted_recess_is_made_as_small_as_told() -> None:
    """What "at most" tells is the mouth's own size, also where draft makes its outline wider."""
    loft = checked_loft(box_plan(400.0, 240.0, 120.0, radius=40.0))
    item = Recess(panel="deck", x=200.0, width=200.0, height=100.0, depth=8.0, draft_deg=10.0)
    with pytest.raises(PlugError) as caught:
        make_tool(loft, item, "recesses[0]")
    size = re.search(r"make it at most (\d+) x (\d+) mm here", caught.value.remedy)
    assert size is not None
    make_tool(loft, replace(item, width=float(size[1]), height=float(size[2])), "recesses[0]")


def test_all_words_of_a_recess_that_are_too_large_are_told_at_once() -> None:
    """Corners, draft and floor of a slot 10 mm wide: one error, and what it tells does together."""
    loft = checked_loft(box_plan(400.0, 240.0, 120.0))
    words = {"corner_radius": 9.0, "draft_deg": 30.0, "floor_radius": 8.0}
    item = Recess(panel="deck", x=200.0, width=10.0, height=60.0, depth=20.0, **words)  # type: ignore[arg-type]
    with pytest.raises(PlugError) as caught:
        make_tool(loft, item, "recesses[0]")
    changes = {path.removeprefix("recesses[0]."): value for path, value in caught.value.would_do}
    assert set(changes) == set(words)
    make_tool(loft, replace(item, **changes), "recesses[0]")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("height", "z", "changed"),
    [
        (70.0, 60.0, {"rear.radius"}),  # 40 mm are flat
        (70.0, 90.0, {"rear.radius", "recesses[0].z"}),  # and a smaller blend alone does not do up there
        (130.0, 60.0, {"recesses[0].width", "recesses[0].height"}),  # more than the end itself
    ],
)
def test_a_recess_larger_than_its_flat_is_told_blend_place_or_size(
    height: float, z: float, changed: set[str]
) -> None:
    """On an end of 240 x 120 mm with a blend of 40 mm; what the error tells programs does."""
    plug = Plug(
        name="Box",
        stations=box_plan(400.0, 240.0, 120.0).stations,
        panels=("floor", "side", "deck"),
        rear=End(radius=40.0),
        recesses=[Recess(panel="rear", z=z, width=40.0, height=height, depth=8.0)],
    )
    loft = checked_loft(plug.plan())
    with pytest.raises(PlugError) as caught:
        make_tool(loft, plug.recesses[0], "recesses[0]")
    assert {path for path, _ in caught.value.would_do} == changed, caught.value.would_do
    for path, value in caught.value.would_do:
        plug = with_value(plug, path, value)
    make_tool(checked_loft(plug.plan()), plug.recesses[0], "recesses[0]")


@pytest.mark.parametrize(
    "skin",
    [
        Skin(thickness=30.0),
        Skin(thickness=28.0, filler=2.0),
        Skin(thickness=2.0, by_panel={"side": 35.0}, filler=0.5),
        Skin(filler=30.0),
    ],
)
def test_a_skin_that_leaves_no_foam_is_capped_as_told(skin: Skin) -> None:
    """A bar of 50 x 50 mm: "at most" is a cap over every place, and its number leaves foam."""
    finish = checked_loft(box_plan(200.0, 50.0, 50.0))
    plug = Plug(name="Bar", stations=box_plan(200.0, 50.0, 50.0).stations, skin=skin)
    plug = replace(plug, panels=("floor", "side", "deck"))
    with pytest.raises(PlugError) as caught:
        foam_loft(finish, make_cover(finish, skin))
    most = re.search(r"use at most ([\d.]+), laminate and filler together", caught.value.remedy)
    assert most is not None
    for path, value in caught.value.would_do:
        plug = with_value(plug, path, value)
    over = make_cover(finish, plug.skin)
    assert over.panels.max() == pytest.approx(float(most[1]))
    foam_loft(finish, over)


@pytest.mark.parametrize("sheets", [(40.0,), (0.01,)])
def test_sheets_that_do_not_reach_are_told_what_does(sheets: tuple[float, ...]) -> None:
    """Too few, and too thin: what is told programs covers 100 mm."""
    body = solid_of(box_plan(300.0, 200.0, 100.0)).body
    stack = Stack(thicknesses=sheets, order="explicit" if sheets[0] > 1.0 else "cycled")
    with pytest.raises(PlugError) as caught:
        make_layers(body, stack)
    ((path, value),) = caught.value.would_do
    make_layers(body, with_value(stack, path.removeprefix("stack."), value))


def test_a_blend_is_sought_without_what_no_trial_needs(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where corners sharpen within blends is sought for shapes that are built, not for each that is tried."""
    finish = checked_loft(replace(box_plan(400.0, 240.0, 120.0), rear=End(radius=40.0)))
    sought = []
    monkeypatch.setattr("plugs.lines.stations._sharpening", lambda loft: sought.append(loft) or [])
    with pytest.raises(PlugError, match=r"rear\.radius"):
        make_tool(finish, Recess(panel="rear", z=60.0, width=40.0, height=70.0, depth=8.0), "recesses[0]")
    assert sought == []


def test_sheets_told_are_enough_for_the_plug_itself() -> None:
    """Sides that lean and are crowned are widest off their middle: the sheets told cover that too.

    By hand: the chord from (80, 0) to (100, 150), rise 20, lies on a circle of radius c^2 / 8 h + h / 2,
    whose rightmost point is its middle and the radius, 1.4 mm beyond the middle of the arc.
    """
    rise, chord = 20.0, math.hypot(20.0, 150.0)
    radius = chord**2 / (8.0 * rise) + 0.5 * rise
    width = 2.0 * (90.0 - (radius - rise) * 150.0 / chord + radius)
    corners = {"low": Corner(80.0, 0.0), "high": Corner(100.0, 150.0)}
    plug = Plug(
        name="Drum",
        panels=("floor", "side", "deck"),
        stations=[Station(x=x, corners=corners, crowns={"side": rise}) for x in (0.0, 300.0)],
        stack=Stack(axis="y", thicknesses=(80.0, 100.0), order="explicit"),
    )
    with pytest.raises(PlugError, match=rf"{width:.1f} mm high along y") as caught:
        _ = work_out(plug).layers
    ((path, sheets),) = caught.value.would_do
    work = work_out(with_value(plug, path, sheets))
    assert len(work.layers) == 3
    assert sum(layer.volume_mm3 for layer in work.layers) == pytest.approx(work.body.by_mesh.volume_mm3)
