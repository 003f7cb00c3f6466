"""The full-size PDF, read by somebody else's reader and put together by its marks.

Read by pypdf (BSD) through the walk in `pdf_walk.py`. Page sizes: ISO 216 for A4 and A3, 8.5 x 11 and
11 x 17 in for Letter and Tabloid (from memory). PrintScaling None in the viewer preferences: ISO 32000-1,
12.2, table 150 (from memory). 4 in = 101.6 mm exactly (1959 yard and pound agreement).

Tolerances: 0.05 mm for a vertex, far below a pencil's line; numbers are written to 1e-5 of 1/72 in and
transforms to 1e-6, so the true error is far smaller: 0.001 mm is asked of 1 m.
"""

from __future__ import annotations

import numpy as np
import pytest

from plugs.drafting.drawing import Drawing, Label, Path
from plugs.ground.paper import paper_of
from plugs.paper.pages import plan_pages
from plugs.paper.pdf import render_pdf
from tests.reference.pdf_walk import MM, full_size_pdf, opened, strokes, texts

ALLOWED = 0.05


def wavy(width, height, *, n=400, x=0.0, y=0.0, dxf_layer="SAW_LINE"):
    """Return a closed wavy outline of straight segments in a box."""
    t = np.linspace(0.0, 2.0 * np.pi, n, endpoint=False)
    r = 1.0 + 0.1 * np.sin(7.0 * t)
    points = np.column_stack((x + width / 2.2 * r * np.cos(t), y + height / 2.2 * r * np.sin(t)))
    return Path(points=points, bulges=np.zeros(n), is_closed=True, dxf_layer=dxf_layer)


def plate(width, height, radius, *, x=0.0, y=0.0):
    """Return a rectangle with round corners, of lines and arcs."""
    r, w, h = radius, width, height
    corners = [(r, 0), (w - r, 0), (w, r), (w, h - r), (w - r, h), (r, h), (0, h - r), (0, r)]
    return Path(
        points=np.array(corners, dtype=np.float64) + np.array((x, y)),
        bulges=[0.0, np.sqrt(2.0) - 1.0] * 4,
        is_closed=True,
        dxf_layer="FINISH_TOP_FACE",
    )


def drawn(*paths, name="part", labels=()):
    """Return a drawing."""
    return Drawing(path=name, title=name, paths=tuple(paths), labels=tuple(labels))


DRAWINGS = (
    drawn(wavy(1200.0, 700.0), plate(400.0, 300.0, 60.0, x=-200.0, y=-150.0), name="layer-01"),
    drawn(plate(1000.0, 90.0, 20.0, x=3000.0, y=5000.0), name="template"),
    drawn(wavy(90.0, 60.0), name="small-1", labels=[Label(text="S1", at=(0.0, 0.0), height=8.0)]),
    drawn(plate(70.0, 110.0, 10.0, x=-500.0), name="small-2"),
)
PAPERS = {"A4": (210.0, 297.0), "A3": (297.0, 420.0), "Letter": (215.9, 279.4), "Tabloid": (279.4, 431.8)}


@pytest.fixture(scope="module", params=[*PAPERS, 914.0])
def read(request):
    """Return the drawings on each kind of paper, read back."""
    reader = opened(full_size_pdf(DRAWINGS, paper=request.param, title="Everything"))
    return request.param, reader, [strokes(reader, page) for page in reader.pages]


def crosses_of(page, found):
    """Return the crosses of a page by name: two strokes of one middle, named by the text under it."""
    own = [s for s in found if not s.form and len(s.points) == 2]
    bars = [s for s in own if abs(np.ptp(s.points, axis=0).sum() - 7.0) < 0.01]
    flat = [s.points.mean(axis=0) for s in bars if np.ptp(s.points[:, 1]) < 1e-3]
    tall = [s.points.mean(axis=0) for s in bars if np.ptp(s.points[:, 0]) < 1e-3]
    middles = [a for a in flat if any(np.abs(a - b).max() < 1e-3 for b in tall)]
    named = {}
    for text, at in texts(page):
        if "+" in text:
            near = min(middles, key=lambda m: np.hypot(*(m - at)))
            assert np.hypot(*(near - at)) < 15.0
            assert text not in named
            named[text] = near
    assert len(named) == len(middles)
    return named


