"""One story for each recess: cut lines, template drawing, book, quantities and cloth follow one method."""

from __future__ import annotations

import json
import math
import re
from functools import cache
from html import unescape
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import ezdxf
import pytest
import shapely

from plugs.build import build
from plugs.ground.errors import PlugError
from plugs.sanding.pocket_pattern import PocketCutting

RECIPE = '''\
"""A block with a pocket in its end."""

from plugs import Boss, Corner, Plug, Ply, Recess, Schedule, Skin, Stack, Station, Templates


def block(
    method="", axis="z", panel="rear", deep="", is_laid=False, boss=False, station=385.0,
    has_pocket=True,
):
    """Return a block of 400 x 300 x 200 with a pocket of 160 x 120, 30 deep, from z = 40 to 160."""
    corners = {"foot": Corner(150.0, 0.0), "edge": Corner(150.0, 200.0)}
    place = {"y": 0.0, "z": 100.0} if panel == "rear" else {"x": 200.0}
    laid = {}
    if is_laid:
        schedule = Schedule(plies=(Ply(cloth="cloth 200"), Ply(cloth="cloth 200")), resin="epoxy")
        laid = {"schedule": schedule, "foam": "xps 35"}
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
        stack=Stack(axis=axis, thicknesses=(50.0,)),
        templates=Templates(thickness=4.0, stations=(station,)),
    )
'''

POCKET_MM3 = 160.0 * 120.0 * 30.0
GROWN = 4.0
"""Allowance of the stack, mm."""


@cache
def built(**words: object) -> tuple[dict[str, Any], str, dict[str, bytes]]:
    """Return the summary, the book's words and the files of a build."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "block.py"
        path.write_text(RECIPE, encoding="utf-8")
        out = build(path, words, out=Path(folder) / "out", kinds=("dxf", "html")).folder
        files = {str(p.relative_to(out)): p.read_bytes() for p in out.rglob("*") if p.is_file()}
    page = files["book.html"].decode()
    page = page[page.find('<section id="recesses"') : page.index('<section id="fit"')]
    return json.loads(files["summary.json"]), unescape(re.sub(r"<[^>]*>", " ", page)), files


def areas(files: dict[str, bytes], name: str, group: str) -> float:
    """Return the area inside the lines of one group of a drawing, holes taken out."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "drawing.dxf"
        path.write_bytes(files[name])
        space = ezdxf.readfile(path).modelspace()
    rings = [
        shapely.Polygon([(v.x, v.y) for v in ezdxf.path.make_path(e).flattening(1e-3)])
        for e in space
        if e.dxf.layer == group
    ]
    rings = [ring for ring in rings if ring.area > 1.0]
    found = shapely.MultiPolygon()
    for ring in sorted(rings, key=lambda ring: -ring.area):
        found = found.symmetric_difference(ring)
    return found.area


def whole() -> float:
    """Return the area of a whole layer's cut line."""
    return shapely.box(0.0, 0.0, 400.0, 300.0).buffer(GROWN, quad_segs=64).area


def notched() -> float:
    """Return that of a layer with the pocket's notch."""
    notch = shapely.box(370.0, 70.0, 400.0, 230.0)
    return shapely.box(0.0, 0.0, 400.0, 300.0).difference(notch).buffer(GROWN, quad_segs=64).area


@pytest.mark.parametrize("method", ["", "layers", "rout", "saw"])
def test_end_of_a_plug_of_flat_layers(method: str) -> None:
    """The notch is in the cut lines of L02 and L03, or in none; template, volumes and book say the same."""
    summary, book, files = built(method=method)
    (kit,) = summary["pocket_patterns"]
    is_notched = method in ("", "layers")
    assert kit["method"] == (method or "layers")
    assert kit["layers"] == ["L01", "L02", "L03", "L04"]
    assert kit["notched_layers"] == (["L02", "L03"] if is_notched else [])
    for number, layer in enumerate(summary["layers"], start=1):
        wanted = notched() if layer["name"] in kit["notched_layers"] else whole()
        assert 1e6 * layer["saw_line_area_m2"] == pytest.approx(wanted, abs=2.0)
        assert areas(files, f"layers/layer-{number:02d}.dxf", "SAW_LINE") == pytest.approx(wanted, abs=5.0)
    volume = math.fsum(layer["volume_m3"] for layer in summary["layers"])
    assert volume == pytest.approx(1e-9 * (400.0 * 300.0 * 200.0 - POCKET_MM3), rel=1e-6)
    assert volume == pytest.approx(summary["solid"]["volume_by_mesh_m3"], rel=1e-6)
    drawing = files["templates/pocket-01.dxf"].decode()
    words = {"layers": "notch is in", "rout": "rout it", "saw": "saw it out"}
    assert [word for word in words if words[word] in drawing] == [kit["method"]]
    assert ("left whole" in drawing) == ("left whole" in book) == (not is_notched)
    assert ("CUT_LINE" in drawing) == (method == "saw")
    assert ("set back" in book) == (method == "saw")
    assert ("its notch looked for in L02, L03" in book) == is_notched
    assert ("routed inside" in book) == (method == "rout")
    assert (kit["set_back_mm"], kit["kerf_mm"]) == ((30.0, 1.0) if method == "saw" else (None, None))


