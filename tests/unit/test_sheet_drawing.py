"""Sheets as drawings and tables: outlines where they are cut, names on the pieces, figures that add up."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely.affinity import rotate, translate

from plugs.drafting.drawing import Drawing, label_box
from plugs.drafting.layer import FINISH_BOTTOM_FACE, FINISH_TOP_FACE, SAW_LINE
from plugs.drafting.layout import pieces_layout
from plugs.drafting.sheet import LEFTOVER, SHEET_EDGE, sheet_builders
from plugs.drafting.styles import without_figures
from plugs.files.svg import render_svg
from plugs.files.written import FileList
from plugs.foam.stock import Blank, Cutting, Drilled, Stock
from plugs.nesting.nesting import Nesting, nest
from plugs.recipe.words import whole_stock
from plugs.summary.foam import LAIN, LEFT, lain, left_of, sheet_figures, stock_figures
from plugs.tables.rows import csv_text
from tests.blanks import blanks_of, garments

WHOLE = Stock(width=1250.0, height=900.0, thickness=50.0, name="board", price=12.5)


@pytest.fixture(scope="module")
def nesting() -> Nesting:
    """Return some blanks with final outlines on two sheets, one of them an offcut."""
    blanks = [
        replace(
            blank,
            outline=blank.outline.buffer(4.0),
            lower=shapely.MultiPolygon([blank.outline]),
            upper=shapely.MultiPolygon(list(shapely.get_parts(blank.outline.buffer(-5.0)))),
            axis="x",
        )
        for blank in blanks_of(garments(3, 9))
    ]
    offcut = Stock(outline=shapely.Polygon([(0, 0), (600, 0), (600, 300), (0, 500)]), thickness=50.0, count=1)
    return nest(blanks, whole_stock([WHOLE, offcut]), Cutting())


def drawings_of(nesting: Nesting, unit: str = "mm") -> list[Drawing]:
    """Return the drawings of sheets."""
    return [one.drawing() for one in sheet_builders(nesting, plug_name="Tail", display_unit=unit)]


def test_every_line_is_drawn_where_it_is_cut(nesting: Nesting) -> None:
    """Cut lines and final lines are those of the blanks, turned and moved by shapely itself."""
    for sheet, drawing in zip(nesting.sheets, drawings_of(nesting), strict=True):
        for dxf_layer, part in (
            (SAW_LINE, "outline"),
            (FINISH_BOTTOM_FACE, "lower"),
            (FINISH_TOP_FACE, "upper"),
        ):
            drawn = [p for p in drawing.paths if p.dxf_layer == dxf_layer]
            shapes = [
                translate(rotate(getattr(p.piece, part), p.turn_deg, origin=(0, 0)), p.dx, p.dy)
                for p in sheet.placements
            ]
            rings = shapely.get_rings(shapely.get_parts(np.array(shapes, dtype=object)))
            assert len(drawn) == len(rings)
            lines = shapely.union_all(rings)
            for path in drawn:
                assert max(lines.distance(shapely.Point(*point)) for point in path.points) < 1e-6


def test_every_piece_is_named_faced_and_pointed(nesting: Nesting) -> None:
    """Each piece, of a stack along x, holds its name, its face and an arrow up that is turned with it."""
    for sheet, drawing in zip(nesting.sheets, map(without_figures, drawings_of(nesting)), strict=True):
        heads = [p.points for p in drawing.paths if p.dxf_layer == "LABELS" and len(p.points) == 3]
        for placement in sheet.placements:
            outline = placement.outline
            (name,) = [label for label in drawing.labels if label.text == placement.piece.name]
            assert outline.contains(shapely.box(*label_box(name)))
            sides = [
                label
                for label in drawing.labels
                if label.text == "THIS FACE TO THE REAR" and outline.contains(shapely.Point(*label.at))
            ]
            assert sides
            mine = [head for head in heads if outline.contains(shapely.Point(*head[1]))]
            (head,) = mine
            along = head[1] - (head[0] + head[2]) / 2.0
            turn = np.degrees(np.arctan2(along[1], along[0])) - 90.0 - placement.turn_deg
            assert (turn + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=1e-6)


def test_words_keep_off_pins_and_cut_lines() -> None:
    """A pin in the middle of a piece has no name over it, and one at its right edge is named to the left."""
    holes = [("A", (100.0, 60.0)), ("B", (188.0, 60.0))]
    drilled = tuple(Drilled(name=name, at=at, diameter=6.0, face="lower", depth=16.0) for name, at in holes)
    blank = replace(blanks_of([shapely.box(0.0, 0.0, 200.0, 120.0)])[0], drilled=drilled)
    made = nest([blank], [WHOLE], Cutting())
    (placement,) = made.sheets[0].placements
    drawing = without_figures(drawings_of(made)[0])
    words = {label.text: shapely.box(*label_box(label)) for label in drawing.labels}
    marks = [placement.moved(shapely.Point(at)).buffer(3.0) for _, at in holes]
    for text in (blank.name, "A", "B"):
        assert not any(words[text].intersects(mark) for mark in marks)
        assert placement.outline.contains(words[text])
    assert not words[blank.name].intersects(words["A"])


def test_title_tells_sheet_thickness_and_kerf(nesting: Nesting) -> None:
    """The title holds number, size, thickness, kerf and yield, in the display unit."""
    sheet = next(s for s in nesting.sheets if s.stock.name == "board")
    words = "\n".join(label.text for label in drawings_of(nesting)[sheet.number - 1].labels)
    for part in ("Tail", f"Sheet {sheet.number} of 2", "1250 mm x 900 mm", "50 mm thick", "kerf of 2 mm"):
        assert part in words
    assert f"{100 * sheet.yield_ratio:.1f} %" in words
    inches = drawings_of(nesting, "in")[sheet.number - 1]
    assert "1250 mm (49.213 in) x 900 mm (35.433 in)" in "\n".join(label.text for label in inches.labels)
    assert "4 in" in {label.text for label in inches.labels}


def test_sheet_and_leftovers_are_drawn(nesting: Nesting) -> None:
    """The sheet's own outline and a box to each leftover, lettered with its size."""
    for sheet, drawing in zip(nesting.sheets, drawings_of(nesting), strict=True):
        (edge,) = [p for p in drawing.paths if p.dxf_layer == SHEET_EDGE]
        assert np.ptp(edge.points, axis=0).tolist() == [sheet.stock.width, sheet.stock.height]
        boxes = [p for p in drawing.paths if p.dxf_layer == LEFTOVER]
        assert len(boxes) == len(sheet.leftovers)
        for left in sheet.leftovers:
            assert f"{left.width:.1f}".removesuffix(".0") in " ".join(label.text for label in drawing.labels)
        assert render_svg(drawing).startswith("<?xml")
        assert drawing.name == f"sheet-{sheet.number:02d}"


