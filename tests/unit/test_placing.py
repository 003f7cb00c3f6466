"""The placer of words: it gives a place once, keeps off lines, and leads a word to what it names."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from plugs.drafting import flat
from plugs.drafting.builder import DrawingBuilder, drawn_together
from plugs.drafting.drawing import Array, Drawing, Label, label_box
from plugs.drafting.glue import pin_paths
from plugs.drafting.placing import Beside
from plugs.drafting.signs import Pointer, Row, Sign, name_signs

PLATE = shapely.box(0.0, 0.0, 200.0, 100.0)


def builder() -> DrawingBuilder:
    """Return a plate to be written on."""
    made = DrawingBuilder(path="layers/a", title="A")
    made.outline(PLATE, "SAW_LINE")
    return made


def box_of(drawing: Drawing, text: str) -> shapely.Geometry:
    """Return the box of a word, which is there once."""
    (label,) = [label for label in drawing.labels if label.text == text]
    return shapely.box(*label_box(label))


def word(text: str, x: float, y: float) -> Label:
    """Return a word about a place."""
    return Label(text=text, at=(x, y), height=5.0, align="centre")


def test_signs_share_a_region_and_keep_off_its_lines() -> None:
    """Two names in one plate with a line through it: both inside, off the line and off each other."""
    made = builder()
    line = shapely.LineString([(0.0, 50.0), (200.0, 50.0)])
    made.line(shapely.get_coordinates(line), "MARK_ONLY")
    for name in ("ONE", "TWO"):
        made.sign(PLATE, *name_signs(name, "THIS FACE UP"))
    drawing = made.drawing()
    boxes = [box_of(drawing, name) for name in ("ONE", "TWO")]
    assert all(PLATE.contains(box) and not box.intersects(line) for box in boxes)
    assert not boxes[0].intersects(boxes[1])
    assert sum(label.text == "THIS FACE UP" for label in drawing.labels) == 2


def test_a_pin_moves_a_name_where_there_is_room() -> None:
    """A mark where the name would stand moves it; marks all over leave it, since a part must be named."""
    sign = Sign(rows=(Row(text="L01"),), least=3.0, largest=16.0)
    plain = builder()
    plain.sign(PLATE, sign)
    (label,) = plain.drawing().labels
    pinned, crowded = builder(), builder()
    x, y = label.at
    pinned.mark(pin_paths([(x, y)], 6.0, "PINS_BOTTOM_FACE"))
    pinned.sign(PLATE, sign)
    moved = box_of(pinned.drawing(), "L01")
    assert not moved.intersects(shapely.Point(x, y).buffer(3.0))
    for at in ((float(x), float(y)) for x in range(5, 200, 5) for y in range(5, 100, 5)):
        crowded.mark(pin_paths([at], 6.0, "PINS_BOTTOM_FACE"))
    crowded.sign(PLATE, sign)
    assert PLATE.contains(box_of(crowded.drawing(), "L01"))


@pytest.mark.parametrize("turn_deg", [0.0, 37.0, 90.0, 180.0])
def test_an_arrow_points_as_it_is_told_within_the_sign(turn_deg: float) -> None:
    """Head and shaft lie in the plate, off the name, and point the way."""
    made = builder()
    row, pointer = Row(text="NAME"), Pointer(turn_deg=turn_deg, length=3.0)
    made.sign(PLATE, Sign(rows=(row, pointer), least=3.0, largest=16.0))
    drawing = made.drawing()
    shaft, head = [path.points for path in drawing.paths if path.dxf_layer == "LABELS"]
    way = shaft[1] - shaft[0]
    assert np.degrees(np.arctan2(way[1], way[0])) % 360.0 == pytest.approx(turn_deg)
    assert head[1] == pytest.approx(shaft[1])
    for points in (shaft, head):
        assert PLATE.contains(shapely.LineString(points))
        assert not shapely.LineString(points).intersects(box_of(drawing, "NAME"))


def test_a_word_without_room_is_led_to_its_place() -> None:
    """Where another word stands, the second is set apart, with a line from it to what it names."""
    made = builder()
    made.write(word("TAKEN", 100.0, 50.0))
    made.beside(Beside(choices=(word("P1-1", 100.0, 50.0),), to=(100.0, 50.0), within=PLATE))
    drawing = made.drawing()
    assert not box_of(drawing, "P1-1").intersects(box_of(drawing, "TAKEN"))
    (leader,) = [path.points for path in drawing.paths if path.dxf_layer == "LABELS"]
    assert leader[1].tolist() == [100.0, 50.0]
    assert shapely.Point(leader[0]).distance(box_of(drawing, "P1-1")) < 1e-9


def test_a_word_that_may_be_left_out_is() -> None:
    """Nothing is written over a line where nothing needs to be; what is needed stands all the same."""
    made = builder()
    for y in range(0, 100, 4):
        made.line(np.array([(0.0, y), (200.0, y)], dtype=np.float64), "CUT_LINE")
    made.beside(Beside(choices=(word("SPARE", 100.0, 50.0),), within=PLATE, is_needed=False))
    made.beside(Beside(choices=(word("NEEDED", 100.0, 50.0),), within=PLATE))
    made.sign(shapely.box(90.0, 40.0, 110.0, 60.0), *name_signs("L01"), key="L01")
    made.rows(lambda signs: [f"Unnamed: {name}" for name, sign in signs.items() if sign is None])
    legend = ["SAW_LINE: saw here", "CUT_LINE: cut here"]
    assert [label.text for label in made.drawing().labels] == ["Unnamed: L01", *legend, "NEEDED"]


def test_hatches_leave_room_for_words() -> None:
    """Strokes of a hatch end at the box of a name."""
    made = builder()
    made.hatch(PLATE, 45.0, 4.0, "CURVED_BOTH_WAYS")
    made.sign(PLATE, Sign(rows=(Row(text="7"),), least=3.0, largest=16.0))
    drawing = made.drawing()
    box = box_of(drawing, "7")
    strokes = [shapely.LineString(p.points) for p in drawing.paths if p.dxf_layer == "CURVED_BOTH_WAYS"]
    assert len(strokes) > 20
    assert not any(stroke.crosses(box) for stroke in strokes)
    angles = {round(float(np.degrees(np.arctan2(*np.ptp(s.coords, axis=0)[::-1]))), 6) for s in strokes}
    assert angles == {45.0}


def test_dimension_tells_its_length_beside_its_line() -> None:
    """The figure stands off the line between the arrows."""
    made = builder()
    made.dimension((0.0, -20.0), (200.0, -20.0), "200 mm", 6.0)
    drawing = made.drawing()
    lines = [shapely.LineString(p.points) for p in drawing.paths if p.dxf_layer == "DIMENSIONS"]
    assert not any(line.intersects(box_of(drawing, "200 mm")) for line in lines)
    assert {float(x) for line in lines[:1] for x, _ in line.coords} == {100.0, 0.0}


def crowd(n: int) -> Drawing:
    """Return a drawing of many places close together, each named by a word that is wider."""
    made = DrawingBuilder(path="layers/a", title="A")
    made.line(np.array([(0.0, 0.0), (4.0 * n, 0.0)]), "MARK_ONLY")
    for i in range(n):
        made.beside(Beside(choices=(word("NAME", 4.0 * i, 0.0),), to=(4.0 * i, 0.0)))
    return made.drawing()


def test_a_word_is_tried_against_its_neighbours_only(monkeypatch: pytest.MonkeyPatch) -> None:
    """Words in a row, led to their places: each that is added is held against as many others as the last."""
    assert sum(path.dxf_layer == "LABELS" for path in crowd(40).paths) > 20
    pairs, is_crossed = [0], flat.is_crossed

    def counting(boxes: Array, ends: Array) -> NDArray[np.bool_]:
        """Count what is held against what."""
        found = is_crossed(boxes, ends)
        pairs[0] += found.size
        return found

    monkeypatch.setattr(flat, "is_crossed", counting)
    counts = []
    for n in (60, 120, 240):
        pairs[0] = 0
        crowd(n)
        counts.append(pairs[0])
    first, more = np.diff(counts)
    assert 0 < more <= 2 * first


def test_first_places_of_all_words_are_looked_at_together(monkeypatch: pytest.MonkeyPatch) -> None:
    """Lines are asked once for the places of a drawing's words, however many words there are."""
    asked, over = [0], flat.Pieces.over

    def counting(pieces: flat.Pieces, drawings: NDArray[np.intp], boxes: Array) -> NDArray[np.int64]:
        """Count how often lines are asked."""
        asked[0] += 1
        return over(pieces, drawings, boxes)

    monkeypatch.setattr(flat.Pieces, "over", counting)
    counts = []
    for n in (5, 50):
        made = builder()
        for i in range(n):
            at = (40.0 * i, 130.0)
            made.beside(Beside(choices=(word(f"P{i}", *at), word(f"P{i}", at[0], 160.0)), to=at))
        asked[0] = 0
        made.drawing()
        counts.append(asked[0])
    assert counts == [1, 1]


