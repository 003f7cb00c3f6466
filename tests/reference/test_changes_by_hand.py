"""What becomes of foam that was cut, by hand; how far a surface moved, against others and closed forms.

Sources: the hand-worked examples stand in the docstrings (derived here). Distances: `trimesh`, its closest
point and its test of inside, which shares nothing with ours but the triangles. Volumes of change: booleans of
the mesh engine (manifold), and boxes.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
import trimesh

import plugs
from plugs.changes.changes import changed
from plugs.changes.moved import moved, thinned
from plugs.changes.outlines import beyond, is_same, strips_for
from plugs.changes.record import Places, Record, Spare, Workpiece
from plugs.changes.recording import record_of
from plugs.changes.verdicts import DOWN, GOOD, NEW, SAME, judged
from plugs.changes.words import verdict_words
from plugs.mesh import mesh
from plugs.mesh.nearest import signed_distances
from plugs.work import Work

ALLOWANCE = 4.0


def region(*rings: tuple[float, float, float, float]) -> shapely.MultiPolygon:
    """Return a rectangle, the others cut out of it."""
    whole = shapely.difference(
        shapely.box(*rings[0]), shapely.union_all([shapely.box(*r) for r in rings[1:]])
    )
    return shapely.MultiPolygon(list(shapely.get_parts(whole)))


def layer(
    length: float,
    width: float,
    *,
    low: float = 0.0,
    high: float = 50.0,
    sheet: float = 50.0,
    name: str = "L01",
    jointed: bool = False,
) -> Workpiece:
    """Return a layer of a box from x = 0, its cut line an allowance outside."""
    part, end = region((0.0, 0.0, length, width)), length + (0.0 if jointed else ALLOWANCE)
    return Workpiece(
        kind="layer", name=name, file="layers/layer-01", axis="z", from_mm=low, to_mm=high, sheet_mm=sheet,
        spots=np.array([[length / 2.0, width / 2.0, 0.5 * (low + high)]]), alike=(),
        cut=region((-ALLOWANCE, -ALLOWANCE, end, width + ALLOWANCE)), must=part,
        drawn=(part, part),
    )  # fmt: skip


def build_of(*workpieces: Workpiece, spares: tuple[Spare, ...] = ()) -> Record:
    """Return the record of a build with some workpieces."""
    points = np.zeros((1, 3))
    return Record(
        recipe="box", title="Box", unit="mm", parameters={}, figures={"volume_m3": 1.0}, findings=(),
        allowance=ALLOWANCE, kerf=2.0, stages=(), kinds=("layer", "template", "gauge"), workpieces=workpieces,
        spares=spares, vertices=points, triangles=np.zeros((0, 3), dtype=np.int64),
        places=Places(points=points, facing=points, label=np.zeros(1, dtype=np.int64), names=("deck",)),
    )  # fmt: skip


# ---- each kind, by hand


def test_the_same() -> None:
    """A layer of 600 x 300 in place of one of 600.1 x 300: a tenth of a mm is no change, 0.3 is one."""
    (found,), left = judged(build_of(layer(600.1, 300.0)), build_of(layer(600.0, 300.0)))
    assert (found.verdict, left) == (SAME, ())
    assert verdict_words(found, "mm") == ""
    (found,), _ = judged(build_of(layer(600.3, 300.0)), build_of(layer(600.0, 300.0)))
    assert found.verdict == GOOD


def test_still_good() -> None:
    """A layer of 600 x 300 in place of one of 603 x 300, both with 4 mm.

    The old line ran at x = 607; the new part ends at 600, its line at 604: 3 mm more to sand, at x = 607.
    In place of one of 598 the old line ran at 602: 2 mm are left to sand, and at least 1 is needed.
    """
    (found,), _ = judged(build_of(layer(603.0, 300.0)), build_of(layer(600.0, 300.0)))
    assert (found.verdict, found.short, found.left) == (GOOD, None, None)
    assert found.more == pytest.approx(3.0, abs=1e-9)
    assert found.at is not None
    assert found.at[0] == pytest.approx(607.0)
    assert "up to 3 mm more to sand at x = 607 mm" in verdict_words(found, "mm")
    (found,), _ = judged(build_of(layer(598.0, 300.0)), build_of(layer(600.0, 300.0)))
    assert (found.verdict, found.more) == (GOOD, None)
    assert found.left == pytest.approx(2.0, abs=1e-9)


def test_cut_down() -> None:
    """In place of one of 620 x 300: a strip of 20 mm is sawn off, at x = 624; 5 mm would still be sanded."""
    (found,), _ = judged(build_of(layer(620.0, 300.0)), build_of(layer(600.0, 300.0)))
    assert found.verdict == DOWN
    assert found.more == pytest.approx(20.0, abs=1e-9)
    assert "up to 20 mm comes off at x = 624 mm" in verdict_words(found, "mm")
    (found,), _ = judged(build_of(layer(604.9, 300.0)), build_of(layer(600.0, 300.0)))
    assert found.verdict == GOOD


def test_new_and_the_strip_that_would_do() -> None:
    """In place of one of 590 x 300: its line ran at x = 594, and 600 + 1 must be covered: 7 mm short.

    The whole line stands at 604, over 308 mm: a strip of 308 x 10 mm. In place of one of 597.5 the line
    ran at 601.5: half a millimetre more than must be.
    """
    (found,), left = judged(build_of(layer(590.0, 300.0)), build_of(layer(600.0, 300.0)))
    assert found.verdict == NEW
    assert found.short == pytest.approx(7.0, abs=1e-6)
    (strip,) = found.strips
    assert (strip.length, strip.width) == pytest.approx((308.0, 10.0))
    assert "glue on a strip of 308 mm x 10 mm, 50 mm thick" in verdict_words(found, "mm")
    assert left == ("layer L01",)
    (found,), _ = judged(
        build_of(layer(590.0, 300.0, jointed=True)), build_of(layer(590.0, 300.0, jointed=True))
    )
    assert found.verdict == SAME, "there is no allowance at a joint, and none is asked for"
    (found,), _ = judged(build_of(layer(597.5, 300.0)), build_of(layer(600.0, 300.0)))
    assert found.verdict == GOOD


def test_left_over_foam_counts() -> None:
    """A second layer of 400 x 200, which was not there: cut from the old first layer, or from a remnant.

    The remnant must hold 408 x 208 and the saw's 2 mm all round: 412 x 212 does, 411 x 212 does not.
    """
    new = build_of(layer(900.0, 500.0), layer(400.0, 200.0, low=50.0, high=100.0, name="L02"))
    (_, second), left = judged(build_of(layer(600.0, 300.0)), new)
    assert (second.verdict, second.from_stock, left) == (NEW, "layer L01 of the old foam", ())
    big = layer(900.0, 500.0)
    for width, is_enough in ((412.0, True), (411.0, False)):
        spare = Spare(sheet="3", thickness=50.0, width=212.0, height=width)
        (_, second), left = judged(build_of(big, spares=(spare,)), new)
        assert second.from_stock == ("what is left of sheet 3" if is_enough else "")
        assert left == (() if is_enough else ("left of sheet 3",))


def test_matched_by_place_and_not_by_name() -> None:
    """A layer put under the others moves every number by one, and nothing that was cut is lost."""
    old = [layer(600.0, 300.0, low=z, high=z + 50.0, name=f"L{z // 50 + 1:02.0f}") for z in (0.0, 50.0)]
    new = [replace(one, name=f"L{i + 2:02d}") for i, one in enumerate(old)]
    lowest = layer(600.0, 300.0, low=-50.0, high=0.0, name="L01")
    found, _ = judged(build_of(*old), build_of(lowest, *new))
    assert [(one.verdict, one.was) for one in found] == [(NEW, ""), (SAME, "L01"), (SAME, "L02")]


def test_a_thinner_last_layer_is_planed() -> None:
    """20 mm of a 50 mm sheet where 35 were: 15 mm more come off; the other way round its sheet may do."""
    thick, thin = layer(600.0, 300.0, high=35.0), layer(600.0, 300.0, high=20.0)
    (found,), _ = judged(build_of(thick), build_of(thin))
    assert (found.verdict, found.notes) == (GOOD, ("plane 15 mm more off it",))
    (found,), _ = judged(build_of(thin), build_of(thick))
    assert found.verdict == GOOD
    assert "has not been planed" in found.notes[0]
    (found,), _ = judged(build_of(layer(600.0, 300.0, sheet=40.0, high=40.0)), build_of(layer(600.0, 300.0)))
    assert (found.verdict, found.notes) == (NEW, ("a sheet of 50 mm instead of 40 mm",))


def test_templates_are_cut_to_their_line() -> None:
    """A template has no allowance: 1 mm larger is cut down, 1 mm smaller is new, a moved slot is cut anew."""
    one = replace(layer(600.0, 300.0), kind="template", cut=region((0.0, 0.0, 600.0, 300.0)))
    for width, verdict in ((301.0, DOWN), (299.0, NEW), (300.0, SAME)):
        other = replace(one, cut=region((0.0, 0.0, 600.0, width)), must=region((0.0, 0.0, 600.0, width)))
        (found,), _ = judged(build_of(other), build_of(one))
        assert found.verdict == verdict
    slotted = replace(one, drawn=(region((0.0, 0.0, 600.0, 300.0), (290.0, 150.0, 296.0, 300.0)),))
    moved_on = replace(one, drawn=(region((0.0, 0.0, 600.0, 300.0), (293.0, 150.0, 299.0, 300.0)),))
    (found,), _ = judged(build_of(slotted), build_of(moved_on))
    assert (found.verdict, found.more) == (DOWN, None)
    assert "slots" in found.notes[0]


def test_faces_of_what_a_wire_cuts() -> None:
    """Each face is judged as a layer is, near by near and far by far; nothing is sawn out of one."""

    def face(length: float, side: str) -> Workpiece:
        return replace(layer(length, 300.0), kind="wire face", name=f"B01 {side}", alike=(side,))

    old = build_of(face(603.0, "near"), face(590.0, "far"))
    found, left = judged(old, build_of(face(600.0, "near"), face(600.0, "far"), layer(100.0, 100.0)))
    assert [(one.verdict, one.was, one.from_stock) for one in found] == [
        (GOOD, "B01 near", ""), (NEW, "B01 far", ""), (NEW, "", ""),
    ]  # fmt: skip
    assert left == ()


def test_how_far_one_region_reaches_beyond_another() -> None:
    """A hole of 60 x 40 that the other region fills lies 20 mm deep; a tongue of 25 mm reaches 25 mm out."""
    plate, holed = region((0, 0, 200, 100)), region((0, 0, 200, 100), (70, 30, 130, 70))
    found = beyond(plate, holed)
    assert found is not None
    assert found.by == pytest.approx(20.0, abs=0.1)
    assert beyond(holed, plate) is None
    assert not is_same(plate, holed)
    tongued = shapely.MultiPolygon([shapely.union(plate.geoms[0], shapely.box(200, 40, 225, 60))])
    found = beyond(tongued, plate)
    assert found is not None
    assert found.by == pytest.approx(25.0)
    assert [(s.length, s.width) for s in strips_for(tongued, plate)] == [pytest.approx((25.0, 20.0))]


# ---- the surface


def test_signed_distances_are_those_of_another_library() -> None:
    """On a box with a pocket and a ball beside it, inside and out, on faces, edges and corners."""
    box = mesh.less(
        mesh.extruded(region((0, 0, 300, 200)), "z", 0.0, 120.0),
        mesh.extruded(region((100, 50, 180, 120)), "z", 60.0, 200.0),
    )
    ball = trimesh.creation.icosphere(subdivisions=3, radius=50.0)
    ball.apply_translation((400.0, 100.0, 50.0))
    vertices, triangles = mesh.triangles_of(box)
    for points_of, faces in ((vertices, triangles), (ball.vertices, ball.faces)):
        other = trimesh.Trimesh(points_of, faces, process=False)
        rng = np.random.default_rng(7)
        points = rng.uniform(other.bounds[0] - 40.0, other.bounds[1] + 40.0, (400, 3))
        points = np.concatenate([points, [[310.0, 210.0, 130.0], [-5.0, -5.0, 60.0], [140.0, 80.0, 90.0]]])
        found = signed_distances(points, other.triangles, np.full(len(points), np.inf))
        _, far, _ = trimesh.proximity.closest_point(other, points)
        assert np.abs(found) == pytest.approx(far, abs=1e-6)
        is_clear = far > 1e-3
        assert ((found < 0.0) == other.contains(points))[is_clear].all()
        assert signed_distances(points, other.triangles, far + 1.0) == pytest.approx(found, abs=1e-9)


def straight(height: float = 200.0, width: float = 400.0, recess: float = 0.0) -> Work:
    """Return a box of 600 mm, without blends, on request with a recess in its deck."""
    corners = {"low": plugs.Corner(width / 2.0, 0.0), "high": plugs.Corner(width / 2.0, height)}
    pocket = plugs.Recess(panel="deck", x=300.0, across=0.0, width=120.0, height=80.0, depth=recess or 1.0)
    return plugs.work_out(
        plugs.Plug(
            name="Box", panels=("floor", "side", "deck"), recesses=(pocket,) if recess else (),
            stations=[plugs.Station(x=x, corners=corners) for x in (0.0, 600.0)],
        )
    )  # fmt: skip


def recorded(work: Work) -> Record:
    """Return the record of a work's body."""
    return record_of(work, ("lines", "body"), ())


