"""Drawings made by other libraries, read here; paths read by another library, compared with ours.

Writers: ezdxf (MIT) for DXF, matplotlib (PSF-like) and svgwrite (MIT) for SVG. Reader: svg.path (MIT), which
shares no code with ours. Shapes have closed forms; tolerances are the 0.005 mm of our chords and the digits
that the writers print, stated in each test.
"""

from __future__ import annotations

import math

import ezdxf
import numpy as np
import pytest
import svg.path
import svgwrite
from ezdxf.math import BSpline
from scipy.spatial import cKDTree

from plugs.measure.outlines import read_outline, read_outlines
from plugs.measure.svg_path import path_runs

CHORD = 0.005
PATHS = {
    "lines": "M10 10 20 10l5,5H30h-2V20v3l-4 4z",
    "cubics": "m5 5 c 1 2 3 4 5 6 10 -3 -4 5 3 3 s 3 4 9 9 9 -9 3 1 C 3 4 60 9 40 0 S 20 -30 1 1",
    "quadratics": "M0 0 q 3 3 9 -1 t 4 4 3 9 Q 50 3 40 40 T 1 9 z l 3 3 q 1 1 9 9",
    "arcs": "M 100 100 A 50 30 20 0 0 130 160 A 50 30 20 1 0 100 100 a 25 60 -30 0 1 40 -20 a 3 3 0 1 1 40 0",
    "packed": "M10-5.5L3-.5a2 1 0 01.5.5a25 25-30 1150-25zm3-1e1l.5.5-.5.5",
}


@pytest.mark.parametrize("name", PATHS)
def test_paths_against_another_reader(name: str) -> None:
    """Both readers see the same curve: no point of either is farther off than our chords."""
    ours = np.concatenate([run for run, _ in path_runs(PATHS[name], CHORD, "p")])
    parts = [part for part in svg.path.parse_path(PATHS[name]) if not isinstance(part, svg.path.Move)]
    t = np.linspace(0.0, 1.0, 4001)
    theirs = np.array([part.point(s) for part in parts for s in t])
    tree = cKDTree(np.column_stack((theirs.real, theirs.imag)))
    longest = max(abs(part.point(t[k + 1]) - part.point(t[k])) for part in parts for k in range(0, 4000, 400))
    # dense samples of theirs: half of one of their steps along the curve
    assert tree.query(np.column_stack((ours.real, ours.imag)))[0].max() < longest
    ends = {complex(round(p.real, 9), round(p.imag, 9)) for p in ours.tolist()}
    for part in parts:
        end = part.end if not isinstance(part, svg.path.Close) else part.start
        assert complex(round(end.real, 9), round(end.imag, 9)) in ends


@pytest.mark.parametrize("units", [1, 4, 6])
def test_dxf_arcs_both_ways(tmp_path, units) -> None:
    """A stadium of lines and arcs by ezdxf, its arcs once as ARC and once as bulges of either sign."""
    scale = {1: 25.4, 4: 1.0, 6: 1000.0}[units]
    length, radius = 300.0 / scale, 40.0 / scale
    for way in ("arcs", "bulges", "turned"):
        document = ezdxf.new("R2010", units=units)
        space = document.modelspace()
        if way == "arcs":
            space.add_line((0, -radius), (length, -radius))
            space.add_arc((length, 0), radius, -90, 90)
            space.add_line((0, radius), (length, radius))
            space.add_arc((0, 0), radius, 90, 270)
        else:
            ring = [(0, -radius, 0), (length, -radius, 1), (length, radius, 0), (0, radius, 1)]
            if way == "turned":
                ring = [(0, -radius, -1), (0, radius, 0), (length, radius, -1), (length, -radius, 0)]
            space.add_lwpolyline(ring, format="xyb", close=True)
        document.saveas(tmp_path / "a.dxf")
        outline = read_outline(tmp_path / "a.dxf")
        assert outline.is_closed
        x, y = outline.points.T
        area = abs(0.5 * (x * np.roll(y, -1) - y * np.roll(x, -1)).sum())
        # closed form; chords lose two thirds of their height along both half circles at most
        assert area == pytest.approx(300.0 * 80.0 + math.pi * 1600.0, abs=2.0 * math.pi * 40.0 * CHORD)
        assert area < 300.0 * 80.0 + math.pi * 1600.0


