"""In a stack of whole layers templates are gauges: outside the plug, on the board, told as what they are."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from pathlib import Path

import pytest
import shapely

from plugs.drawings import template_drawings
from plugs.ground.errors import PlugError
from plugs.mesh import mesh
from plugs.mesh.bands import Banded, Bands, Level, Reach, bands_of
from plugs.mesh.mesh import Body
from plugs.summary.foam import templates
from plugs.templates import gauges
from plugs.templates.gauges import FRAME, make_gauges
from plugs.templates.words import Templates
from plugs.work import Work, opened
from tests.books import book_of
from tests.demos import listed
from tests.shapes import box_plan, solid_of

PLUG = """
from plugs import Corner, Plug, Skin, Stack, Station, Templates

def posts(axis="z", kind=None, between=False, bit=0.0, skin=0.0):
    def station(x):
        return Station(x=x, corners={"foot": Corner(100.0, 0.0), "edge": Corner(100.0, 90.0)})
    return Plug(
        name="Post",
        panels=("floor", "side", "deck"),
        stations=(station(0.0), station(150.0), station(300.0)),
        skin=Skin(thickness=skin, no_laminate=("floor",)),
        stack=Stack(axis=axis, thicknesses=(30.0,), between_templates=between),
        templates=Templates(
            kind=kind, stations=(150.0,), lengthwise=(0.0,), waterlines=(40.0,), bit_diameter=bit,
        ),
    )
"""


def worked(folder: Path, **words: object) -> Work:
    """Return the post worked out as far as it is cut."""
    path = folder / "posts.py"
    path.write_text(PLUG, encoding="utf-8")
    return opened(path, words)


def over(rings: list[tuple[float, float]]) -> Body:
    """Return a body with one section, 100 mm long."""
    return mesh.extruded(shapely.MultiPolygon([shapely.Polygon(rings)]), "x", 0.0, 100.0)


def regions(body: Body, **words: object) -> dict[str, shapely.MultiPolygon]:
    """Return the parts of the one station gauge of a body."""
    made, _ = make_gauges(body, None, Templates(stations=(50.0,), **words), ())  # type: ignore[arg-type]
    return {gauge.part: gauge.region for gauge in made}


@pytest.mark.parametrize("axis", ["z", "y", "x"])
def test_nothing_stands_where_foam_is(tmp_path: Path, axis: str) -> None:
    """Whole layers are the plug; no template shares its room with any, and none has a slot."""
    work = worked(tmp_path, axis=axis)
    assert math.fsum(layer.volume_mm3 for layer in work.layers) == pytest.approx(200.0 * 90.0 * 300.0)
    assert work.templates
    for template in work.templates:
        plate = mesh.extruded(template.region, template.axis, template.from_mm, template.to_mm)
        assert mesh.volume_of(mesh.common(plate, work.body.body)) < 0.1
        assert template.is_gauge
        assert not template.slots
        assert not template.holes


def test_halves_of_a_box(tmp_path: Path) -> None:
    """Each an angle of plates 60 mm wide round a half of 100 by 90, waterline and name of the place on it."""
    gauges = {gauge.name: gauge for gauge in worked(tmp_path).templates}
    assert list(gauges) == ["S01 foam left", "S01 foam right", "B01 foam front", "B01 foam rear"]
    wanted = shapely.box(0, 0, 100 + FRAME, 90 + FRAME).difference(shapely.box(-1, -1, 100, 90))
    assert gauges["S01 foam right"].region.symmetric_difference(wanted).area < 1.0
    assert gauges["S01 foam left"].bevel.largest_mm < 0.01
    assert ("waterline", 40.0) in {(mark.kind, mark.at_mm) for mark in gauges["S01 foam left"].marks}
    assert ("station", 150.0) not in {(m.kind, m.at_mm) for m in gauges["B01 foam rear"].marks}


def test_finished_line_has_gauges_of_its_own(tmp_path: Path) -> None:
    """2 mm of skin: the finished line's stand 2 mm farther out, on the same board."""
    gauges = {gauge.name: gauge for gauge in worked(tmp_path, skin=2.0).templates}
    assert len(gauges) == 8
    foam, finished = (gauges[f"S01 {line} right"].region for line in ("foam", "finished"))
    for region, out in ((foam, 98.0), (finished, 100.0)):
        assert region.contains(shapely.Point(out + 0.02, 40.0))
        assert not region.intersects(shapely.Point(out - 0.02, 40.0))
        assert region.bounds[1] == pytest.approx(0.0, abs=1e-9)


def test_parts_fit_what_they_are_put_on() -> None:
    """Sides that lean in at the top, or at the bottom: two halves reach all. A deep hollow wants a third."""
    lean = regions(over([(-90, 0), (90, 0), (60, 80), (-60, 80)]))
    keel = regions(over([(0, 0), (90, 50), (60, 80), (-60, 80), (-90, 50)]))
    assert set(lean) == set(keel) == {"left", "right"}
    assert keel["right"].distance(shapely.Point(20, 11.2)) < 0.3
    well = [(-90, 0), (90, 0), (100, 80), (50, 80), (50, 30), (-50, 30), (-50, 80), (-100, 80)]
    deep = regions(over(well))
    assert set(deep) == {"left", "right", "top"}
    assert deep["top"].distance(shapely.Point(0, 30)) < 0.01
    assert deep["left"].distance(shapely.Point(-95, 40)) < 0.01


