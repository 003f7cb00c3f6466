"""The table of outlines: one vertex to a row, in an order that depends on the shape alone."""

from __future__ import annotations

import csv
import io
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from shapely import MultiPolygon

from plugs.files.tables import COLUMNS, outlines_csv
from plugs.tables.rows import fixed_rows

SQUARE = shapely.box(-2, 0, 8, 10)
WITH_HOLE = SQUARE.difference(shapely.box(1, 1, 2, 2))


def layer(**changes):
    """Return a layer with a hole in its lower face and two islands on top."""
    record = SimpleNamespace(
        name="L01",
        index=1,
        axis="z",
        from_mm=0.0,
        to_mm=50.0,
        thickness=50.0,
        lower=MultiPolygon([WITH_HOLE]),
        upper=MultiPolygon([shapely.box(4, 0, 5, 1), shapely.box(0, 0, 1, 1)]),
        envelope=MultiPolygon([SQUARE]),
        rough=MultiPolygon([SQUARE]),
        volume_mm3=1.0,
    )
    vars(record).update(changes)
    return record


def rows_of(packed):
    """Return the rows as dictionaries."""
    return list(csv.DictReader(io.StringIO(packed.decode())))


def test_rows_rebuild_the_outlines():
    """Rings read back give the areas of the faces, holes taken off."""
    rows = rows_of(outlines_csv([layer()]))
    area = dict.fromkeys(("lower", "upper", "rough"), 0.0)
    for face in area:
        for ring in sorted({row["ring"] for row in rows if row["face"] == face}):
            mine = [row for row in rows if row["face"] == face and row["ring"] == ring]
            polygon = shapely.Polygon([(float(row["h_mm"]), float(row["v_mm"])) for row in mine])
            area[face] += polygon.area * (1.0 if mine[0]["kind"] == "outer" else -1.0)
    assert area == pytest.approx({"lower": 99.0, "upper": 2.0, "rough": 100.0})


def test_header_decimals_line_ends_and_position():
    """As promised: fixed four decimals, the lower face's position for the cut line."""
    packed = outlines_csv([layer(from_mm=-0.0)])
    text = packed.decode()
    assert text.splitlines()[0] == ",".join(COLUMNS)
    assert text.splitlines()[1] == "L01,lower,1,outer,x,y,-2.0000,0.0000,0.0000"
    assert "\r" not in text
    assert text.endswith("\n")
    assert "-0.0000" not in text
    along = {(row["face"], row["along_mm"]) for row in rows_of(packed)}
    assert along == {("lower", "0.0000"), ("upper", "50.0000"), ("rough", "0.0000")}


@pytest.mark.parametrize(("axis", "plane"), [("x", ("y", "z")), ("y", ("x", "z")), ("z", ("x", "y"))])
def test_axes_of_the_plane_are_named(axis, plane):
    """Right-handed axes of the house: a layer square to x lies in (y, z)."""
    assert {(row["h_axis"], row["v_axis"]) for row in rows_of(outlines_csv([layer(axis=axis)]))} == {plane}


def test_rings_are_numbered_within_a_face_and_sorted():
    """The island at the smaller x comes first; the hole follows its own outer ring."""
    rows = rows_of(outlines_csv([layer()]))
    upper = [(row["ring"], row["h_mm"]) for row in rows if row["face"] == "upper"]
    assert upper[0] == ("1", "0.0000")
    assert upper[4] == ("2", "4.0000")
    lower = list(dict.fromkeys((row["ring"], row["kind"]) for row in rows if row["face"] == "lower"))
    assert lower == [("1", "outer"), ("2", "hole")]


def test_same_shape_gives_the_same_text():
    """Rings given backwards, from another start, in another order."""
    turned = [
        shapely.Polygon(np.roll(shapely.get_coordinates(part)[:-1][::-1], 2, axis=0))
        for part in layer().upper.geoms
    ]
    assert outlines_csv([layer(upper=MultiPolygon(turned[::-1]))]) == outlines_csv([layer()])


def test_empty_faces_have_no_rows_and_names_are_quoted():
    """A pointed top, and a name with a comma, a quote and a per cent sign."""
    name = 'L01, "100 %d"'
    rows = rows_of(outlines_csv([layer(name=name, upper=MultiPolygon())]))
    assert {row["face"] for row in rows} == {"lower", "rough"}
    assert {row["layer"] for row in rows} == {name}


def test_no_layers_give_the_header_alone():
    """The columns are stable even then."""
    assert outlines_csv([]).decode() == ",".join(COLUMNS) + "\n"


def test_numbers_are_written_as_python_writes_them():
    """Digit by digit as `format` has it, rounded first, half to even: large, small, negative, nothing."""
    rng = np.random.default_rng(3)
    values = np.concatenate([rng.normal(scale=scale, size=(200, 2)) for scale in (1e-5, 1e-3, 1.0, 1e3, 1e7)])
    values = np.vstack((values, [(0.0, -0.0), (-0.00004, 0.00005), (9.99995, -9.99995), (99999.99996, -0.5)]))
    wanted = "".join(f"a,{x:.4f},{y:.4f},é\n" for x, y in np.round(values, 4) + 0.0)
    assert fixed_rows(values, 4, [("a,", ",é\n")], [len(values)]).decode() == wanted
    assert fixed_rows(np.array([[0.25], [-12.0]]), 1, [("", ";")], [2]) == b"0.2;-12.0;"
    assert fixed_rows(np.array([[7.0], [8.5], [9.0]]), 1, [("é,", ";"), ("", "\n")], [1, 2]) == (
        "é,7.0;8.5\n9.0\n".encode()
    )


def test_vertices_in_line_are_left_out_within_a_thousandth():
    """A disc of far too many chords keeps its line with a part of them; a square keeps its corners."""
    disc = shapely.Point(0, 0).buffer(200.0, quad_segs=2000)
    dense = shapely.segmentize(SQUARE, 0.01)
    rows = rows_of(outlines_csv([layer(lower=MultiPolygon([disc]), upper=MultiPolygon([dense]))]))
    lower, upper = (
        shapely.LinearRing([(float(row["h_mm"]), float(row["v_mm"])) for row in rows if row["face"] == face])
        for face in ("lower", "upper")
    )
    assert len(lower.coords) < len(disc.exterior.coords) / 4
    assert shapely.hausdorff_distance(lower, disc.exterior) < 0.0011
    assert len(upper.coords) == 5