def test_a_deck_lowered_by_20_mm() -> None:
    """20 x 400 x 600 mm come off: 4.8 litres, all of it on the deck, and nothing is added."""
    old, new = thinned(recorded(straight())), recorded(straight(180.0))
    found = moved(old, new)
    assert found.off_mm3 == pytest.approx(4.8e6, rel=1e-6)
    assert found.on_mm3 == pytest.approx(0.0, abs=1.0)
    deck = found.panels[0]
    assert (deck.name, deck.most_on) == ("deck", 0.0)
    assert deck.most_off == pytest.approx(20.0, abs=1e-3)
    assert not found.blocks
    back = moved(thinned(new), old)
    assert back.on_mm3 == pytest.approx(4.8e6, rel=1e-6)
    (block,) = (one for one in back.blocks if one.panel == "deck")
    assert (block.length, block.width) == pytest.approx((600.0, 400.0), abs=30.0)
    assert block.thickness == pytest.approx(20.0 + old.allowance, abs=1e-3)
    assert block.at[2] == pytest.approx(200.0, abs=1e-6)


def test_volumes_of_change_are_those_of_booleans() -> None:
    """Narrower by 24 mm and higher by 15: both at once, within 5 % of the mesh engine's differences."""
    one, other = straight(), straight(215.0, 376.0)
    found = moved(thinned(recorded(one)), recorded(other))
    on = mesh.volume_of(mesh.less(other.body.body, one.body.body))
    off = mesh.volume_of(mesh.less(one.body.body, other.body.body))
    assert found.on_mm3 == pytest.approx(on, rel=0.05)
    assert found.off_mm3 == pytest.approx(off, rel=0.05)
    assert found.on_mm3 - found.off_mm3 == pytest.approx(on - off, rel=1e-6)


def test_a_recess_that_is_filled_is_told_by_its_own_place() -> None:
    """A pocket of 30 mm becomes 10 mm deep: 20 mm are missing on its floor, nothing on the deck."""
    found = moved(thinned(recorded(straight(recess=30.0))), recorded(straight(recess=10.0)))
    assert found.panels[0].name.startswith("recess") or "recess" in found.panels[0].name
    assert found.panels[0].most_on == pytest.approx(20.0, abs=0.1)
    assert found.panels[0].on_at[2] == pytest.approx(190.0, abs=0.1)


def test_nothing_has_moved_where_nothing_changed() -> None:
    """The same plug again: no distance, no volume, and no word of either."""
    record = recorded(straight())
    changes = changed(thinned(record), record, moved(thinned(record), record))
    assert changes.moved is not None
    assert (changes.moved.on_mm3, changes.moved.off_mm3) == (0.0, 0.0)
    assert not changes.moved.panels
    assert not changes.parameters
