"""The shop pack: figures that lay a part out, pages bounded, words that do not touch, vertices read back."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import replace
from functools import cache

import numpy as np
import pypdf
import pytest
import shapely
from reportlab.pdfbase import pdfmetrics

import plugs.pack.pack
import plugs.pack.words
from plugs.drafting.drawing import Drawing, Label, Path, path_bounds, paths_box
from plugs.drafting.layout import layouts_of
from plugs.drafting.styles import without_figures
from plugs.drawings import edge_drawings, layer_drawings, sheet_drawings, template_drawings
from plugs.ground.paper import paper_of
from plugs.pack.pack import PackJob, pack_pages, pack_pdf, paged, parts_of
from plugs.pack.scaled import scaled_page
from plugs.pack.tables import LEAST, LETTER, continued, set_table
from plugs.paper.map import MapSheet
from plugs.paper.pages import PagePlan
from plugs.paper.pdf import CAPITAL_RATIO, POINT_PER_MM
from plugs.work import Work
from tests.demos import at_defaults, defaults_of, drawn
from tests.reference.pdf_walk import opened as read
from tests.reference.pdf_walk import strokes, texts

DEMOS = {"sidecar_tail": 34, "bonnet_scoop": 18}
"""How many pages of the pack a demo takes at most."""


@cache
def job_of(recipe: str) -> PackJob:
    """Return what the pack of a demo is made of, but for its laminate, which takes longest."""
    work = Work(replace(at_defaults(recipe).plug, schedule=None), shelf=defaults_of(recipe))
    drawings = drawn(work, layer_drawings, template_drawings, edge_drawings, sheet_drawings)
    return PackJob(summary=work.summary, drawings=drawings, paper=paper_of(work.plug.paper))


@cache
def sheets_of(recipe: str) -> tuple[list[MapSheet], PagePlan]:
    """Return the pages of a demo's pack, and its plan of base and pieces."""
    sheets, _, plan = pack_pages(job_of(recipe))
    return sheets, plan


@cache
def pdf_of(recipe: str) -> tuple[bytes, int]:
    """Return a demo's pack, and of how many pages it is; from then on its letters can be measured."""
    return pack_pdf(job_of(recipe))


def disc(radius: float) -> Drawing:
    """Return a circle about the origin with a square hole, as a layer is drawn."""
    rim = Path(
        points=[(-radius, 0.0), (radius, 0.0)], bulges=np.ones(2), is_closed=True, dxf_layer="SAW_LINE"
    )
    corners = [(-20.0, -10.0), (20.0, -10.0), (20.0, 10.0), (-20.0, 10.0)]
    hole = Path(points=corners, bulges=np.zeros(4), is_closed=True, dxf_layer="SAW_LINE")
    return Drawing(path="layers/layer-01", title="disc", paths=(rim, hole), labels=())


def test_half_breadths_are_those_of_the_circle() -> None:
    """At x the half-breadth is the root of r2 - x2 (closed form); a hole is left out; ends are narrow."""
    named = [("", 0.0), ("", 123.0), ("", 999.0)]
    (figures,) = layouts_of([disc(300.0).paths], named=named)
    places, ((_, spans),) = [x for _, x in figures.lines], figures.spans
    assert {0.0, 123.0} <= set(places) and max(places) == 300.0
    for x, row in zip(places, spans, strict=True):
        half = np.sqrt(300.0**2 - x**2)
        assert row[-1][1] == pytest.approx(half, abs=0.05 if abs(x) < 299.0 else 1.0)
        if abs(x) < 20.0:
            assert np.array(row) == pytest.approx(np.array([(-half, -10.0), (10.0, half)]), abs=0.05)
    (figures,) = layouts_of([disc(300.0).paths], along=1, named=[("", 5.0)])
    turned = np.array(figures.spans[0][1][[y for _, y in figures.lines].index(5.0)])
    assert turned == pytest.approx(np.array([(-299.96, -20.0), (20.0, 299.96)]), abs=0.05)


def test_a_page_says_the_figures_and_shows_the_part_to_scale() -> None:
    """The table has the half-breadth at a station; the drawing's points times its scale are the part's."""
    part = disc(300.0)
    (figures,) = layouts_of([part.paths], axes=("x", "y"), named=[("station 2", 180.0)])
    figures = replace(figures, points=(("P1-1", 100.0, -50.0),))
    page = scaled_page(replace(part, layout=figures), "Layer L01", (194.0, 267.0), "mm", path="p").drawing()
    words = [label.text for label in page.labels]
    assert "station 2" in words and "240" in words, "root of 300 x 300 - 180 x 180"
    (title,) = [text for text in words if text.startswith("Layer L01")]
    scale = float(title.rpartition(" ")[2])
    rim = next(path for path in page.paths if path.dxf_layer == "SAW_LINE")
    assert np.ptp(rim.points, axis=0)[0] * scale == pytest.approx(600.0, abs=1e-6)
    assert {"P1-1:", "x 100", "y -50"} <= set(words)
    assert words.count("600 mm") == 2, "both overall dimensions"


