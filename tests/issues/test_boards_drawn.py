"""The boards that templates are cut from: every part once, inside its board, apart from others, drawn."""

from __future__ import annotations

from itertools import combinations
from typing import Any

import pytest
import shapely

from plugs.drafting.drawing import Drawing
from plugs.drafting.flat import flat_points
from plugs.drawings import sheet_drawings
from plugs.foam.layers import Stack
from plugs.recipe.plug import Plug
from plugs.stages.boards import lay_boards
from plugs.summary.foam import boards as board_figures
from plugs.templates.words import Templates
from plugs.work import Work, work_out
from tests.demos import at_defaults, drawn, listed
from tests.shapes import box_plan


def plug(length: float = 900.0, **words: object) -> Plug:
    """Return a box with templates, and no schedule."""
    plan = box_plan(length, 400.0, 200.0)
    given: dict[str, Any] = {"templates": Templates(stations=(100.0, 300.0, 600.0), lengthwise=(0.0,))}
    return Plug(
        name="Box",
        stations=plan.stations,
        panels=plan.panels,
        stack=Stack(thicknesses=(50.0,)),
        **(given | words),
    )


@pytest.fixture(scope="module", params=["bonnet_scoop", "sidecar_tail"])
def work(request: pytest.FixtureRequest) -> Work:
    """Return a demo with templates in its stack, and one with gauges."""
    return at_defaults(request.param)


def drawings(work: Work) -> list[Drawing]:
    """Return the drawings of its boards."""
    return [one for path, one in drawn(work, sheet_drawings).items() if path.startswith("templates/board-")]


def test_every_part_lies_once_inside_a_board_and_apart(work: Work) -> None:
    """Counted and measured by shapely: 3 mm of kerf and 5 of wood between cuts, 5 mm from the edge."""
    boards = work.boards
    assert boards is not None and boards.nesting is not None and not boards.outgrown
    placed = [placement for sheet in boards.nesting.sheets for placement in sheet.placements]
    parts = sum(len(template.region.geoms) for template in work.templates)
    assert len({placement.piece.name for placement in placed}) == len(placed) == parts
    area = sum(template.region.area for template in work.templates)
    assert sum(placement.outline.area for placement in placed) == pytest.approx(area)
    for sheet in boards.nesting.sheets:
        board = shapely.box(0.0, 0.0, boards.board.width, boards.board.height).buffer(-4.99)
        assert all(board.contains(placement.outline) for placement in sheet.placements)
        for one, other in combinations(sheet.placements, 2):
            assert one.outline.distance(other.outline) > 8.0 - 1e-3


def test_boards_are_drawn_counted_and_told(work: Work) -> None:
    """A drawing each, with the outlines where they lie, the parts' names, and one row of figures."""
    boards = work.boards
    assert boards is not None and boards.nesting is not None
    drawn = drawings(work)
    assert [one.path for one in drawn] == [f"templates/board-{i:02d}" for i in range(1, boards.count + 1)]
    for drawing, sheet in zip(drawn, boards.nesting.sheets, strict=True):
        rings = shapely.get_rings([placement.outline for placement in sheet.placements])
        cut = [shapely.linestrings(flat_points(p)) for p in drawing.paths if p.dxf_layer == "CUT_LINE"]
        assert len(cut) == len(rings)
        assert shapely.hausdorff_distance(shapely.union_all(cut), shapely.union_all(rings)) < 0.1
        texts = " | ".join(label.text for label in drawing.labels)
        assert all(placement.piece.name in texts for placement in sheet.placements)
    told = board_figures(work, listed(f"{one.path}.dxf" for one in drawn))
    assert told is not None
    assert told["count"] == boards.count == len(told["boards"])
    assert [row["files"] for row in told["boards"]] == [[f"{one.path}.dxf"] for one in drawn]
    shopping = work.shopping
    if shopping is not None:
        (bought,) = [one.need for one in shopping.purchases if one.need.name == boards.board.name]
        assert bought.amount == boards.count


def test_boards_without_a_schedule_and_none_without_templates() -> None:
    """A plug that lists no cloth has its boards as well; one without templates has none."""
    work = work_out(plug())
    assert work.layup is None
    assert work.boards is not None and work.boards.count == 1
    assert len(drawings(work)) == 1
    bare = work_out(plug(templates=None))
    assert bare.boards is None
    assert not drawings(bare)
    assert board_figures(bare, listed(())) is None


def test_a_part_larger_than_a_board_is_told_and_the_others_are_drawn() -> None:
    """Halves of a gauge over 2.8 m outgrow a board of 2.44 m: each counts one of its own."""
    work = work_out(plug(length=5600.0))
    boards = lay_boards(work.plug, work.templates)
    assert boards is not None and boards.nesting is not None
    assert boards.board.width < 2800.0
    assert boards.outgrown
    drawn = {p.piece.name for sheet in boards.nesting.sheets for p in sheet.placements}
    assert not drawn & set(boards.outgrown)
    assert boards.count == len(boards.outgrown) + len(boards.nesting.sheets)
