"""Outlines from tables of points, joining, checks; points and sizes worked out by hand, no outside source."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from plugs.ground.errors import PlugError
from plugs.measure.outlines import Outline, outline_of, read_outline, read_outlines
from plugs.measure.runs import LARGEST_DRAWING, Run, joined

SQUARE = "0,0\n100,0\n100,50\n0,50\n"


def written(tmp_path: Path, text: str | bytes, name: str = "a.csv") -> Path:
    """Write a file and return its path."""
    path = tmp_path / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


@pytest.mark.parametrize(
    ("text", "name", "unit"),
    [
        ("y (mm),z\n" + SQUARE, "a.csv", None),
        ("# unit: mm\n" + SQUARE, "a.csv", None),
        (SQUARE, "a.csv", "mm"),
        ("z,x,y (mm)\n0,7,0\n0,7,100\n50,7,100\n50,7,0\n", "a.csv", None),
        (SQUARE.replace(",", " "), "a.txt", "mm"),
        ("y (mm)  z (mm)\n" + SQUARE.replace(",", "\t  "), "a.txt", None),
        ("y (cm);z\n" + "0;0\n10;0\n10;5,0\n0;5\n", "a.csv", None),
        ("7,0,0\n7,100,0\n7,100,50\n7,0,50\n", "a.csv", "mm"),
    ],
    ids=["header", "comment", "bare", "x y z", "spaces", "spaces and header", "decimal comma", "bare x y z"],
)
def test_points_of_a_table(tmp_path: Path, text: str, name: str, unit: str | None) -> None:
    """Every way to write the same four points gives them."""
    outline = read_outline(written(tmp_path, text, name), unit=unit)
    assert outline.points.tolist() == [[0, 0], [100, 0], [100, 50], [0, 50]]
    assert not outline.is_closed
    assert outline.source == name
    assert not outline.points.flags.writeable


def test_inches_with_fractions_and_closing(tmp_path: Path) -> None:
    """An inch is 25.4 mm exactly (agreement of 1959); a last point on the first closes without a note."""
    text = "y (in),z\n0,0\n1 1/2,0\n1.5,2\n0,2\n0,0\n"
    outline = read_outline(written(tmp_path, text))
    assert outline.is_closed
    assert outline.points.tolist() == [[0, 0], [38.1, 0], [38.1, 50.8], [0, 50.8]]
    assert outline.notes == ()


def test_columns_can_be_asked_for(tmp_path: Path) -> None:
    """A table of x, y and z gives whichever two are asked for."""
    path = written(tmp_path, "x (mm),y,z\n0,1,2\n10,11,12\n")
    assert read_outline(path).points.tolist() == [[1, 2], [11, 12]]
    assert read_outline(path, columns=("x", "z")).points.tolist() == [[0, 2], [10, 12]]


def test_outlines_by_name(tmp_path: Path) -> None:
    """A column named outline parts the rows; one of them can be asked for."""
    path = written(tmp_path, "outline,y (mm),z\nfloor,0,0\nfloor,90,0\nroof,0,60\nroof,90,61\n")
    assert [len(o.points) for o in read_outlines(path)] == [2, 2]
    assert read_outline(path, name="roof").points.tolist() == [[0, 60], [90, 61]]
    with pytest.raises(PlugError) as caught:
        read_outline(path, name="wall")
    assert "floor" in caught.value.remedy


@pytest.mark.parametrize(
    ("text", "param"),
    [
        (SQUARE, "unit"),
        ("y (furlong),z\n" + SQUARE, "unit"),
        ("y (mm),z (in)\n" + SQUARE, "unit"),
        ("y (mm),z\n0,0\nnan,3\n", "y"),
        ("y (mm),z\n0,0\n5,abc\n", "z"),
        ("y (mm),z\n0,0\n5\n", "z"),
        ("y (mm),z\n0,0\n5,6,7\n", "row"),
        ("y (mm),z\n", "points"),
        ("y (mm),z\n3,4\n", "outline"),
        ("y (mm),z\n3,4\n3,4\n", "outline"),
        ("y (mm),height\n3,4\n", "columns"),
        ("y (mm),y,z\n3,4,5\n", "columns"),
        ("1,2,3,4\n", "header"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "table"),
        (b"", "table"),
    ],
)
def test_bad_tables(tmp_path: Path, text: str | bytes, param: str) -> None:
    """What cannot be read is an input error that names what was found."""
    with pytest.raises(PlugError) as caught:
        read_outline(written(tmp_path, text))
    assert caught.value.param == param
    assert "read_table" not in str(caught.value)


def test_unit_said_twice(tmp_path: Path) -> None:
    """A unit asked for that the file contradicts is an error; an unknown one too."""
    path = written(tmp_path, "y (mm),z\n" + SQUARE)
    with pytest.raises(PlugError) as caught:
        read_outline(path, unit="in")
    assert caught.value.param == "unit"
    with pytest.raises(PlugError) as caught:
        read_outline(path, unit="ell")
    assert caught.value.value == "ell"


@pytest.mark.parametrize(("scale", "found"), [(1.2e-4, "0.012 x 0.006 mm"), (120.0, "12000 x 6000 mm")])
def test_absurd_sizes(scale: float, found: str) -> None:
    """0.012 mm and 12 m (far out) of an outline: told with its size; 12 km likewise."""
    points = scale * np.array([[0, 0], [100, 0], [100, 50], [0, 50]])
    if scale > 1.0:
        points += (15_000.0, 0.0)
    with pytest.raises(PlugError) as caught:
        outline_of(points, is_closed=True)
    assert caught.value.value == found


def test_twelve_kilometres() -> None:
    """12 km of width are told as such; where another unit would make a part of it, the remedy says which."""
    with pytest.raises(PlugError) as caught:
        outline_of([(0, 0), (1.2e7, 0), (1.2e7, 5e6)])
    assert "12 x 5 km" in str(caught.value.value)
    with pytest.raises(PlugError) as caught:
        outline_of([(0, 0), (1.2e6, 0), (1.2e6, 5e5)])
    assert "mm would make 1200 mm of it, if m is what was read" in caught.value.remedy


def test_large_file_is_refused_with_size_and_limit(tmp_path: Path) -> None:
    """100 MB are not read at all: the file here holds nothing but its length."""
    for name, limit in (("a.dxf", LARGEST_DRAWING), ("a.svg", LARGEST_DRAWING), ("a.csv", 10_000_000)):
        path = tmp_path / name
        path.touch()
        os.truncate(path, 100_000_000)
        with pytest.raises(PlugError) as caught:
            read_outline(path)
        assert "100.0 MB" in caught.value.reason
        assert f"{limit / 1e6:.0f} MB" in caught.value.reason


@pytest.mark.parametrize("name", ["gone.csv", "gone.dxf", "gone.svg", "a.stl", "folder.dxf"])
def test_no_such_file(tmp_path: Path, name: str) -> None:
    """A missing file, a folder and an unknown ending are input errors."""
    (tmp_path / "folder.dxf").mkdir()
    with pytest.raises(PlugError):
        read_outline(tmp_path / name)


def test_self_crossing_is_refused_and_placed() -> None:
    """A bow-tie crosses itself in its middle."""
    with pytest.raises(PlugError) as caught:
        outline_of([(0, 0), (100, 50), (100, 0), (0, 50)], is_closed=True)
    assert "crosses itself" in caught.value.reason
    with pytest.raises(PlugError):
        outline_of([(0, 0), (100, 0), (100, 50), (50, 50), (50, -50)])


def test_scatter_is_no_crossing() -> None:
    """Dense points that scatter make loops of a few points: noted, not refused."""
    rng = np.random.default_rng(4)
    t = np.linspace(0.0, np.pi, 2000)
    points = np.column_stack((100 * np.cos(t), 100 * np.sin(t))) + rng.normal(0.0, 0.2, (2000, 2))
    outline = outline_of(points)
    assert len(outline.points) == 2000
    assert any("small loops" in note for note in outline.notes)


def test_duplicates_are_noted() -> None:
    """Repeated points are left out, with their number."""
    outline = outline_of([(0, 0), (100, 0), (100, 0), (100, 0), (100, 50), (0, 50), (0, 50)])
    assert outline.points.tolist() == [[0, 0], [100, 0], [100, 50], [0, 50]]
    assert outline.notes == ("3 points repeated the one before and were left out",)


@pytest.mark.parametrize(
    "wrong", [[(0, 0)], [(0, 0, 0), (1, 1, 1)], [(0, 0), (np.nan, 1)], [(0, 0), (np.inf, 1)]]
)
def test_bad_points(wrong: list[tuple[float, ...]]) -> None:
    """What is no outline of finite pairs is refused."""
    with pytest.raises(PlugError):
        outline_of(wrong)


def test_record_keeps_its_promise() -> None:
    """The record copies its points, and takes none that are not finite pairs."""
    given = np.zeros((2, 2))
    given[1] = 5.0
    outline = Outline(points=given, is_closed=False, source="here")
    given[1] = 7.0
    assert outline.points[1].tolist() == [5.0, 5.0]
    with pytest.raises(AssertionError):
        Outline(points=np.full((2, 2), np.nan), is_closed=False, source="here")


def pieces(*runs: list[tuple[float, float]]) -> list[Run]:
    """Return open pieces."""
    return [Run(points=np.array(run, dtype=float), is_closed=False, name="") for run in runs]


def test_joining_turns_pieces_round_and_tells_the_gaps() -> None:
    """Four sides in any order and direction make one ring; both ends of a gap move to its middle."""
    (ring,) = joined(
        pieces([(0, 0), (100, 0)], [(100.2, 50), (100.2, 0)], [(0, 50), (100, 50)], [(0, 50), (0, 0)]), 0.5
    )
    assert ring.is_closed
    assert sorted(ring.gaps) == pytest.approx([0.2, 0.2])
    assert len(ring.points) == 4
    assert {tuple(p) for p in ring.points.round(6)} == {(0, 0), (100.1, 0), (100.1, 50), (0, 50)}


def test_joining_keeps_what_is_too_far_apart() -> None:
    """A gap wider than the tolerance stays open, and separate lines stay separate."""
    runs = joined(pieces([(0, 0), (100, 0)], [(100.6, 0), (100.6, 50)], [(300, 0), (400, 0)]), 0.5)
    assert [len(run.points) for run in runs] == [2, 2, 2]
    (run, _) = joined(pieces([(0, 0), (100, 0)], [(100.6, 0), (100.6, 50)], [(300, 0), (400, 0)]), 0.7)
    assert not run.is_closed
    assert run.gaps == pytest.approx((0.6,))


def test_joining_takes_the_nearest_end() -> None:
    """Where three ends meet, the nearest two are joined."""
    runs = joined(pieces([(0, 0), (100, 0)], [(100.3, 0), (200, 0)], [(100.1, 0.0), (100, 80)]), 0.5)
    assert sorted(len(run.points) for run in runs) == [2, 3]
    assert min(gap for run in runs for gap in run.gaps) == pytest.approx(0.1)


def test_too_many_pieces() -> None:
    """A drawing of twenty thousand lines is not an outline."""
    with pytest.raises(PlugError):
        joined(pieces([(0, 0), (1, 1)]) * 20_001, 0.5)


@pytest.mark.parametrize("join", [-1.0, float("nan"), float("inf")])
def test_join_is_a_distance(tmp_path: Path, join: float) -> None:
    """No negative or infinite tolerance."""
    with pytest.raises(PlugError) as caught:
        read_outline(written(tmp_path, "y (mm),z\n" + SQUARE), join=join)
    assert caught.value.param == "join"
