"""One story for each recess: whatever is cut, drawn, glued, offered up or told of it follows one method."""

from __future__ import annotations

import math
import re
from functools import cache
from html import unescape
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
import shapely

from plugs.drafting.flat import flat_points
from plugs.drawings import template_drawings
from plugs.ground.errors import PlugError
from plugs.mesh.triangles import six_volumes
from plugs.pack.words import sections
from plugs.sanding.pocket_pattern import PocketCutting, PocketPattern
from plugs.scene import plug_meshes
from plugs.summary.sanding import feature_figures
from plugs.work import Work, opened
from tests.books import Book, book_of

RECIPE = '''\
"""A block with a pocket in its end."""

from plugs import *


def block(
    method="", axis="z", panel="rear", deep="", is_laid=False, boss=False, station=385.0,
    has_pocket=True, machine=False, between=False, stock=False,
):
    """Return a block of 400 x 240 x 200 with a pocket of 160 x 120, 30 deep, from z = 40 to 160."""
    corners = {"foot": Corner(120.0, 0.0), "edge": Corner(120.0, 200.0)}
    place = {"y": 0.0, "z": 100.0} if panel == "rear" else {"x": 200.0}
    laid = {}
    if is_laid:
        schedule = Schedule(plies=(Ply(cloth="cloth 200"), Ply(cloth="cloth 200")), resin="epoxy")
        laid = {"schedule": schedule, "foam": "xps 35"}
    if machine:
        laid |= {"foam": "xps 35", "wire": WireWork(machine=WireCutter())}
    pad = Boss(name="pad", panel="side", x=200.0, width=100.0, height=60.0, rise=8.0, draft_deg=5.0)
    return Plug(
        name="Block", panels=("floor", "side", "deck"),
        stations=(Station(x=0.0, corners=corners), Station(x=400.0, corners=corners)),
        recesses=[
            Recess(
                name="pocket", panel=panel, **place, width=160.0, height=120.0, depth=deep or 30.0,
                method=method or None,
            ),
        ][: int(has_pocket)],
        bosses=(pad,) if boss else (), **laid, skin=Skin(no_laminate=("floor", "front")),
        stack=Stack(axis=axis, thicknesses=(50.0,), between_templates=between),
        stock=(Stock(width=900.0, height=700.0, thickness=50.0),) if stock else (),
        templates=Templates(thickness=4.0, stations=(station,), lengthwise=() if between else (0.0,)),
    )
'''

METHODS = ("", "rout", "saw")
"""Not said, it is made in the layers."""
GROWN = 4.0
"""Allowance of the stack, mm."""


@cache
def work_of(**words: object) -> Work:
    """Return the work on a block."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "block.py"
        path.write_text(RECIPE, encoding="utf-8")
        return opened(path, words)


@cache
def book(method: str, *, machine: bool = False) -> tuple[Book, str]:
    """Return the book of a block that is laid up and cut from sheets, and its words from the recesses on."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "block.py"
        path.write_text(RECIPE, encoding="utf-8")
        made = book_of(path, method=method, is_laid=True, machine=machine, stock=True)
    page = made.page
    page = page[page.find('<section id="recesses"') : page.index('<section id="fit"')]
    return made, " ".join(unescape(re.sub(r"<[^>]*>", " ", page)).split())


def kit_of(work: Work) -> PocketPattern:
    """Return the only pocket of a work."""
    (kit,) = work.kits
    return kit


def skin_of(work: Work) -> float:
    """Return how far the foam lies under the finished surface of rear, sides and deck."""
    return 400.0 - float(work.body.by_mesh.upper[0])


def layer_mm2(skin: float, *, has_notch: bool) -> float:
    """Return the area of a layer's cut line; the pocket's walls and floor lie farther out under a skin."""
    outline = shapely.box(0.0, skin, 400.0 - skin, 240.0 - skin)
    if has_notch:
        outline = outline.difference(shapely.box(370.0 - skin, 40.0 - skin, 400.0, 200.0 + skin))
    return outline.buffer(GROWN, quad_segs=64).area


def foam_mm3(skin: float, *, has_pocket: bool) -> float:
    """Return the volume of the foam."""
    pocket = (160.0 + 2.0 * skin) * (120.0 + 2.0 * skin) * 30.0
    return (400.0 - skin) * (240.0 - 2.0 * skin) * (200.0 - skin) - (pocket if has_pocket else 0.0)