def put_together(reader, walked, form):
    """Return the place of each page of a drawing when crosses of one name are laid on each other."""
    pages = [k for k, found in enumerate(walked) if any(s.form == form for s in found)]
    marks = {k: crosses_of(reader.pages[k], walked[k]) for k in pages}
    moves, front = {pages[0]: np.zeros(2)}, [pages[0]]
    while front:
        here = front.pop()
        for there in pages:
            shared = sorted(set(marks[here]) & set(marks[there]))
            if there in moves or not shared:
                continue
            assert len(shared) >= 2
            moved = [moves[here] + marks[here][name] - marks[there][name] for name in shared]
            assert np.ptp(moved, axis=0).max() < 1e-3
            moves[there] = np.mean(moved, axis=0)
            front.append(there)
    assert set(moves) == set(pages)
    return moves


def forms_of(walked):
    """Return the names of the drawings' forms in the order of the drawings."""
    found = {s.form for strokes_of_page in walked for s in strokes_of_page if s.form}
    return sorted(found, key=lambda form: int(form.rpartition("drawing")[2]))


def test_every_vertex_lies_right_when_pages_are_put_together(read):
    """Vertices seen through the windows, laid out by the marks, are the drawing's within 0.05 mm."""
    _, reader, walked = read
    forms = forms_of(walked)
    assert len(forms) == len(DRAWINGS)
    for form, drawing in zip(forms, DRAWINGS, strict=True):
        moves = put_together(reader, walked, form)
        turns = {s.turn for k in moves for s in walked[k] if s.form == form}
        assert len(turns) == 1
        assert turns <= {0, 90}
        sites, seen = [], [np.zeros(len(path.points), dtype=bool) for path in drawing.paths]
        for k, move in moves.items():
            inside = [s for s in walked[k] if s.form == form]
            assert len(inside) == len(drawing.paths)
            for which, (stroke, path) in enumerate(zip(inside, drawing.paths, strict=True)):
                assert stroke.scale == pytest.approx(1.0, abs=1e-9)
                # curves put points between an arc's ends: keep those that the path names
                wanted = (
                    path.points if turns == {0} else np.column_stack((-path.points[:, 1], path.points[:, 0]))
                )
                x0, y0, x1, y1 = stroke.clip
                shift = stroke.points[0] - wanted[0]
                gap = np.abs((stroke.points - shift)[:, None] - wanted[None]).max(axis=2)
                nearest = gap.argmin(axis=0)
                assert gap.min(axis=0).max() < ALLOWED
                at = stroke.points[nearest]
                is_seen = ((at >= (x0, y0)) & (at <= (x1, y1))).all(axis=1)
                seen[which] |= is_seen
                sites.append((at + move - wanted)[is_seen])
        assert all(each.all() for each in seen)
        assert np.ptp(np.concatenate(sites), axis=0).max() < ALLOWED


def test_pages_have_the_size_of_the_paper(read):
    """Every box in points is the paper's size, upright or lying; a roll's width is its own."""
    name, reader, _ = read
    for page in reader.pages:
        width, height = float(page.mediabox.width) * MM, float(page.mediabox.height) * MM
        assert [float(v) for v in page.mediabox.lower_left] == [0.0, 0.0]
        assert page.get("/UserUnit", 1) == 1
        assert page.rotation == 0
        if name == 914.0:
            assert abs(width - 914.0) < 0.001
            assert height <= 5080.0
        else:
            assert np.abs(np.sort((width, height)) - PAPERS[name]).max() < 0.001


def test_printers_are_asked_not_to_scale(read):
    """The catalogue's viewer preferences say PrintScaling None."""
    _, reader, _ = read
    assert reader.trailer["/Root"]["/ViewerPreferences"]["/PrintScaling"] == "/None"


def test_bar_on_every_page_and_a_square_that_crosses_no_line(read):
    """A bar of 100.00 mm on each page, a closed square of 100.00 mm on one, unclipped, inside the page."""
    _, reader, walked = read
    count = 0
    for page, found in zip(reader.pages, walked, strict=True):
        size = np.array((float(page.mediabox.width), float(page.mediabox.height))) * MM
        own = [s for s in found if not s.form]
        squares = [
            s for s in own if len(s.points) == 5 and np.abs(np.ptp(s.points, axis=0) - 100.0).max() < 0.005
        ]
        bars = [s for s in own if np.abs(np.ptp(s.points, axis=0) - (100.0, 0.0)).max() < 0.005]
        assert len(bars) == 1
        assert len(squares) <= 1
        count += len(squares)
        for s in squares + bars:
            assert (s.points > 0.0).all()
            assert (s.points < size).all()
        assert min(s.width for s in found) >= 0.25 - 1e-4
    assert count == 1