def test_dxf_spline_against_the_librarys_own_evaluation(tmp_path) -> None:
    """A cubic spline of seven poles: points on the curve as ezdxf evaluates it, chords within 0.005 mm."""
    poles = [(0, 0), (50, 120), (150, 160), (220, 40), (300, 10), (380, 90), (420, 60)]
    document = ezdxf.new("R2010", units=4)
    document.modelspace().add_open_spline(poles, degree=3)
    document.saveas(tmp_path / "a.dxf")
    points = read_outline(tmp_path / "a.dxf").points
    curve = BSpline(poles, order=4)
    dense = np.array([(p.x, p.y) for p in curve.points(np.linspace(0.0, curve.max_t, 100_001))])
    middles = np.vstack((points, 0.5 * (points[1:] + points[:-1])))
    # the dense points are 0.006 mm apart
    assert cKDTree(dense).query(middles)[0].max() < CHORD + 0.003


def test_matplotlib_figure_in_real_units(tmp_path) -> None:
    """A figure of 200 by 100 mm: its line, found by its id, is where the axes put it, to its digits."""
    import matplotlib as mpl  # here, since it is long to load
    from matplotlib.figure import Figure

    t = np.linspace(0.0, 2.0 * np.pi, 200, endpoint=False)
    shape = np.column_stack((100.0 + 60.0 * np.cos(t), 50.0 + 30.0 * np.sin(t)))
    with mpl.rc_context({"path.simplify": False, "svg.hashsalt": "plugs"}):
        figure = Figure(figsize=(200.0 / 25.4, 100.0 / 25.4))
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set_xlim(0.0, 200.0)
        axes.set_ylim(0.0, 100.0)
        axes.fill(*shape.T, gid="outline")
        figure.savefig(tmp_path / "a.svg", metadata={"Date": None})
    outline = read_outline(tmp_path / "a.svg", name="outline")
    assert outline.is_closed
    # six digits after the point of a unit of 1/72 in
    assert outline.points == pytest.approx(shape, abs=2e-6)


@pytest.mark.parametrize(("unit", "scale"), [("mm", 1.0), ("in", 25.4), ("cm", 10.0)])
def test_svgwrite_nested_transforms(tmp_path, unit, scale) -> None:
    """Groups turned, moved, skewed and stretched around a circle, by another writer; matrices here."""
    picture = svgwrite.Drawing(str(tmp_path / "a.svg"), size=(f"20{unit}", f"10{unit}"), viewBox="0 0 20 10")
    outer = picture.g(transform="translate(9,4) rotate(30)")
    inner = picture.g(transform="skewX(20) scale(1.5,0.5)")
    inner.add(picture.circle((1, 2), 3))
    outer.add(inner)
    picture.add(outer)
    picture.save()
    points = read_outline(tmp_path / "a.svg").points / scale
    page = np.column_stack((points[:, 0], 10.0 - points[:, 1])) - (9.0, 4.0)
    c, s = math.cos(math.radians(30.0)), math.sin(math.radians(30.0))
    turned = page @ np.array([[c, -s], [s, c]])
    skewed = np.column_stack((turned[:, 0] - math.tan(math.radians(20.0)) * turned[:, 1], turned[:, 1]))
    assert np.linalg.norm(skewed / (1.5, 0.5) - (1.0, 2.0), axis=1) == pytest.approx(3.0, abs=1e-9)
    middles = 0.5 * (points + np.roll(points, -1, axis=0)) * scale
    dense = np.linspace(0.0, 2.0 * np.pi, 400_001)
    x, y = 1.5 * (1.0 + 3.0 * np.cos(dense)), 0.5 * (2.0 + 3.0 * np.sin(dense))
    x = x + math.tan(math.radians(20.0)) * y
    image = scale * np.column_stack((9.0 + c * x - s * y, 10.0 - (4.0 + s * x + c * y)))
    assert cKDTree(image).query(middles)[0].max() < CHORD + 1e-3


def test_svgwrite_shapes(tmp_path) -> None:
    """Each basic shape of another writer has the extent that it was given."""
    picture = svgwrite.Drawing(str(tmp_path / "a.svg"), size=("300mm", "200mm"), viewBox="0 0 300 200")
    picture.add(picture.rect((10, 20), (80, 50), rx=5, ry=8, id="rect"))
    picture.add(picture.ellipse((150, 100), (60, 25), id="ellipse"))
    picture.add(picture.polygon([(200, 10), (290, 20), (250, 90)], id="polygon"))
    picture.add(picture.path("M10,150 A40,30 0 1,1 90,150 Z", id="path"))
    picture.save()
    for name, low, high in (
        ("rect", (10, 130), (90, 180)),
        ("ellipse", (90, 75), (210, 125)),
        ("polygon", (200, 110), (290, 190)),
    ):
        points = read_outline(tmp_path / "a.svg", name=name).points
        assert points.min(axis=0) == pytest.approx(low, abs=CHORD)
        assert points.max(axis=0) == pytest.approx(high, abs=CHORD)
    assert len(read_outlines(tmp_path / "a.svg")) == 4
