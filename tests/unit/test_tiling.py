"""Pages: the paper, the tiles of large drawings, shelves of small ones, marks that agree, nothing lost."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from plugs.drafting.drawing import Drawing, Label, Path, label_box, path_bounds
from plugs.drafting.flat import flat_points, turned_box, turned_points
from plugs.ground.errors import PlugError
from plugs.ground.paper import FOOTER, LONGEST_PAGE, SIZES, paper_of
from plugs.paper.map import map_sheets
from plugs.paper.pages import plan_pages
from plugs.paper.shelves import shelved
from plugs.paper.tiling import best_grid, sketch_of, tile_name
from plugs.paper.words import whole_words

A4 = paper_of("A4")
TALL = (194.0, 267.0)  # what an upright A4 page shows: 210 - 2 x 8, 297 - 2 x 8 - 14
SQUARE = 100.0
NAMES = ("A4", "Letter", "Tabloid", 610.0, (250.0, 400.0))


def lines(*rows, dxf_layer="SAW_LINE", is_closed=False):
    """Return straight paths through rows of points."""
    return tuple(
        Path(points=row, bulges=np.zeros(len(row)), is_closed=is_closed, dxf_layer=dxf_layer) for row in rows
    )


def box(width, height, x=0.0, y=0.0):
    """Return a rectangle."""
    corners = [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]
    return lines(corners, is_closed=True)


def drawn(*paths, name="part", labels=()):
    """Return a drawing."""
    return Drawing(path=name, title=name, paths=tuple(paths), labels=tuple(labels))


def grid_of(drawing, paper=A4):
    """Return the tiles of a drawing."""
    return best_grid(sketch_of(drawing), paper)


# ---- the paper


def test_paper_of_the_a_series_follows_its_law():
    """ISO 216: A0 is 1 m2, sides as 1 to the root of 2; each size is half the one before, in whole mm."""
    width, height = SIZES["A0"]
    assert abs(width - 1000.0 / 2.0**0.25) <= 0.5
    assert abs(height - 1000.0 * 2.0**0.25) <= 0.5
    for name in ("A1", "A2", "A3", "A4"):
        width, height = height // 2.0, width
        assert SIZES[name] == (width, height)


@pytest.mark.parametrize("word", ["a4", " A4", "A 4"])
def test_names_are_read_in_any_case(word):
    """A name is known with or without its space."""
    assert paper_of(word) == A4


def test_roll_has_one_page_size_and_a_sheet_two():
    """A number is a roll's width; a pair a sheet either way round."""
    assert paper_of(914).page_sizes == ((914.0, LONGEST_PAGE),)
    assert paper_of((300.0, 250.0)) == paper_of((250.0, 300.0))
    assert len(paper_of("A3").page_sizes) == 2


@pytest.mark.parametrize(
    "size", ["foolscap", (210.0,) * 3, -5.0, math.nan, True, (100.0, 300.0), 120.0, None]
)
def test_paper_that_cannot_be_is_refused(size):
    """Names, numbers and sizes without sense, and paper without room for the square and the bar."""
    with pytest.raises(PlugError) as caught:
        paper_of(size)
    assert caught.value.param == "paper"


def test_smallest_paper_of_the_remedy_is_taken():
    """The numbers in the remedy make paper that passes, and holds square, map and all."""
    with pytest.raises(PlugError) as caught:
        paper_of((100.0, 100.0))
    width, height = (float(word) for word in caught.value.remedy.split() if word.isdigit())
    paper = paper_of((width, height))
    plan = plan_pages([drawn(*box(900.0, 600.0))], paper)
    assert map_sheets(plan, [drawn(*box(900.0, 600.0))], title="t")
    with pytest.raises(PlugError):
        paper_of((width - 1.0, height))