def test_in_an_inch_plan_bar_and_square_are_of_four_inches():
    """101.60 mm both, and that is what the words say; no other length is told to measure."""
    plan = plan_pages([DRAWINGS[0]], paper_of("A4"), "in")
    reader = opened(render_pdf([DRAWINGS[0]], plan, title="t"))
    words = [text for page in reader.pages for text, _ in texts(page)]
    assert "4 in" in words and "4 in square to measure, not a part" in words and "100 mm" not in words
    sizes = [np.ptp(s.points, axis=0) for page in reader.pages for s in strokes(reader, page) if not s.form]
    for size in ((101.6, 0.0), (101.6, 101.6)):
        assert any(np.abs(one - size).max() < 0.005 for one in sizes)


def test_a_metre_is_a_metre():
    """A template of 1 m on a roll: its ends are 1000 mm apart within 0.1 mm, by curves' ends too."""
    reader = opened(full_size_pdf([DRAWINGS[1]], paper=914.0, title="t"))
    (page,) = reader.pages
    (outline,) = [s for s in strokes(reader, page) if s.form]
    assert np.ptp(outline.points, axis=0).max() == pytest.approx(1000.0, abs=0.001)


def test_arcs_are_true_circles():
    """Corners of radius 20, read back as cubics, lie within 0.01 mm of the circle."""
    reader = opened(full_size_pdf([DRAWINGS[1]], paper=914.0, title="t"))
    (outline,) = [s for s in strokes(reader, reader.pages[0]) if s.form]
    low = outline.points.min(axis=0)
    high = outline.points.max(axis=0)
    curves = [piece for piece in outline.pieces if len(piece) == 4]
    assert len(curves) >= 4
    t = np.linspace(0.0, 1.0, 33)[:, None]
    for a, b, c, d in curves:
        points = (1 - t) ** 3 * a + 3 * (1 - t) ** 2 * t * b + 3 * (1 - t) * t**2 * c + t**3 * d
        middle = np.clip(points, low + 20.0, high - 20.0)
        assert np.abs(np.hypot(*(points - middle).T) - 20.0).max() < 0.01


@pytest.mark.parametrize(("n_columns", "n_rows"), [(1, 1), (2, 1), (2, 2), (4, 3)])
def test_pages_are_as_few_as_can_be(n_columns, n_rows):
    """A rectangle that just fills tiles of upright A4: its rim's tiles, and a sheet of map before them."""
    size = [n * t - (n - 1) * 12.0 for n, t in zip((n_columns, n_rows), (194.0, 267.0), strict=True)]
    corners = [(0.0, 0.0), (size[0], 0.0), (size[0], size[1]), (0.0, size[1])]
    rim = Path(points=corners, bulges=np.zeros(4), is_closed=True, dxf_layer="SAW_LINE")
    reader = opened(full_size_pdf([drawn(rim)], paper="A4", title="t"))
    n_tiles = n_columns * n_rows - max(0, n_columns - 2) * max(0, n_rows - 2)
    assert len(reader.pages) == n_tiles + (n_tiles > 1)
    if (n_columns, n_rows) == (4, 3):
        words = " ".join(text for text, _ in texts(reader.pages[0]))
        assert "left out, nothing on them: B2, C2" in words


def test_map_names_every_page():
    """Every tile of every drawing is on the map with the number of the page that says so itself."""
    reader = opened(full_size_pdf(DRAWINGS, paper="A4", title="t"))
    maps = [page for page in reader.pages if any("page map" in text for text, _ in texts(page))]
    assert maps
    named = {text for page in maps for text, _ in texts(page)}
    n_tiles = 0
    for number, page in enumerate(reader.pages, start=1):
        (foot,) = [
            text for text, _ in texts(page) if text.startswith(f"Page {number} of {len(reader.pages)}")
        ]
        if ", tile " in foot:
            n_tiles += 1
            assert str(number) in named
            column, row = foot.rpartition(" ")[2][:1], foot.rpartition(" ")[2][1:]
            assert {column, row} <= named
    assert n_tiles >= 10
    shared = [text for text in named if text.startswith("page ") and "small-1, small-2" in text]
    assert shared
