"""The stack put together again from what is cut out of the sheets is the stack of layers.

The pieces are read from the cut list and turned back by its own figures with shapely (BSD); the outlines are
those of the layers. Nothing of the nesting's own code takes part.
"""

from __future__ import annotations

import csv
import io
import json
import math
from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely import affinity

from plugs.build import build
from plugs.work import opened
from plugs.summary.csv_files import csv_files
from plugs.mesh import mesh
from tests.demos import RECIPES, at_defaults, defaults_of

NESTED = ("sidecar_tail", "seat_hump", "cab_fairing", "bonnet_scoop")


@pytest.mark.parametrize("demo", NESTED)
def test_every_piece_comes_back_where_it_was(demo: str) -> None:
    """Moved back by the cut list, the cut outlines cover each layer's rough outline once."""
    work = at_defaults(demo)
    nesting = work.sheets.nesting
    assert nesting is not None
    cut = {p.piece.name: p.outline for sheet in nesting.sheets for p in sheet.placements}
    back: dict[str, list[shapely.Polygon]] = {}
    for row in csv.DictReader(io.StringIO(csv_files(work)["sheets/cut-list.csv"])):
        moved = affinity.translate(cut[row["piece"]], -float(row["dx_mm"]), -float(row["dy_mm"]))
        turned = affinity.rotate(moved, -float(row["turn_deg"]), origin=(0.0, 0.0))
        back.setdefault(row["layer"], []).append(turned)
    voids = {void.layer: void.outline for void in work.pieces.voids}
    assert sorted(back) == sorted(layer.name for layer in work.layers)
    for layer in work.layers:
        wanted = layer.rough.difference(voids.get(layer.name, shapely.MultiPolygon()))
        together = shapely.union_all(back[layer.name])
        assert math.fsum(part.area for part in back[layer.name]) == pytest.approx(together.area, rel=1e-6)
        # placements are rounded to 0.1 micrometre, so the difference is a hair along the edge
        assert together.symmetric_difference(wanted).area < 1e-3 * wanted.length


@pytest.mark.parametrize("demo", NESTED)
def test_sheets_hold_their_pieces(demo: str) -> None:
    """Inside the margin, and at least kerf and spacing apart, as shapely measures it."""
    work = at_defaults(demo)
    plug, nesting = work.plug, work.sheets.nesting
    assert nesting is not None
    apart = plug.cutting.kerf + plug.cutting.spacing
    for sheet in nesting.sheets:
        outlines = [p.outline for p in sheet.placements]
        shape = sheet.stock.outline or shapely.box(0.0, 0.0, sheet.stock.width, sheet.stock.height)
        room = shapely.Polygon(shape).buffer(-plug.cutting.edge_margin + 0.01, join_style="mitre")
        assert all(room.covers(outline) for outline in outlines)
        for i, one in enumerate(outlines):
            for other in outlines[i + 1 :]:
                # a piece may lie in the hole of another: the distance is between the cut lines
                assert one.boundary.distance(other.boundary) >= apart - 0.01
                assert one.intersection(other).area < 1e-6


@pytest.mark.parametrize("demo", NESTED)
def test_pieces_weigh_what_the_plug_weighs(demo: str) -> None:
    """Volumes of the pieces and the voids are that of the foam."""
    work = at_defaults(demo)
    pieces = math.fsum(piece.volume_mm3 for piece in work.pieces.pieces)
    voids = math.fsum(void.volume_mm3 for void in work.pieces.voids)
    layers = math.fsum(layer.volume_mm3 for layer in work.layers)
    assert pieces + voids == pytest.approx(layers, rel=1e-6)
    density = work.plug.density
    for piece in work.pieces.pieces:
        assert piece.weight_kg == (
            None if density is None else pytest.approx(1e-9 * density * piece.volume_mm3)
        )