@pytest.mark.parametrize("method", METHODS)
def test_layers_are_cut_drawn_and_stacked_by_the_method(method: str) -> None:
    """The notch is in the cut lines of L02 and L03, or in none, and nothing that is cut has it otherwise."""
    made, _ = book(method)
    work, kit = made.work, kit_of(made.work)
    is_notched, skin = not method, skin_of(made.work)
    assert 0.4 < skin < 1.0
    assert kit.method == (method or "layers")
    assert kit.layers == ("L01", "L02", "L03", "L04")
    assert kit.notched == (("L02", "L03") if is_notched else ())
    for number, layer in enumerate(work.layers, start=1):
        wanted = layer_mm2(skin, has_notch=layer.name in kit.notched)
        assert layer.rough.area == pytest.approx(wanted, abs=2.0)
        drawing = made.drawings[f"layers/layer-{number:02d}"]
        drawn = [shapely.Polygon(flat_points(p)).area for p in drawing.paths if p.dxf_layer == "SAW_LINE"]
        assert max(drawn) == pytest.approx(wanted, abs=5.0)
        rows = [label.text for label in drawing.labels if label.text.startswith("pocket: left whole here")]
        done = {"rout": "routed out", "saw": "sawn out"}.get(method)
        assert rows == (
            [] if done is None else [f"pocket: left whole here, {done} when all is glued and sanded"]
        )
    assert work.sheets.nesting is not None
    nested = sum(
        place.piece.outline.area for sheet in work.sheets.nesting.sheets for place in sheet.placements
    )
    assert nested == pytest.approx(sum(layer.rough.area for layer in work.layers), rel=1e-6)
    assert math.fsum(layer.volume_mm3 for layer in work.layers) == pytest.approx(
        foam_mm3(skin, has_pocket=True), rel=1e-5
    )
    glued = foam_mm3(skin, has_pocket=is_notched)
    shown = sum(float(six_volumes(one.vertices[one.triangles]).sum()) for one in plug_meshes(work).layers)
    assert shown / 6.0 == pytest.approx(glued, rel=1e-4)
    looked_at = sum(
        float(six_volumes(one.vertices[one.triangles]).sum()) / 6.0
        for one in work.layers_seen.surfaces.values()
    )
    assert looked_at == pytest.approx(glued, rel=1e-3)


@pytest.mark.parametrize("method", METHODS)
def test_glue_and_pins_leave_a_saw_its_way_and_its_block_whole(method: str) -> None:
    """L02 on L03, 400 x 240: what is sawn is glued too, so that one block comes out, without a pin in it."""
    work = book(method)[0].work
    joint = next(one for one in work.pins.joints if one.contact.lower_layer == "L02")
    laid = 400.0 * 240.0 - (0.0 if method == "saw" else 160.0 * 30.0)
    assert joint.contact.touching_mm2 == pytest.approx(laid, rel=0.02)
    in_the_way = [pin for one in work.pins.joints for pin in one.pins if abs(pin.at[1]) < 80.0]
    if method == "saw":
        assert not in_the_way


@pytest.mark.parametrize("method", METHODS)
def test_gauges_are_those_of_the_plug_before_the_pocket(method: str) -> None:
    """Whatever the method, the pocket is finished after sanding: no gauge reaches into it."""
    plain = work_of(has_pocket=False, is_laid=True)
    made = book(method)[0]
    found = {one.name: one.region for one in made.work.templates}
    wanted = {one.name: one.region for one in plain.templates}
    assert len(wanted) > 4 and found.keys() == wanted.keys()
    assert all(region.symmetric_difference(wanted[name]).area < 0.1 for name, region in found.items())
    assert "Their edges pass over pocket" in made.page


@pytest.mark.parametrize("method", METHODS)
def test_book_pack_and_pattern_tell_one_method(method: str) -> None:
    """How it is made, why so, and in what order: after sanding, as its drawing says."""
    made, words = book(method)
    kit, is_notched = kit_of(made.work), not method
    labels = " ".join(label.text for label in made.drawings["templates/pocket-01"].labels)
    said = {"layers": "notch is in", "rout": "rout it", "saw": "saw it out"}
    assert [word for word in said if said[word] in labels] == [kit.method]
    assert ("left whole" in labels) == ("left whole" in words) == (not is_notched)
    groups = {path.dxf_layer for path in made.drawings["templates/pocket-01"].paths}
    assert ("CUT_LINE" in groups) == (method == "saw")
    assert ("set back" in words) == (method == "saw")
    assert ("its notch looked for in L02, L03" in words) == is_notched
    assert ("routed inside" in words) == (method == "rout")
    assert kit.why in words
    assert ("as the recipe says" in words) == bool(method)
    (row,) = made.summary["pocket_patterns"]
    assert (row["set_back_mm"], row["kerf_mm"]) == ((30.0, 1.0) if method == "saw" else (None, None))
    order = next(one for one in sections(made.summary) if "order" in str(one).lower())
    told = str(order)
    pack = {"layers": "cut away what its notch leaves", "rout": "rout it out", "saw": "saw it out"}
    assert [word for word, text in pack.items() if f"pocket: {text}" in told] == [kit.method]
    assert told.index("Guide coat") < told.index("pocket: ") < told.index("Ply 1")