def test_hollow_that_nothing_reaches_is_told() -> None:
    """A groove behind a lip, 30 mm deep: bridged, and said so with its depth and place."""
    groove = [(-90, 0), (90, 0), (90, 20), (70, 40), (90, 90), (80, 90), (60, 40), (60, 60), (-90, 90)]
    _, found = make_gauges(over(groove), None, Templates(stations=(50.0,)), ())
    assert [one.code for one in found] == ["gauge-bridges"]
    assert "mm deep" in found[0].message


@pytest.mark.parametrize(("x", "codes"), [(0.0, ["gauge-in-blend"]), (600.0, ["gauge-in-blend"]), (20.0, [])])
def test_gauge_in_the_blend_of_a_rounded_end_is_told(x: float, codes: list[str]) -> None:
    """Ends rounded by 15 mm: over a plate of 6 mm there the surface falls off by more than its thickness."""
    body = solid_of(box_plan(600.0, 200.0, 150.0, end_radius=15.0)).body
    _, found = make_gauges(body, None, Templates(stations=(x,)), ())
    assert [one.code for one in found] == codes


def test_gauge_larger_than_a_board_is_told() -> None:
    """Halves of 2,500 mm want two boards; those of 2,300 do not."""
    for length, told in ((2 * 2300.0, 0), (2 * 2450.0, 2)):
        body = mesh.extruded(shapely.MultiPolygon([shapely.box(-90, 0, 90, 80)]), "x", 0.0, length)
        _, found = make_gauges(body, None, Templates(stations=(), lengthwise=(0.0,)), ())
        assert [one.code for one in found] == ["gauge-large"] * told


def test_words_that_leave_no_room_are_refused(tmp_path: Path) -> None:
    """Templates inside whole layers, or gauges between bays; and the remedies do."""
    for words in ({"kind": "inside"}, {"kind": "gauges", "axis": "x", "between": True}, {"kind": "both"}):
        with pytest.raises(PlugError) as caught:
            worked(tmp_path, **words)
        assert caught.value.param == "templates.kind"
        assert caught.value.remedy
    assert worked(tmp_path, kind="gauges").templates
    inside = worked(tmp_path, kind="inside", axis="x", between=True).templates
    assert not any(template.is_gauge for template in inside)


def test_words_without_effect_are_told(tmp_path: Path) -> None:
    """A router's bit has nothing to cut in a gauge."""
    assert "gauge-words" not in {one.code for one in worked(tmp_path).findings}
    (told,) = [one for one in worked(tmp_path, bit=3.0).findings if one.code == "gauge-words"]
    assert "bit_diameter" in told.message


def test_drawings_and_summary_tell_gauges(tmp_path: Path) -> None:
    """Each part has its drawing with place, line, part, foot and centreline, and its row with the light."""
    work = worked(tmp_path)
    drawings = template_drawings(work)
    files = listed(f"{stem}.dxf" for stem in drawings)
    rows = templates(work, files)
    for row in rows:
        (file,) = row["files"]
        words = " | ".join(label.text for label in drawings[file.removesuffix(".dxf")].labels)
        edge = "y = 0 mm" if row["kind"] == "station gauge" else "x = 150 mm"
        told = ("foam line", f"{row['part']} half", f"its inner edge stands at {edge}")
        for wanted in (*told, "FOAM LINE", "ON THE BASEBOARD"):
            assert wanted in words
        assert ("CENTRELINE AT THIS EDGE" in words) == (row["kind"] == "station gauge")
        assert row["gap_mm"] < 0.01
        assert row["bevel_mm"] is None
    lines = [(line.name, line.from_mm, line.to_mm) for line in work.base.lines]
    assert lines.count(("S01", 150.0, 156.0)) == 1


def test_book_has_a_step_for_each_gauge(tmp_path: Path) -> None:
    """Every part is offered up, at its place, in the chapter of its line."""
    path = tmp_path / "posts.py"
    path.write_text(PLUG, encoding="utf-8")
    book = book_of(path, skin=2.0)
    sanding, fit = (
        book.page.split(f'<section id="{name}">')[1].split("<h2>", 2)[1] for name in ("sanding", "fit")
    )
    rows = book.summary["templates"]
    assert {row["line"] for row in rows} == {"foam", "finished"}
    for row, (line, chapter) in itertools.product(rows, (("foam", sanding), ("finished", fit))):
        assert (f"<strong>{row['name']}</strong> from " in chapter) == (row["line"] == line)


def test_a_gauge_is_held_to_its_two_faces_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """However many parts it has: the sections in the planes of its faces are taken for all of them."""
    taken: list[float] = []

    def counted(body: Banded, reaches: Sequence[Reach], faces: Sequence[Level]) -> Bands:
        taken.extend(at for at, _ in faces)
        return bands_of(body, reaches, faces)

    monkeypatch.setattr(gauges, "bands_of", counted)
    body = mesh.prism(shapely.MultiPolygon([shapely.box(-50.0, 0.0, 50.0, 40.0)]), 0.0, 100.0)
    made, _ = make_gauges(body, None, Templates(stations=(-20.0, 20.0)), ())
    assert len(made) == 4 and len(taken) == 4