def test_pins_pass_the_templates_in_the_stack() -> None:
    """Each pin between two bays of the scoop has its hole in the template, clear of slots and screws."""
    work = at_defaults("bonnet_scoop")
    plates = [t for t in work.templates if t.axis == "x"]
    passing = [joint for joint in work.pins.joints if joint.contact.between_mm > 0.0]
    assert len(passing) == len([t for t in plates if t.from_mm > work.body.by_mesh.lower[0] + 1e-6])
    for joint in passing:
        (plate,) = [t for t in plates if abs(t.from_mm - joint.contact.at_mm) < 1e-6]
        assert joint.contact.between_mm == pytest.approx(plate.to_mm - plate.from_mm)
        holes = [hole for hole in plate.holes if hole.kind == "pin"]
        assert sorted(hole.centre for hole in holes) == sorted(pin.at for pin in joint.pins)
        others = [hole for hole in plate.holes if hole.kind != "pin"]
        for hole in holes:
            assert plate.outline.contains(shapely.Point(hole.centre).buffer(0.5 * hole.diameter))
            for slot in plate.slots:
                assert slot.outline.distance(shapely.Point(hole.centre)) > 0.5 * hole.diameter
            for other in others:
                away = math.dist(hole.centre, other.centre)
                assert away > 0.5 * (hole.diameter + other.diameter)


def test_pins_stand_in_the_foam_of_both_layers() -> None:
    """A rod along each pin's way lies wholly in the foam of the tail, and of the scoop but for the plates."""
    for demo in ("sidecar_tail", "bonnet_scoop"):
        work = at_defaults(demo)
        for joint in work.pins.joints:
            contact = joint.contact
            for pin in joint.pins:
                disc = shapely.MultiPolygon([shapely.Point(pin.at).buffer(0.5 * joint.diameter)])
                low = contact.at_mm - pin.lower_depth
                rod = mesh.extruded(
                    disc, contact.axis, low, contact.at_mm + contact.between_mm + pin.upper_depth
                )
                assert mesh.volume_of(mesh.less(rod, work.body.body)) < 1e-6 * mesh.volume_of(rod)


def test_search_is_kept_beside_the_recipe(tmp_path: Path) -> None:
    """What a search found is stored, used by the next build to the byte, and left alone by another shape."""
    recipe = tmp_path / "seat_hump.py"
    recipe.write_bytes((RECIPES / "seat_hump.py").read_bytes())
    kinds, shelf = ("csv",), defaults_of("seat_hump")
    first = build(recipe, {}, out=tmp_path / "first", kinds=kinds, search=2.0, shelf=shelf)
    assert first.summary["sheets"]["is_searched"] is True
    assert json.loads((tmp_path / "seat_hump.sheets.json").read_text(encoding="utf-8"))["form"] == 1
    again = build(recipe, {}, out=tmp_path / "again", kinds=kinds, shelf=shelf)
    assert again.summary["sheets"] == first.summary["sheets"]
    assert (tmp_path / "again" / "sheets" / "cut-list.csv").read_bytes() == (
        tmp_path / "first" / "sheets" / "cut-list.csv"
    ).read_bytes()
    other = build(recipe, {"width": 280.0}, out=tmp_path / "other", kinds=kinds, shelf=shelf)
    assert other.summary["sheets"]["is_searched"] is False
    assert "stale-search" in [f.code for f in other.work.findings]


def test_a_spoiled_record_is_not_used(tmp_path: Path) -> None:
    """Neither half a file nor numbers that lie: the sheets are arranged afresh, with a note."""
    recipe = tmp_path / "seat_hump.py"
    recipe.write_bytes((RECIPES / "seat_hump.py").read_bytes())
    for text in ("", "{", "[1, 2", '{"form": 1, "fingerprint": "no"}', "\xff\xfe"):
        (tmp_path / "seat_hump.sheets.json").write_bytes(text.encode("latin-1"))
        work = opened(recipe, {}, shelf=defaults_of("seat_hump"))
        assert work.sheets.nesting is not None
        assert not work.sheets.is_searched
        assert "stale-search" in [f.code for f in work.findings]


def test_layers_know_both_their_faces() -> None:
    """The lowest face of the tail is the floor: flat, so its outline is that of the base plan."""
    work = at_defaults("sidecar_tail")
    lowest = work.layers[0].lower
    assert lowest.area > 0.9e6
    assert lowest.symmetric_difference(work.base.lowest).area < 1e-2 * lowest.length
    assert np.isclose(work.base.lowest_z, work.layers[0].from_mm, atol=1e-3)