def test_too_small_pieces_are_listed_under_the_sheet() -> None:
    """A piece without room for its name is told with its place; one without room for an arrow too."""
    tiny = Blank(name="L01-Z", layer="L01", outline=shapely.box(0, 0, 12, 12), thickness=50.0)
    low = Blank(name="B", layer="L01", outline=shapely.box(0, 0, 10, 10), thickness=50.0)
    nesting = nest([tiny, low], [WHOLE], Cutting())
    words = [label.text for label in drawings_of(nesting)[0].labels]
    assert any(text.startswith("Too small for their names: L01-Z (") for text in words)
    assert any("arrow" in text and "B at " in text for text in words)


def test_cut_list_has_every_piece(nesting: Nesting) -> None:
    """A row to a piece, whose numbers put the outline where it lies."""
    rows = list(csv.DictReader(io.StringIO(csv_text(LAIN.rows(lain(nesting.sheets))))))
    placed = {p.piece.name: (s, p) for s in nesting.sheets for p in s.placements}
    assert list(rows[0]) == LAIN.heads
    assert sorted(row["piece"] for row in rows) == sorted(placed)
    for row in rows:
        sheet, p = placed[row["piece"]]
        assert int(row["sheet"]) == sheet.number
        turn, dx, dy = float(row["turn_deg"]), float(row["dx_mm"]), float(row["dy_mm"])
        left, bottom, right, top = translate(rotate(p.piece.outline, turn, origin=(0, 0)), dx, dy).bounds
        box = [float(row[name]) for name in ("x_mm", "y_mm", "width_mm", "height_mm")]
        assert box == pytest.approx([left, bottom, right - left, top - bottom], abs=2e-4)
        assert float(row["area_m2"]) == pytest.approx(p.piece.outline.area * 1e-6, abs=1e-6)


def test_leftovers_are_listed(nesting: Nesting) -> None:
    """A row to a rectangle."""
    rows = list(csv.DictReader(io.StringIO(csv_text(LEFT.rows(left_of(nesting.sheets))))))
    assert len(rows) == sum(len(sheet.leftovers) for sheet in nesting.sheets) > 0
    assert all(min(float(row["width_mm"]), float(row["height_mm"])) >= 200.0 for row in rows)


def test_figures_add_up(nesting: Nesting) -> None:
    """Areas, counts and prices of the summary are those of the sheets."""
    sheets, kinds = sheet_figures(nesting, FileList(), "sheets/sheet"), stock_figures(nesting)
    area = sum(p.piece.outline.area for s in nesting.sheets for p in s.placements) * 1e-6
    assert sum(sheet["used_m2"] for sheet in sheets) == pytest.approx(area)
    assert sum(kind["count"] for kind in kinds) == len(nesting.sheets) == len(sheets)
    prices = {kind["stock"]: kind["price"] for kind in kinds}
    assert prices == {"board": 12.5, "offcut 600 x 500": None}
    names = [piece["name"] for sheet in sheets for piece in sheet["pieces"]]
    assert len(names) == len(set(names)) == 9


def test_gaps_are_the_least_of_all_pairs() -> None:
    """Of thirty rings and bars by chance, each in its own cell, and of one alone, which has no gap."""
    rng, shapes = np.random.default_rng(0), []
    for k in range(30):
        x, y = 40.0 * (k % 6), 40.0 * (k // 6)
        ring = shapely.Point(x, y).buffer(rng.uniform(5.0, 15.0))
        bar = shapely.box(x - 18.0, y - rng.uniform(1.0, 4.0), x + 18.0, y + 3.0)
        shapes.append((f"P{k}", ring if k % 2 else bar))
    told = {one.name: one for one in pieces_layout((0.0, 0.0, 300.0, 300.0), shapes).pieces}
    for name, shape in shapes:
        gap, beside = min((shape.distance(other), key) for key, other in shapes if key != name)
        assert (told[name].gap, told[name].beside) == (pytest.approx(gap), beside)
    (alone,) = pieces_layout((0.0, 0.0, 300.0, 300.0), shapes[:1]).pieces
    assert (alone.gap, alone.beside) == (None, "")