def test_pocket_that_no_layer_shows_is_routed() -> None:
    """30 mm into sheets of 50: every layer is left whole, and "layers" is refused with what does."""
    for words in ({"axis": "x"}, {"panel": "deck"}):
        summary, book, _ = built(**words)
        (kit,) = summary["pocket_patterns"]
        assert kit["method"] == "rout" and kit["notched_layers"] == []
        assert "routed inside" in book and "set back" not in book
        with pytest.raises(PlugError) as caught:
            built(method="layers", **words)
        assert caught.value.param == "recesses[0].method"
        assert '"rout"' in caught.value.remedy


def test_templates_are_those_of_the_foam_that_is_sanded_to_them() -> None:
    """What is routed after sanding is not yet in the line that the foam is sanded to."""
    _, _, plain = built(panel="deck", station=200.0, has_pocket=False)
    _, _, routed = built(panel="deck", station=200.0)
    _, _, notched = built(panel="deck", station=200.0, deep="right through")
    names = [name for name in plain if name.startswith("templates/") and "station" in name]
    assert names and all(routed[name] == plain[name] for name in names)
    assert any(notched[name] != plain[name] for name in names)


def test_cut_right_through_is_in_the_layers_or_sawn() -> None:
    """Down through all layers it is in each cut line; routing has no floor to stop at."""
    summary, book, _ = built(panel="deck", deep="right through")
    (kit,) = summary["pocket_patterns"]
    assert kit["method"] == "layers" and len(kit["notched_layers"]) == 4
    assert "right through" in book
    for layer in summary["layers"]:
        hole = (160.0 - 2.0 * GROWN) * (120.0 - 2.0 * GROWN)
        assert 1e6 * layer["saw_line_area_m2"] == pytest.approx(whole() - hole, abs=2.0)
    sawn, _, _ = built(panel="deck", deep="right through", method="saw")
    assert all(1e6 * layer["saw_line_area_m2"] == pytest.approx(whole(), abs=2.0) for layer in sawn["layers"])
    with pytest.raises(PlugError) as caught:
        built(panel="deck", deep="right through", method="rout")
    assert caught.value.param == "recesses[0].method"


def test_one_piece_of_cloth_for_each_ply_of_a_pocket() -> None:
    """That of the cloth's own section: no drawing but cloth/ has cloth, and the book names its pieces."""
    summary, book, files = built(is_laid=True)
    pieces = [
        piece for roll in summary["cloth"]["rolls"] for piece in roll["pieces"] if piece["zone"] == "pocket"
    ]
    assert [piece["ply"] for piece in pieces] == [1, 2]
    assert all(piece["name"] in book for piece in pieces)
    (kit,) = summary["pocket_patterns"]
    assert not [key for key in kit if "cloth" in key]
    assert "CLOTH" not in files["templates/pocket-01.dxf"].decode()
    assert not hasattr(PocketCutting(), "cloth_overlap")


def test_bosses_have_their_step() -> None:
    """What stands out of the plug is named with its layers and its size."""
    summary, book, _ = built(boss=True)
    (pad,) = summary["features"]
    assert (pad["kind"], pad["layers"], pad["rise_mm"]) == ("boss", ["L02", "L03"], 8.0)
    top = 100.0 - 16.0 * math.tan(math.radians(5.0))
    assert pad["top_mm"]["width"] == pytest.approx(top) or pad["top_mm"]["height"] == pytest.approx(top)
    assert "pad stands in the cut lines of L02, L03" in " ".join(book.split())


@pytest.mark.parametrize("method", ["wire", 3, "Layers"])
def test_method_that_there_is_not(method: object) -> None:
    """Refused by name."""
    with pytest.raises(PlugError) as caught:
        built(method=method)
    assert caught.value.param in ("recesses[0].method", "method")
