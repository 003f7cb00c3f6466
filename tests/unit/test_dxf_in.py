"""Outlines from DXF: every kind of curve, blocks, units, and files that are none.

The files are written by the DXF library itself, so these tests hold our reading of it; shapes are circles,
ellipses and polylines whose points are known in closed form.
"""

from __future__ import annotations

import io
import math
from pathlib import Path

import ezdxf
import numpy as np
import pytest
from ezdxf.math import Matrix44
from ezdxf.units import conversion_factor

from plugs.ground.errors import PlugError
from plugs.measure.dxf_in import MM_PER_CODE
from plugs.measure.outlines import Outline, read_outline, read_outlines

CHORD = 0.005
"""Curves come as chords no farther off than this, mm."""


def saved(document, tmp_path: Path, name: str = "a.dxf") -> Path:
    """Save a drawing."""
    document.saveas(tmp_path / name)
    return tmp_path / name


def drawing(units: int = 4, version: str = "R2010"):
    """Return a new drawing and its model space."""
    document = ezdxf.new(version, units=units)
    return document, document.modelspace()


def chord_middles(outline: Outline) -> np.ndarray:
    """Return all points and the middles of the chords between them."""
    points = outline.points
    ring = np.vstack((points, points[:1])) if outline.is_closed else points
    return np.vstack((points, 0.5 * (ring[1:] + ring[:-1])))


def test_circle(tmp_path: Path) -> None:
    """All points of a circle lie on it, all chords within the tolerance."""
    document, space = drawing()
    space.add_circle((10, 20), 300)
    outline = read_outline(saved(document, tmp_path))
    assert outline.is_closed
    away = np.linalg.norm(chord_middles(outline) - (10, 20), axis=1) - 300.0
    assert away.max() < 1e-9
    assert away.min() > -1.001 * CHORD


@pytest.mark.parametrize(("first", "last"), [(0, 90), (270, 45), (200, 199)])
def test_arc(tmp_path: Path, first: float, last: float) -> None:
    """An arc keeps its radius and its ends."""
    document, space = drawing()
    space.add_arc((0, 0), 80, first, last)
    outline = read_outline(saved(document, tmp_path), join=0.0)
    away = np.linalg.norm(chord_middles(outline), axis=1) - 80.0
    assert np.abs(away).max() < 1.001 * CHORD
    for point, angle in ((outline.points[0], first), (outline.points[-1], last)):
        assert point == pytest.approx(
            (80 * math.cos(math.radians(angle)), 80 * math.sin(math.radians(angle))), abs=1e-9
        )


def test_arc_turned_over(tmp_path: Path) -> None:
    """An arc drawn on the back of the plane (extrusion -z) is mirrored in y's axis."""
    document, space = drawing()
    space.add_arc((50, 0), 80, 0, 90, dxfattribs={"extrusion": (0, 0, -1)})
    points = read_outline(saved(document, tmp_path)).points
    ends = {tuple(p) for p in points[[0, -1]].round(9)}
    assert ends == {(-130.0, 0.0), (-50.0, 80.0)}


def test_ellipse(tmp_path: Path) -> None:
    """A whole ellipse, turned: every point fulfils its equation."""
    document, space = drawing()
    space.add_ellipse((0, 0), major_axis=(160, 120), ratio=0.4)
    outline = read_outline(saved(document, tmp_path))
    assert outline.is_closed
    u = chord_middles(outline) @ np.array([[0.8, -0.6], [0.6, 0.8]])
    # distance from the ellipse to first order: the equation over its gradient
    value = (u[:, 0] / 200) ** 2 + (u[:, 1] / 80) ** 2 - 1.0
    slope = 2.0 * np.hypot(u[:, 0] / 200**2, u[:, 1] / 80**2)
    assert np.abs(value / slope).max() < 1.05 * CHORD