@pytest.mark.parametrize("overlap", [0.0, 7.9, 60.0, math.nan])
def test_overlap_without_room_for_marks_is_refused(overlap):
    """The remedy's bounds are themselves good."""
    with pytest.raises(PlugError) as caught:
        paper_of("A4", overlap=overlap)
    for word in (word for word in caught.value.remedy.replace(",", "").split() if word.isdigit()):
        assert paper_of("A4", overlap=float(word))


@pytest.mark.parametrize("margin", [-1.0, 101.0, math.nan])
def test_margin_out_of_reason_is_refused(margin):
    """Below nothing, or more than a hand."""
    with pytest.raises(PlugError, match="paper_margin"):
        paper_of("A0", margin=margin)


# ---- tiles


@pytest.mark.parametrize("n_columns", [1, 2, 3, 5])
@pytest.mark.parametrize("n_rows", [1, 2, 4])
def test_rectangle_that_just_fits_takes_its_tiles_and_no_more(n_columns, n_rows):
    """N tiles show n times a tile less n - 1 overlaps; those in the middle, without lines, are left out."""
    extent = [n * t - (n - 1) * 12.0 for n, t in zip((n_columns, n_rows), TALL, strict=True)]
    grid = grid_of(drawn(*box(*extent, x=1234.5, y=-77.25)))
    middle = max(0, n_columns - 2) * max(0, n_rows - 2)
    assert len(grid.kept) <= n_columns * n_rows - middle
    assert len(grid.left_out) == grid.n_columns * grid.n_rows - len(grid.kept)
    if (n_columns, n_rows) == (5, 4):
        assert len(grid.left_out) == 6


def test_a_hair_more_takes_one_more_row():
    """One page for the tile itself, two for a tile and a hundredth of a millimetre."""
    assert len(grid_of(drawn(*box(*TALL))).kept) == 1
    assert len(grid_of(drawn(*box(TALL[0], TALL[1] + 0.01))).kept) == 2
    assert len(grid_of(drawn(*box(281.0, 180.0))).kept) == 1  # a lying page


def test_long_part_is_turned_where_that_takes_fewer_pages():
    """Upright pages side by side hold 258 mm across a long part, which lying ones do not."""
    grid = grid_of(drawn(*box(260.0, 1150.0)), paper_of((200.0, 400.0)))
    assert grid.turned or grid.page[0] > grid.page[1]
    assert len(grid.kept) == math.ceil((1150.0 - 12.0) / (184.0 - 12.0))


def test_notes_cost_no_pages():
    """Where the notes would take another page they go to the map; where they fit they stay."""
    note = [Label(text="a note under the part", at=(0.0, -20.0), height=5.0)]
    tight, loose = drawn(*box(*TALL), labels=note), drawn(*box(150.0, 200.0), labels=note)
    assert (len(grid_of(tight).kept), grid_of(tight).has_notes) == (1, False)
    assert (len(grid_of(loose).kept), grid_of(loose).has_notes) == (1, True)
    shown, untold = whole_words(tight, grid_of(tight), sketch_of(tight))
    assert (shown.labels, shown.paths, untold) == ((), tight.paths, ("a note under the part",))
    assert whole_words(loose, grid_of(loose), sketch_of(loose)) == (loose, ())
    texts = " ".join(
        label.text for label in map_sheets(plan_pages([tight], A4), [tight], title="t")[0].drawing.labels
    )
    assert "a note under the part" in texts