@pytest.mark.parametrize("method", METHODS)
def test_wire_cuts_what_the_layers_are(method: str) -> None:
    """Pieces by wire have the notch or are whole; a block that a wire cuts is glued in, none is set back."""
    work = work_of(method=method, machine=True)
    cut = next(one for one in work.wire_cuts if one.name == "L02")
    near = max(shapely.Polygon(ring.near).area for ring in cut.rings)
    assert near == pytest.approx(400.0 * 240.0 - (0.0 if method else 160.0 * 30.0), rel=1e-3)
    is_cut = kit_of(work).block == "by wire"
    assert is_cut == (method == "saw")
    drawing = template_drawings(work)["templates/pocket-01"]
    words = " ".join(label.text for label in drawing.labels)
    assert ("block that the wire cut" in words) == is_cut
    assert "Set the block back" not in words


def test_a_saw_does_not_go_through_templates_in_the_foam() -> None:
    """One that stands behind the floor is refused with the way that would do; clear of it the saw may go."""
    with pytest.raises(PlugError) as caught:
        _ = work_of(method="saw", axis="x", between=True, station=200.0).layers
    assert caught.value.param == "recesses[0].method"
    assert '"rout"' in caught.value.remedy
    assert work_of(method="rout", axis="x", between=True, station=200.0).layers
    deck = {"method": "saw", "axis": "x", "between": True, "panel": "deck"}
    with pytest.raises(PlugError):
        _ = work_of(station=200.0, **deck).layers
    assert work_of(station=380.0, **deck).layers


def test_pocket_that_no_layer_shows_is_routed() -> None:
    """30 mm into sheets of 50: every layer is left whole, and "layers" is refused with what does."""
    for words in ({"axis": "x"}, {"panel": "deck"}):
        kit = kit_of(work_of(**words))
        assert (kit.method, kit.notched) == ("rout", ())
        assert "no cut line shows it" in kit.why
        with pytest.raises(PlugError) as caught:
            _ = work_of(method="layers", **words).layers
        assert caught.value.param == "recesses[0].method"
        assert '"rout"' in caught.value.remedy


def test_cut_right_through_is_in_the_layers_or_sawn() -> None:
    """Down through all layers it is in each cut line; routing has no floor to stop at."""
    work = work_of(panel="deck", deep="right through")
    kit = kit_of(work)
    assert kit.method == "layers" and len(kit.notched) == 4
    drawing = template_drawings(work)["templates/pocket-01"]
    assert any("right through" in label.text for label in drawing.labels)
    hole = (160.0 - 2.0 * GROWN) * (120.0 - 2.0 * GROWN)
    assert all(
        layer.rough.area == pytest.approx(layer_mm2(0.0, has_notch=False) - hole, abs=2.0)
        for layer in work.layers
    )
    sawn = work_of(panel="deck", deep="right through", method="saw")
    assert all(
        layer.rough.area == pytest.approx(layer_mm2(0.0, has_notch=False), abs=2.0) for layer in sawn.layers
    )
    assert kit_of(sawn).block is None
    with pytest.raises(PlugError) as caught:
        work_of(panel="deck", deep="right through", method="rout")
    assert caught.value.param == "recesses[0].method"


@pytest.mark.parametrize("method", METHODS)
def test_one_piece_of_cloth_for_each_ply_of_a_pocket(method: str) -> None:
    """That of the cloth's own section: no drawing but cloth/ has cloth, and the book names its pieces."""
    made, words = book(method)
    rolls = made.summary["cloth"]["rolls"]
    pieces = [piece for roll in rolls for piece in roll["pieces"] if piece["zone"] == "pocket"]
    assert [piece["ply"] for piece in pieces] == [1, 2]
    assert all(piece["name"] in words for piece in pieces)
    (row,) = made.summary["pocket_patterns"]
    assert not [key for key in row if "cloth" in key]
    assert "CLOTH" not in str(made.drawings["templates/pocket-01"])
    assert not hasattr(PocketCutting(), "cloth_overlap")


def test_bosses_have_their_step() -> None:
    """What stands out of the plug is named with its layers and its size."""
    (pad,) = feature_figures(work_of(boss=True).features)
    assert (pad["kind"], pad["layers"], pad["rise_mm"]) == ("boss", ("L02", "L03"), 8.0)
    top = 100.0 - 16.0 * math.tan(math.radians(5.0))
    assert pad["top_mm"]["width"] == pytest.approx(top) or pad["top_mm"]["height"] == pytest.approx(top)


@pytest.mark.parametrize("method", ["wire", 3, "Layers"])
def test_method_that_there_is_not(method: object) -> None:
    """Refused by name."""
    with pytest.raises(PlugError) as caught:
        work_of(method=method)
    assert caught.value.param in ("recesses[0].method", "method")