@pytest.mark.parametrize("bulge", [1.0, -1.0, 0.4142135623730951, -0.2])
@pytest.mark.parametrize("kind", ["LWPOLYLINE", "POLYLINE"])
def test_bulges_bow_to_their_side(tmp_path: Path, bulge: float, kind: str) -> None:
    """A bulge is the tangent of a quarter of its arc's angle, + to the right of its chord."""
    document, space = drawing()
    vertices = [(0, 0, bulge), (100, 0, 0), (100, 120, bulge), (0, 120, 0)]
    if kind == "LWPOLYLINE":
        space.add_lwpolyline(vertices, format="xyb", close=True)
    else:
        space.add_polyline2d(vertices, format="xyb", close=True)
    outline = read_outline(saved(document, tmp_path))
    assert outline.is_closed
    low, high = outline.points[:, 1].min(), outline.points[:, 1].max()
    rise = 50.0 * bulge
    assert low == pytest.approx(min(0.0, -rise), abs=CHORD)
    assert high == pytest.approx(max(120.0, 120.0 + rise), abs=CHORD)
    # a circular segment, negative where it bows inwards; the chords cost at most their height all along
    angle = 4.0 * math.atan(bulge)
    segment = 0.5 * (50.0 / math.sin(angle / 2.0)) ** 2 * (angle - math.sin(angle))
    x, y = outline.points.T
    area = 0.5 * (x * np.roll(y, -1) - y * np.roll(x, -1)).sum()
    assert area == pytest.approx(12_000.0 + 2.0 * segment, abs=320.0 * CHORD)


def test_circle_of_two_bulges(tmp_path: Path) -> None:
    """Two half circles make a circle."""
    document, space = drawing()
    space.add_lwpolyline([(-70, 0, 1), (70, 0, 1)], format="xyb", close=True)
    outline = read_outline(saved(document, tmp_path))
    assert outline.is_closed
    assert np.abs(np.linalg.norm(chord_middles(outline), axis=1) - 70.0).max() < 1.001 * CHORD


def test_blocks_are_exploded(tmp_path: Path) -> None:
    """A circle in a block, in a block, turned, moved and stretched, is the ellipse it looks like."""
    document, space = drawing()
    document.blocks.new("ROUND").add_circle((0, 0), 10)
    document.blocks.new("PAIR").add_blockref("ROUND", (5, 0), dxfattribs={"xscale": 3.0, "yscale": 2.0})
    space.add_blockref("PAIR", (100, 50), dxfattribs={"rotation": 90.0})
    outline = read_outline(saved(document, tmp_path))
    assert np.ptp(outline.points, axis=0) == pytest.approx((40.0, 60.0), abs=2 * CHORD)
    assert outline.points.mean(axis=0) == pytest.approx((100.0, 55.0), abs=0.1)


def test_block_in_itself_is_refused(tmp_path: Path) -> None:
    """A block that holds itself ends with an input error, not with a crash."""
    document, space = drawing()
    document.blocks.new("LOOP").add_blockref("LOOP", (5, 0))
    space.add_blockref("LOOP", (0, 0))
    with pytest.raises(PlugError):
        read_outline(saved(document, tmp_path))


def test_pieces_are_joined_and_gaps_told(tmp_path: Path) -> None:
    """Lines and arcs in any order make one outline; a gap of 0.254 mm is noted, what is no curve too."""
    document, space = drawing(units=1)
    space.add_line((0, 0), (10, 0))
    space.add_arc((10, 2), 2, -90, 0)
    space.add_line((12, 5), (12, 2))
    space.add_lwpolyline([(12, 5), (8, 9), (0, 9), (0, 0.01)])
    space.add_text("A")
    outline = read_outline(saved(document, tmp_path))
    assert outline.is_closed
    assert np.ptp(outline.points, axis=0) == pytest.approx((12 * 25.4, 9 * 25.4), abs=0.13)
    assert outline.notes == ("left out: 1 TEXT", "1 gaps joined, the widest 0.254 mm (join 0.5 mm)")


def test_two_loops_are_told_apart(tmp_path: Path) -> None:
    """Two outlines where one is asked for are listed by size; one DXF layer can be asked for."""
    document, space = drawing()
    space.add_circle((0, 0), 100, dxfattribs={"layer": "BODY"})
    space.add_circle((300, 0), 40, dxfattribs={"layer": "HOLE"})
    path = saved(document, tmp_path)
    with pytest.raises(PlugError) as caught:
        read_outline(path)
    assert "closed 200.0 x 200.0 mm" in str(caught.value.value)
    assert "closed 80.0 x 80.0 mm" in str(caught.value.value)
    assert np.ptp(read_outline(path, name="hole").points[:, 0]) == pytest.approx(80.0, abs=0.01)
    assert len(read_outlines(path)) == 2
    with pytest.raises(PlugError) as caught:
        read_outline(path, name="HOLES")
    assert caught.value.remedy.startswith("ask for one of: HOLE")