@pytest.mark.parametrize(
    ("size", "paper", "turned"), [((360.0, 500.0), "A4", False), ((260.0, 1150.0), (200.0, 400.0), True)]
)
def test_words_moved_off_a_joint_keep_off_lines_words_and_crosses(size, paper, turned):
    """All along the joints, with a line beside each: every text whole, over nothing that the pages show."""
    places = [
        (x, y) for x in np.arange(61.0, size[0] - 60.0, 125.0) for y in np.arange(27.0, size[1] - 9.0, 43.0)
    ]
    rows = [Label(text="THIS FACE UP", at=place, height=9.0, align="centre") for place in places]
    part = drawn(*box(*size), *lines([(0.0, 15.0), (size[0], size[1] - 15.0)]), labels=rows)
    plan = plan_pages([part], paper_of(paper))
    assert plan.grids[0].turned == turned
    shown = plan.shown[0]
    moved = [new for new, old in zip(shown.labels, rows, strict=True) if new != old]
    assert moved
    boxes = [shapely.box(*label_box(label)) for label in shown.labels]
    assert not any(one.intersects(two) for k, one in enumerate(boxes) for two in boxes[:k])
    drawn_lines = shapely.union_all([shapely.linestrings(flat_points(path)) for path in part.paths])
    for label in moved:
        own = label_box(label)
        assert not shapely.box(*own).intersects(drawn_lines)
        for page in plan.pages:
            dx, dy = page.spots[0].move
            x0, y0, x1, y1 = turned_box(own) if turned else own
            there = shapely.box(x0 + dx, y0 + dy, x1 + dx, y1 + dy)
            assert not any(there.intersects(shapely.box(*cross.box)) for cross in page.crosses)


def test_islands_are_joined_by_pages():
    """Two parts far apart keep the pages between them, so that the marks lead from one to the other."""
    grid = grid_of(drawn(*box(50.0, 50.0), *box(50.0, 50.0, x=1500.0, y=1500.0)))
    kept = set(grid.kept)
    front, seen = [grid.kept[0]], set()
    while front:
        c, r = front.pop()
        if (c, r) in kept - seen:
            seen.add((c, r))
            front += [(c - 1, r), (c + 1, r), (c, r - 1), (c, r + 1)]
    assert seen == kept
    assert grid.left_out


def test_roll_takes_one_page_as_long_as_the_part():
    """Length as the part, with margins and foot; two equal pages beyond the longest page."""
    grid = grid_of(drawn(*box(3000.0, 500.0)), paper_of(914.0))
    assert (grid.turned, len(grid.kept)) == (True, 1)
    assert grid.page == pytest.approx((914.0, 3000.0 + 2 * 8.0 + FOOTER))
    long = grid_of(drawn(*box(6000.0, 950.0)), paper_of(1000.0))
    assert len(long.kept) == 2
    assert long.page[1] == pytest.approx((6000.0 + 12.0) / 2.0 + 30.0)


def test_tiles_have_names_of_their_own():
    """A to Z, then AA; rows from 1."""
    assert [tile_name((c, 0)) for c in (0, 25, 26, 51, 52, 701, 702)] == [
        "A1", "Z1", "AA1", "AZ1", "BA1", "ZZ1", "AAA1",
    ]  # fmt: skip
    assert len({tile_name((c, r)) for c in range(60) for r in range(20)}) == 1200


def test_a_drawing_without_lines_is_refused():
    """Nothing to print is a fault of ours."""
    with pytest.raises(AssertionError, match="no lines"):
        sketch_of(drawn(labels=[Label(text="a", at=(0.0, 0.0), height=5.0)]))


# ---- shelves


@given(
    st.lists(st.tuples(st.floats(1.0, 190.0), st.floats(1.0, 266.0)), min_size=1, max_size=25), st.booleans()
)
def test_shelves_hold_everything_and_nothing_overlaps(sizes, is_one_shelf):
    """Boxes lie inside the room, at least the gap apart."""
    places = shelved(sizes, TALL, gap=6.0, is_one_shelf=is_one_shelf)
    boxes = [
        (p.page, shapely.box(p.x, p.y, p.x + w, p.y + h)) for p, (w, h) in zip(places, sizes, strict=True)
    ]
    for k, (page, one) in enumerate(boxes):
        assert one.bounds[0] >= 0.0 <= one.bounds[1]
        assert one.bounds[2] <= TALL[0] + 1e-6
        assert one.bounds[3] <= TALL[1] + 1e-6
        assert all(one.distance(two) >= 6.0 - 1e-6 for other, two in boxes[:k] if other == page)


