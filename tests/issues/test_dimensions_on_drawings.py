"""Figures that lay a part out, on a layer of their own, by closed forms, the same in file and shop pack."""

from __future__ import annotations

import io

import ezdxf
import numpy as np
import pytest
import shapely

from plugs.drafting.builder import DrawingBuilder
from plugs.drafting.drawing import Drawing, Path
from plugs.drafting.laying import lay_out, layout_rows
from plugs.drafting.layout import layouts_of, pieces_layout
from plugs.drafting.styles import CUTS, DIMENSIONS, SAW_LINE, without_figures
from plugs.files.dxf import render_dxf
from plugs.files.svg import render_svg
from plugs.pack.scaled import scaled_page

SLOPE = shapely.Polygon([(0.0, -100.0), (400.0, -60.0), (400.0, 60.0), (0.0, 100.0)])


def part(**figures: object) -> Drawing:
    """Return a trapezium of 400 x 200, 120 broad at its end, with its figures."""
    builder = DrawingBuilder(path="layers/layer-01", title="Part")
    builder.outline(SLOPE, "SAW_LINE")
    lay_out(builder, axes=("x", "y"), **figures)
    builder.rows(["Part"])
    return builder.drawing()


def test_half_breadths_at_stations_are_those_of_the_trapezium() -> None:
    """At x the half-breadth is 100 - x / 10; both overall sizes and the pin's place are told."""
    drawing = part(named=[("station 2", 150.0)], points=[[("P1-1", 200.0, -50.0)]])
    words = [label.text for label in drawing.labels if label.dxf_layer == DIMENSIONS]
    assert {"400 mm", "200 mm", "station 2", "150", "85", "P1-1:", "x 200", "y -50"} <= set(words)
    assert drawing.layout is not None
    offsets = layout_rows(drawing.layout, "mm")[0][1:]
    for _, x, _, half in offsets:
        assert float(half) == pytest.approx(100.0 - float(x) / 10.0, abs=0.06)


def test_dimensions_are_on_their_own_layer_and_cut_nothing() -> None:
    """Without that layer and the legend's, lines and words are those of the part alone, in the DXF too."""
    drawing = part(named=[("station 2", 150.0)])
    (rim,) = [path for path in without_figures(drawing).paths if path.dxf_layer != "LABELS"]
    assert rim.dxf_layer == "SAW_LINE"
    space = ezdxf.read(io.StringIO(render_dxf(drawing))).modelspace()
    assert len([line for line in space.query("LWPOLYLINE") if line.dxf.layer in CUTS]) == 1
    assert len(list(space.query(f"*[layer=='{DIMENSIONS}']"))) > 20
    assert f'<g id="{DIMENSIONS}"' in render_svg(drawing)


def test_file_and_shop_pack_tell_the_same_figures() -> None:
    """Every figure of the full-size drawing is on the page of the pack."""
    drawing = part(named=[("station 2", 150.0)], points=[[("P1-1", 200.0, -50.0)]])
    page = scaled_page(drawing, "Layer L01", (194.0, 267.0), "mm", path="p").drawing()
    told = {label.text for label in page.labels}
    assert {label.text for label in drawing.labels if label.dxf_layer == DIMENSIONS} <= told


def test_a_line_across_a_wavy_edge_is_laid_where_it_bows_most() -> None:
    """More lines where a batten would miss the edge by more than 2 mm, none where it would not."""
    x = np.linspace(0.0, 400.0, 400)
    bowed = shapely.Polygon([*zip(x, 50.0 + 30.0 * np.sin(np.pi * x / 400.0), strict=True), (400, 0), (0, 0)])
    straight = DrawingBuilder(path="a", title="a")
    straight.outline(SLOPE, "SAW_LINE")
    wavy = DrawingBuilder(path="a", title="a")
    wavy.outline(bowed, "SAW_LINE")
    few, many = layouts_of([straight.lines, wavy.lines])
    assert len(few.lines) == 2
    places = [at for _, at in many.lines]
    assert len(places) > 4
    heights = 50.0 + 30.0 * np.sin(np.pi * np.array(places) / 400.0)
    assert np.abs(np.interp(x, places, heights) - (50.0 + 30.0 * np.sin(np.pi * x / 400.0))).max() < 2.1


def test_pieces_on_a_sheet_tell_offsets_and_gaps() -> None:
    """Two squares 12 mm apart, one 30 mm over the first: offsets from the edges, the nearest neighbour."""
    at = {"B": (112.0, 10.0), "A": (10.0, 20.0), "C": (10.0, 140.0)}
    pieces = [(name, shapely.box(x, y, x + 90.0, y + 90.0)) for name, (x, y) in at.items()]
    rows = layout_rows(pieces_layout((0.0, 0.0, 600.0, 400.0), pieces), "mm")[0]
    told = {row[1]: row[2:] for row in rows[1:]}
    assert [row[1] for row in rows[1:]] == ["A", "C", "B"], "from the left"
    assert told["A"] == ["10", "100", "20", "110", "12", "B"]
    assert told["C"][4:] == ["30", "A"]
    assert len(layout_rows(pieces_layout((0.0, 0.0, 600.0, 400.0), pieces[:1]), "mm")[0][0]) == 6


@pytest.mark.parametrize("more", [-1e-9, 0.0, 1e-9])
def test_of_two_mirrored_radii_the_upper_is_told_whatever_the_last_digit(more: float) -> None:
    """A half disc above and one below, the same but for rounding, which is another on another machine."""
    ring = np.array([[0.0, -40.0], [100.0, -40.0], [100.0, 40.0], [0.0, 40.0]])
    bulges = np.array([np.tan(np.pi / 8.0) + more, 0.0, np.tan(np.pi / 8.0), 0.0])
    half = Path(points=ring, bulges=bulges, is_closed=True, dxf_layer=SAW_LINE)
    ((_, _, y),) = layouts_of([[half]])[0].radii
    assert y > 0.0