def test_vertices_read_back_from_the_pack_are_those_of_the_drawings() -> None:
    """Points of the saw line of each layer on its page, times the scale, within 0.05 mm of the drawing's."""
    job = job_of("bonnet_scoop")
    pdf, n_pages = pdf_of("bonnet_scoop")
    reader = read(pdf)
    assert len(pypdf.PdfReader(io.BytesIO(pdf)).pages) == n_pages
    walked = [(texts(page), [s.points for s in strokes(reader, page)]) for page in reader.pages]
    found = 0
    for name, part in ((name, part) for name, part in parts_of(job) if name.startswith("Layer ")):
        rims = [path for path in part.paths if path.dxf_layer == "SAW_LINE"]
        (page,) = [one for one in walked if any(text.startswith(f"{name},") for text, _ in one[0])]
        title = next(text for text, _ in page[0] if text.startswith(f"{name},"))
        scale = 1.0 if title.endswith("full size") else float(title.rpartition(" ")[2])
        for rim in (rim for rim in rims if not rim.bulges.any()):
            size = np.ptp(rim.points, axis=0)
            near = [p for p in page[1] if len(p) == len(rim.points) + 1
                    and np.abs(np.ptp(p, axis=0) * scale - size).max() < 0.05]  # fmt: skip
            assert near, name
            there = (near[0][:-1] - near[0][0]) * scale
            assert np.abs(there - (rim.points - rim.points[0])).max() < 0.05
            found += 1
        found += sum(bool(rim.bulges.any()) for rim in rims)
    assert found >= 11


@pytest.mark.parametrize("recipe", sorted(DEMOS))
def test_pages_are_few_and_words_touch_no_words(recipe: str) -> None:
    """Bounded; by the true widths of the letters no two words meet, all lie on it, of 7 points or more."""
    sheets, plan = sheets_of(recipe)
    assert 10 <= len(sheets) + len(plan.pages) <= DEMOS[recipe] <= 60
    pdf_of(recipe)
    for number, sheet in enumerate(sheets, start=1):
        labels = list(sheet.drawing.labels)
        boxes = [box_of(label) for label in labels]
        page = shapely.box(0.0, 0.0, *sheet.size)
        for label, box in zip(labels, boxes, strict=True):
            assert page.contains(box), (number, label.text)
            assert label.height / CAPITAL_RATIO * POINT_PER_MM >= 7.0, (number, label.text)
        tree = shapely.STRtree(boxes)
        for i, j in tree.query(boxes, predicate="intersects").T:
            if i < j:
                assert boxes[i].intersection(boxes[j]).area < 0.05, (number, labels[i].text, labels[j].text)


def box_of(label: Label) -> shapely.Geometry:
    """Return the box of a label's capitals by the widths of the face."""
    size = label.height / CAPITAL_RATIO
    width = pdfmetrics.stringWidth(label.text, "plugs-upright", size * POINT_PER_MM) / POINT_PER_MM
    x, y = label.at
    if label.align == "centre":
        return shapely.box(x - width / 2.0, y - label.height / 2.0, x + width / 2.0, y + label.height / 2.0)
    return shapely.box(x, y, x + width, y + label.height)


@pytest.mark.parametrize("recipe", sorted(DEMOS))
def test_the_square_to_measure_stands_once_and_over_nothing(recipe: str) -> None:
    """On the cover alone, of the size that its words say, with no line and no word but its own within."""
    sheets, plan = sheets_of(recipe)
    paths = [[path for path in sheet.drawing.paths if path.dxf_layer == "CHECK"] for sheet in sheets]
    assert [bool(own) for own in paths] == [True, *[False] * (len(sheets) - 1)]
    assert all(page.square is None for page in plan.pages)
    box = shapely.box(*paths_box(paths[0]))
    assert box.bounds[2] - box.bounds[0] == pytest.approx(100.0) == box.bounds[3] - box.bounds[1]
    cover = sheets[0].drawing
    lines = [path for path in cover.paths if path.dxf_layer not in ("CHECK", "LABELS")]
    assert lines and not any(shapely.box(*path_bounds(path)).intersects(box) for path in lines)
    pdf_of(recipe)
    within = [label.text for label in cover.labels if box_of(label).intersects(box)]
    assert len(within) == 1 and within[0].startswith("100 mm square")