def test_a_box_too_large_for_a_shelf_is_refused():
    """Told, not lost."""
    with pytest.raises(AssertionError, match="does not fit"):
        shelved([(200.0, 10.0)], TALL, gap=6.0)


def test_equal_boxes_fill_a_page():
    """Six of 60 by 130 go on a page that shows 194 by 267: three across, two down."""
    assert {p.page for p in shelved([(60.0, 130.0)] * 6, TALL, gap=6.0)} == {0}


def test_small_parts_share_a_page():
    """Eight squares of 80 mm, with their names: two across, three down make two pages of upright A4."""
    plan = plan_pages([drawn(*box(80.0, 80.0), name=f"s{k}") for k in range(8)], A4)
    assert len(plan.pages) == 2
    assert [page.cell for page in plan.pages] == [None, None]
    assert sorted(spot.caption for page in plan.pages for spot in page.spots) == [f"s{k}" for k in range(8)]
    assert map_sheets(plan, [drawn(*box(80.0, 80.0))] * 8, title="t") == ()


# ---- whatever the drawing: nothing lost, marks agree


@st.composite
def drawings(draw):
    """Return a few random drawings of lines and arcs, small and large, some with notes."""
    found = []
    for k in range(draw(st.integers(1, 4))):
        rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
        size = draw(st.sampled_from([40.0, 150.0, 600.0, 1500.0]))
        paths = []
        for _ in range(draw(st.integers(1, 3))):
            n = int(rng.integers(2, 8))
            points = rng.uniform(-size, size, (n, 2)) * rng.uniform(0.1, 1.0, 2) + rng.uniform(-size, size, 2)
            bulges = np.where(rng.random(n) < 0.5, rng.uniform(-1.2, 1.2, n), 0.0)
            paths.append(
                Path(points=points, bulges=bulges, is_closed=bool(rng.random() < 0.5), dxf_layer="SAW_LINE")
            )
        labels = [Label(text="note", at=(0.0, -size), height=5.0)] if draw(st.booleans()) else []
        found.append(drawn(*paths, name=f"d{k}", labels=labels))
    return found


@given(drawings(), st.sampled_from(NAMES))
def test_every_point_of_every_line_is_on_a_page(given_drawings, name):
    """A page's window shows each point of each path, inside what the page shows and inside the page."""
    plan = plan_pages(given_drawings, paper_of(name))
    for i, drawing in enumerate(given_drawings):
        points = np.concatenate([flat_points(path, tolerance=0.01) for path in drawing.paths])
        is_shown = np.zeros(len(points), dtype=bool)
        for page in plan.pages:
            for spot in (spot for spot in page.spots if spot.drawing == i):
                there = (turned_points(points) if spot.turned else points) + np.array(spot.move)
                x0, y0, x1, y1 = spot.clip
                assert x0 >= 0.0 <= y0
                assert x1 <= page.size[0]
                assert y1 <= page.size[1]
                is_shown |= ((there >= (x0, y0)) & (there <= (x1, y1))).all(axis=1)
        assert is_shown.all()


@given(drawings(), st.sampled_from(NAMES))
def test_overlaps_agree(given_drawings, name):
    """Neighbours share two marks or more; laid on the marks, both show the same place of the drawing."""
    plan = plan_pages(given_drawings, paper_of(name))
    for i in range(len(given_drawings)):
        pages = plan.pages_of(i)
        for (c, r), place in pages.items():
            page = plan.pages[place]
            here = {cross.name: cross.at for cross in page.crosses}
            for other in ((c + 1, r), (c, r + 1)):
                if other not in pages:
                    continue
                beside = plan.pages[pages[other]]
                there = {cross.name: cross.at for cross in beside.crosses}
                shared = sorted(set(here) & set(there))
                assert len(shared) >= 2
                assert all(f"{tile_name((c, r))}+{tile_name(other)}" in mark for mark in shared)
                for mark in shared:
                    one = np.array(here[mark]) - page.spots[0].move
                    two = np.array(there[mark]) - beside.spots[0].move
                    assert np.abs(one - two).max() < 1e-9
                    for at, its in ((here[mark], page), (there[mark], beside)):
                        x0, y0, x1, y1 = its.window
                        assert x0 <= at[0] <= x1
                        assert y0 <= at[1] <= y1