def test_words_of_many_drawings_stand_where_they_do_in_each_alone() -> None:
    """Drawings with signs, words led to their places and words left out, of different sizes: as alone."""
    made = []
    for n in (3, 40, 12):
        one = builder()
        one.mark(pin_paths([(100.0, 50.0)], 6.0, "PINS_BOTTOM_FACE"))
        one.sign(PLATE, *name_signs("L01", "THIS FACE UP"), key="L01")
        for i in range(n):
            at = (4.0 * i, 50.0 + i)
            one.beside(Beside(choices=(word(f"P{i}", *at),), to=at, within=PLATE, is_needed=i % 3 > 0))
        made.append(one)
    together, alone = drawn_together(made), [one.drawing() for one in made]
    assert [one.labels for one in together] == [one.labels for one in alone]
    lines = [[path.points.tolist() for path in one.paths] for one in (*together, *alone)]
    assert lines[:3] == lines[3:]
    assert all(any(path.dxf_layer == "LABELS" for path in one.paths) for one in together[1:])


@given(
    st.lists(st.tuples(*[st.integers(-2000, 2000)] * 4), min_size=1, max_size=60),
    st.lists(st.tuples(*[st.integers(-2000, 2000)] * 4), min_size=1, max_size=20),
)
def test_pieces_that_boxes_meet_are_those_of_the_geometry_library(
    ends: list[tuple[int, ...]], corners: list[tuple[int, ...]]
) -> None:
    """Of two drawings with other marks, by pieces of any direction and length, but for hair's breadths."""
    pieces = np.array([*ends, *ends]).T / 100.0
    boxes = flat.ends_box(np.array(corners).T / 100.0) + np.array([[-1], [-1], [1], [1]])
    count, marks = len(ends), 1 << (np.arange(2 * len(ends)) % 2)
    laid = flat.Pieces(pieces, marks, np.array([count, count]))
    found = laid.over(np.array([1]), boxes[:, None])[0]
    lines = shapely.linestrings(pieces.T.reshape(-1, 2, 2)[count:])
    apart = shapely.distance(shapely.box(*boxes)[:, None], lines)
    deep = shapely.distance(shapely.box(*(boxes + 1e-9 * np.array([[1], [1], [-1], [-1]])))[:, None], lines)
    for own, least, within in zip(found.tolist(), apart, deep, strict=True):
        surely = np.bitwise_or.reduce(marks[count:][within == 0.0], initial=0)
        at_most = np.bitwise_or.reduce(marks[count:][least < 1e-9], initial=0)
        assert own & surely == surely
        assert own | at_most == at_most


def test_a_sign_with_an_open_middle_needs_no_room_cut_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where nothing is in the way of the largest sign in the middle, no free room is worked out."""
    cut = [0]

    def counting(*args: object) -> object:
        """Count what is cut out of what."""
        cut[0] += 1
        return difference(*args)

    difference = shapely.difference
    monkeypatch.setattr(shapely, "difference", counting)
    found = []
    for crossed in (False, True):
        made = builder()
        made.line(np.array([(0.0, 70.0 - 20.0 * crossed), (200.0, 70.0 - 20.0 * crossed)]), "MARK_ONLY")
        cut[0] = 0
        made.sign(PLATE, *name_signs("L01"), over_lines=False)
        (label,) = made.drawing().labels
        found.append((label.at[1], cut[0]))
    assert found[0][1] == 0
    assert found[1][1] == 1
    assert abs(found[1][0] - 50.0) > 10.0