def test_two_small_parts_share_a_page() -> None:
    """The three sheets of foam stand on two pages at most, which are taken up to their feet."""
    sheets, _ = sheets_of("sidecar_tail")
    said = [[label.text.partition(",")[0] for label in sheet.drawing.labels] for sheet in sheets]
    assert len([words for words in said if {"Sheet 1", "Sheet 2", "Sheet 3"} & set(words)]) == 2


def test_wide_tables_take_more_lines_and_lose_no_word() -> None:
    """Letters of 1.8 mm at least, columns within the room, every word there; short ones stay large."""
    long = "edge of the joint, 100 mm to the right of the centreline, where its z is 315.4 mm to 320 mm"
    rows = [["row", "what", "where", "foam"], ["1", "half-breadth", f"{long}; {long}", "12 to 34"]]
    told = set_table(rows, 120.0)
    assert LEAST <= told.height < LETTER
    assert told.starts[-1] + 0.9 * told.height * len("12 to 34") <= 120.0
    assert [[" ".join(lines) for lines in row] for row in told.rows] == rows
    assert all("315.4 mm" in line or "315.4" not in line for line in told.rows[1][2])
    assert set_table([["a", "b"], ["1", "2"]], 120.0).height == LETTER
    page = Drawing(
        path="p", title="p", paths=(),
        labels=tuple(Label(text=str(k), at=(0.0, -4.0 * k), height=2.0) for k in range(1, 200)),
    )  # fmt: skip
    pages = continued(page, "Part", 200.0)
    assert len(pages) == 5 and all(one.at[1] > -200.0 for some in pages for one in some.labels)
    words = [one.text for some in pages for one in some.labels if not one.text.startswith("Part")]
    assert words == [str(k) for k in range(1, 200)]


def test_hundreds_of_layers_have_no_page_each(monkeypatch: pytest.MonkeyPatch) -> None:
    """Over the number that has, none has, and the cover says so."""
    monkeypatch.setattr(plugs.pack.pack, "MOST", 10)
    sheets, _, _ = pack_pages(job_of("bonnet_scoop"))
    told = [label.text for label in sheets[0].drawing.labels]
    assert any(text.startswith("11 layers: too many") for text in told)
    words = [label.text for sheet in sheets for label in sheet.drawing.labels]
    assert not any(text.startswith("Layer L0") for text in words)


def test_what_the_pack_does_not_show_is_not_sent_to_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of more layers than have a page only those of the cover are; the pack is the same, page by page."""
    whole = job_of("bonnet_scoop")
    assert paged(whole.drawings) == whole.drawings
    monkeypatch.setattr(plugs.pack.pack, "MOST", 10)
    for module in (plugs.pack.pack, plugs.pack.words):
        monkeypatch.setattr(module, "CONTOURS", 4)
    kept = paged(whole.drawings)
    layers = [f"layers/layer-{k:02d}" for k in range(1, 12)]
    assert [stem for stem in kept if stem in layers] == layers[::3]
    assert [stem for stem in whole.drawings if stem not in layers] == [s for s in kept if s not in layers]
    assert pack_pdf(replace(whole, drawings=kept)) == pack_pdf(whole)


def test_no_word_of_a_drawing_is_dropped() -> None:
    """What the drawing of a layer says under its part, but for its bar and arrow, is on its page in full."""
    parts = list(parts_of(job_of("bonnet_scoop")))
    for title, part in parts:
        page = scaled_page(part, title, (194.0, 267.0), "mm", path="p").drawing()
        told = " ".join(label.text for label in page.labels)
        assert all(text in told for text in _notes(part)), title
    assert len(list(_notes(parts[0][1]))) > 3


def _notes(drawing: Drawing) -> Iterator[str]:
    """Yield the rows of words under a part after the plug's name, but for those at its bar and its arrow."""
    drawing = without_figures(drawing)
    foot = min(path_bounds(path)[1] for path in drawing.paths if path.dxf_layer != "LABELS")
    unsaid = ("100 mm", "4 in", "UP", "FORWARD", "FORWARD IS INTO THE PAGE")
    rows = [
        one.text for one in drawing.labels if one.align == "left" and one.at[1] < foot and one.height == 5.0
    ]
    yield from [text for text in rows if text not in unsaid][1:]