@pytest.mark.parametrize("code", [1, 2, 3, 4, 5, 6, 7, 10, 13, 14])
def test_unit_codes_agree_with_the_library(code: int) -> None:
    """The table of $INSUNITS agrees with the DXF library's own factors, to its eight digits."""
    assert MM_PER_CODE[code] == pytest.approx(conversion_factor(code, 4), rel=1e-8)


def test_survey_foot() -> None:
    """US survey units by 1 m = 39.37 in exactly (Mendenhall order, 1893): a foot is 2 millionths longer."""
    assert MM_PER_CODE[21] / MM_PER_CODE[2] - 1.0 == pytest.approx(2e-6, rel=1e-3)
    assert MM_PER_CODE[22] * 39.37 == pytest.approx(1000.0, rel=1e-15)
    assert MM_PER_CODE[23] == pytest.approx(3.0 * MM_PER_CODE[21], rel=1e-15)
    assert MM_PER_CODE[24] == pytest.approx(5280.0 * MM_PER_CODE[21], rel=1e-15)
    assert MM_PER_CODE[8] * 1e6 == pytest.approx(25.4, rel=1e-15)
    assert MM_PER_CODE[9] * 1e3 == pytest.approx(25.4, rel=1e-15)


@pytest.mark.parametrize(("code", "size"), [(1, 4.0), (2, 0.5), (4, 100.0), (5, 10.0), (6, 0.1), (14, 1.0)])
def test_units_are_honoured(tmp_path: Path, code: int, size: float) -> None:
    """A square of some units is read at its size in mm."""
    document, space = drawing(units=code)
    space.add_lwpolyline([(0, 0), (size, 0), (size, size), (0, size)], close=True)
    outline = read_outline(saved(document, tmp_path))
    assert np.ptp(outline.points, axis=0) == pytest.approx((size * MM_PER_CODE[code],) * 2)


@pytest.mark.parametrize("version", ["R12", "R2000", "R2018"])
def test_drawing_without_unit_needs_one(tmp_path: Path, version: str) -> None:
    """$INSUNITS 0 or absent is an error that says so; with a unit the same file is read."""
    document, space = drawing(units=0, version=version)
    space.add_line((0, 0), (4, 0))
    path = saved(document, tmp_path)
    with pytest.raises(PlugError) as caught:
        read_outline(path)
    assert caught.value.param == "unit"
    assert "$INSUNITS" in caught.value.reason
    assert read_outline(path, unit="in").points[1].tolist() == [101.6, 0.0]


def test_other_unit_than_asked(tmp_path: Path) -> None:
    """A drawing in inches that is said to be in mm is an error; the same unit said twice is none."""
    document, space = drawing(units=1)
    space.add_line((0, 0), (4, 0))
    path = saved(document, tmp_path)
    with pytest.raises(PlugError) as caught:
        read_outline(path, unit="mm")
    assert "25.4 mm" in caught.value.reason
    assert read_outline(path, unit="inch").points[1].tolist() == [101.6, 0.0]


def test_strange_unit_and_absurd_size(tmp_path: Path) -> None:
    """Light years are no unit of an outline, and 12 km no size of one."""
    document, space = drawing(units=19)
    space.add_line((0, 0), (4, 0))
    with pytest.raises(PlugError) as caught:
        read_outline(saved(document, tmp_path))
    assert caught.value.value == 19
    document, space = drawing(units=7)
    space.add_line((0, 0), (12, 0))
    with pytest.raises(PlugError) as caught:
        read_outline(saved(document, tmp_path))
    assert "12 x 0 km" in str(caught.value.value)


@pytest.mark.parametrize(("turn", "size"), [("x", (100.0, 60.0)), ("y", (60.0, 100.0))])
def test_section_drawn_upright(tmp_path: Path, turn: str, size: tuple[float, float]) -> None:
    """An outline in an upright plane is read in its own two axes."""
    document, space = drawing()
    line = space.add_polyline3d([(0, 0, 0), (100, 0, 0), (100, 60, 0)])
    rotation = Matrix44.x_rotate(math.pi / 2) if turn == "x" else Matrix44.y_rotate(math.pi / 2)
    line.transform(rotation)
    points = read_outline(saved(document, tmp_path)).points
    assert np.ptp(points, axis=0) == pytest.approx(size)