@given(drawings(), st.sampled_from(NAMES))
def test_pages_left_out_have_no_lines_and_the_square_is_over_none(given_drawings, name):
    """No line meets the cell of a tile left out; the square lies in the window; spots do not overlap.

    The square is there once, on a page where no line is in it, or on the page map.
    """
    plan = plan_pages(given_drawings, paper_of(name))
    for grid, drawing in zip(plan.grids, given_drawings, strict=True):
        rows = [flat_points(path, tolerance=0.05) for path in drawing.paths]
        geometry = shapely.multilinestrings(
            [shapely.linestrings(turned_points(row) if grid.turned else row) for row in rows]
        )
        for cell in grid.left_out:
            assert not geometry.intersects(shapely.box(*grid.cell_box(cell)))
    squares = [page.square for page in plan.pages if page.square is not None]
    assert len(squares) + bool(map_sheets(plan, given_drawings, title="t")) == 1
    for page in plan.pages:
        if page.square is not None:
            x, y = page.square
            x0, y0, x1, y1 = page.window
            assert x0 <= x
            assert y0 <= y
            assert x + SQUARE <= x1 + 1e-9
            assert y + SQUARE <= y1 + 1e-9
            ring = shapely.box(x, y, x + SQUARE, y + SQUARE)
            for spot in page.spots:
                for path in plan.shown[spot.drawing].paths:
                    row = flat_points(path, tolerance=0.05)
                    there = (turned_points(row) if spot.turned else row) + np.array(spot.move)
                    seen = shapely.intersection(shapely.linestrings(there), shapely.box(*spot.clip))
                    assert ring.distance(seen) > 1.0 or seen.is_empty
        clips = [shapely.box(*spot.clip) for spot in page.spots]
        assert all(not a.intersects(b) for k, a in enumerate(clips) for b in clips[:k])


# ---- arcs flattened


@given(st.floats(-3.0, 3.0).filter(lambda b: abs(b) > 1e-3), st.floats(1.0, 2000.0))
def test_flattened_arcs_stay_within_tolerance(bulge, chord):
    """Points lie on the circle of the bulge, chords no farther from it than asked; ends are kept."""
    path = Path(points=[[0.0, 0.0], [chord, 0.0]], bulges=[bulge, 0.0], is_closed=False, dxf_layer="A")
    points = flat_points(path, tolerance=0.05)
    radius = chord * (1.0 + bulge**2) / (4.0 * abs(bulge))
    centre = np.array((chord / 2.0, chord * (1.0 - bulge**2) / (4.0 * bulge)))
    assert np.abs(np.hypot(*(points - centre).T) - radius).max() < 1e-9 * (1.0 + radius)
    middles = (points[1:] + points[:-1]) / 2.0
    assert (radius - np.hypot(*(middles - centre).T)).max() < 0.05 + 1e-9 * radius
    assert points[0].tolist() == [0.0, 0.0]
    assert points[-1].tolist() == [chord, 0.0]
    assert np.allclose(path_bounds(path)[:2], points.min(axis=0), atol=0.06)


def test_a_quarter_turn_goes_counter_clockwise():
    """East goes to north, for points and for boxes."""
    assert turned_points(np.array([[1.0, 0.0]])).tolist() == [[0.0, 1.0]]
    assert turned_box((1.0, 2.0, 5.0, 9.0)) == (-9.0, 1.0, -2.0, 5.0)
