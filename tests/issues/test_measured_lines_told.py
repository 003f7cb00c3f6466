"""A measured part's book tells how its fair curves keep to the points; a line is faired along the length."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import plugs
from plugs.book.parts import measured
from plugs.book.scene import BookScene
from plugs.book.source import BookSource
from plugs.drawings import fairing_drawings
from plugs.files.written import FileList
from plugs.lines.checks import checked_loft
from plugs.lines.humps import hump_findings
from plugs.lines.section import Corner, LinesPlan, Station
from plugs.stages.shape import measured_lines
from plugs.summary.summary import Made, summarise
from plugs.work import Work, load


@cache
def tank() -> Work:
    """Return the work on the recipe with measured outlines."""
    return load(Path(__file__).parents[2] / "recipes" / "tank_cover.py")


@cache
def summary() -> dict[str, Any]:
    """Return what the summary says of its lines."""
    made = Made(files=FileList(), proof=None, stages=frozenset({"lines"}), findings=tank().found({"lines"}))
    return summarise(tank(), made)


def test_every_faired_curve_is_drawn_and_told() -> None:
    """Two curves at each of five stations: a drawing a station, a row a curve, residuals from the points."""
    lines, rows = measured_lines(tank().plug), summary()["measured"]
    assert list(fairing_drawings(tank())) == [f"fairing/station-{i}" for i in range(1, 6)]
    assert [row["name"] for row in rows] == ["flank", "top"] * 5
    for line, row in zip(lines, rows, strict=True):
        points = np.delete(line.curve.points, [left.index for left in line.curve.left_out], axis=0)
        dense = line.curve.at(np.linspace(0.0, 1.0, 2001))
        away = np.sqrt(((points[:, None] - dense[None]) ** 2).sum(axis=2)).min(axis=1)
        assert row["largest_mm"] == pytest.approx(away.max(), abs=0.01)
        assert row["points"] == len(line.curve.points)


def test_point_left_out_is_told_by_its_number_in_its_section() -> None:
    """The slip of the rule in the middle section, 5.2 mm off: in the row, in the finding, crossed in red."""
    assert [row["left_out"] for row in summary()["measured"] if row["left_out"]] == [[24]]
    drawings = fairing_drawings(tank())
    scene = BookScene(meshes=(), views=(), axis="z")
    source = BookSource(summary=summary(), drawings=drawings, scene=scene, pictures={})
    html = str(measured(source))
    assert "of 50 points, number 24 at" in html and "Least radius" in html
    assert html.count("<figure") == 5
    crossed = {p: sum(path.dxf_layer == "LEFT_OUT" for path in d.paths) for p, d in drawings.items()}
    assert crossed == {f"fairing/station-{i}": 2 * (i == 3) for i in range(1, 6)}
    assert str(measured(BookSource(summary={"measured": []}, drawings={}, scene=scene, pictures={}))) == ""


def test_measured_line_is_faired_between_pegs() -> None:
    """Through 180, 180, 184, 184 the batten dips and rises; moved by 2 mm at most, it runs straight."""
    x = np.linspace(0.0, 1200.0, 7)
    given = np.column_stack(([180.0, 180.0, 180.0, 180.0, 184.0, 184.0, 184.0], np.full(7, 90.0)))

    def humps(offsets: np.ndarray) -> list[str]:
        """Return the findings on a prism of which one line runs through the offsets."""
        stations = [
            Station(x=at, corners={"keel": Corner(0.0, 0.0), "rail": Corner(*row.tolist())})
            for at, row in zip(x.tolist(), offsets, strict=True)
        ]
        loft = checked_loft(LinesPlan(stations=stations, panels=("side", "deck"), bays="faired"))
        return [found.code for found in hump_findings(loft, ("keel", "rail"))]

    faired = plugs.fair_line(x, given, tolerance=2.0)
    assert np.abs(faired.offsets - given).max() <= 2.0 * (1.0 + 1e-9)
    assert np.abs(np.diff(faired.offsets, 2, axis=0)).max() < 0.01
    assert humps(given) != humps(faired.offsets) == []