def test_solid_drawing_is_refused(tmp_path: Path) -> None:
    """A line through space is no outline."""
    document, space = drawing()
    space.add_polyline3d([(0, 0, 0), (100, 0, 0), (100, 60, 30)])
    with pytest.raises(PlugError) as caught:
        read_outline(saved(document, tmp_path))
    assert "not flat" in caught.value.reason


def test_nothing_to_read(tmp_path: Path) -> None:
    """A drawing of text alone says what was found."""
    document, space = drawing()
    space.add_text("A")
    with pytest.raises(PlugError) as caught:
        read_outline(saved(document, tmp_path))
    assert "1 TEXT" in caught.value.reason


def test_binary_drawing(tmp_path: Path) -> None:
    """The binary form is read as the text form is."""
    document, space = drawing()
    space.add_circle((0, 0), 50)
    document.saveas(tmp_path / "a.dxf", fmt="bin")
    assert read_outline(tmp_path / "a.dxf").is_closed


def test_damaged_drawing_is_mended_and_noted(tmp_path: Path) -> None:
    """A drawing cut off behind its curves is read as far as it goes, with a note."""
    document, space = drawing()
    space.add_circle((0, 0), 50)
    text = io.StringIO()
    document.write(text)
    whole = text.getvalue()
    (tmp_path / "a.dxf").write_text(whole[: whole.index("OBJECTS") + 2000], encoding="utf-8")
    outline = read_outline(tmp_path / "a.dxf")
    assert np.ptp(outline.points, axis=0) == pytest.approx((100, 100), abs=0.01)
    assert "mended" in outline.notes[0]


def test_no_number_is_guessed(tmp_path: Path) -> None:
    """A radius of 5o.0 is not read as 5: the drawing is refused."""
    document, space = drawing()
    space.add_circle((0, 0), 50)
    text = io.StringIO()
    document.write(text)
    (tmp_path / "a.dxf").write_text(text.getvalue().replace("50.0\n", "5o.0\n"), encoding="utf-8")
    with pytest.raises(PlugError) as caught:
        read_outline(tmp_path / "a.dxf")
    assert "damaged" in caught.value.reason


@pytest.mark.parametrize(
    "raw",
    [
        b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR",
        bytes(range(256)) * 40,
        b"AutoCAD Binary DXF\r\n\x1a\x00" + bytes(range(256)) * 4,
        b"AC1027\x00\x00\x00",
        b"hello",
        b"0\nSECTION\n",
        b"0\nSECTION\n2\nENTITIES\n0\nLINE\n10\nabc\n0\nENDSEC\n0\nEOF\n",
        b"0\nSECTION\n2\nENTITIES\n0\nCIRCLE\n40\n-1e400\n0\nENDSEC\n0\nEOF\n",
        b"0\nSECTION\n2\nENTITIES\n0\nLINE\n10\nnan\n20\n0\n11\n5\n21\n5\n0\nENDSEC\n0\nEOF\n",
    ],
    ids=["png", "bytes", "binary head only", "dwg", "text", "cut", "no number", "infinite", "nan"],
)
def test_garbage_is_an_input_error(tmp_path: Path, raw: bytes) -> None:
    """Whatever the bytes are, the answer is an input error."""
    (tmp_path / "a.dxf").write_bytes(raw)
    with pytest.raises(PlugError):
        read_outline(tmp_path / "a.dxf", unit="mm")


@pytest.mark.parametrize("seed", range(12))
def test_flipped_bytes_never_crash(tmp_path: Path, seed: int) -> None:
    """A drawing with some bytes changed is read, or refused as an input error."""
    document, space = drawing()
    space.add_lwpolyline([(0, 0, 0.3), (90, 0, 0), (90, 40, -0.2)], format="xyb", close=True)
    space.add_spline([(0, 0), (40, 30), (90, 0)])
    text = io.StringIO()
    document.write(text)
    raw = bytearray(text.getvalue().encode())
    rng = np.random.default_rng(seed)
    begin = raw.index(b"ENTITIES") if seed % 2 else 0
    for place in rng.integers(begin, len(raw), 12):
        raw[place] = rng.integers(32, 127)
    (tmp_path / "a.dxf").write_bytes(raw)
    try:
        outlines = read_outlines(tmp_path / "a.dxf", unit="mm")
    except PlugError as error:
        assert error.remedy
    else:
        assert all(np.isfinite(outline.points).all() for outline in outlines)
