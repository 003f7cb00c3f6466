"""No word of a drawing is lost on full-size paper: whole on a page, or told on the page map in full."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from plugs.drafting.drawing import Drawing, Label, Path, label_box
from plugs.drafting.flat import turned_box
from plugs.ground.paper import paper_of
from plugs.paper.map import map_sheets
from plugs.paper.pages import plan_pages


def lettered(size: tuple[float, float], labels: list[Label]) -> Drawing:
    """Return a rectangle with texts on it."""
    corners = np.array([(0.0, 0.0), (size[0], 0.0), size, (0.0, size[1])])
    outline = Path(points=corners, bulges=np.zeros(4), is_closed=True, dxf_layer="CUT_LINE")
    return Drawing(path="board", title="board", paths=(outline,), labels=tuple(labels))


def check(drawing: Drawing, paper: str) -> int:
    """Assert that each text stands whole on a page or in the map, and return how many stand on pages."""
    plan = plan_pages([drawing], paper_of(paper))
    shown = plan.shown[0]
    sheets = map_sheets(plan, [drawing], title="t")
    told = " ".join(" ".join(label.text for label in sheet.drawing.labels) for sheet in sheets)
    on_pages = [label.text for label in shown.labels]
    for label in shown.labels:
        x0, y0, x1, y1 = label_box(label)
        whole = False
        for page in plan.pages:
            for spot in page.spots:
                box = turned_box((x0, y0, x1, y1)) if spot.turned else (x0, y0, x1, y1)
                left, foot = box[0] + spot.move[0], box[1] + spot.move[1]
                right, top = box[2] + spot.move[0], box[3] + spot.move[1]
                clip = spot.clip
                whole |= clip[0] <= left and clip[1] <= foot and right <= clip[2] and top <= clip[3]
        assert whole, label
    for label in drawing.labels:
        assert label.text in on_pages or label.text in " ".join(told.split()), label.text
    return len(on_pages)


@st.composite
def boards(draw: st.DrawFn) -> Drawing:
    """Return a board of random size with words anywhere on it, as large as drawings have them."""
    size = (draw(st.floats(100.0, 1500.0)), draw(st.floats(60.0, 900.0)))
    labels = [
        Label(
            text=text,
            at=(draw(st.floats(0.0, size[0])), draw(st.floats(0.0, size[1]))),
            height=draw(st.sampled_from([3.0, 5.0, 8.0, 20.0])),
            align=draw(st.sampled_from(["left", "centre"])),
        )
        for text in draw(
            st.lists(st.sampled_from(["L01", "THIS SIDE UP", "cut two", "CUT_LINE"]), max_size=5)
        )
    ]
    return lettered(size, labels)


@given(boards(), st.sampled_from(["A4", "Letter", "A3"]))
@settings(max_examples=25)
def test_every_word_is_whole(drawing: Drawing, paper: str) -> None:
    """Wherever a word stands, a page shows the whole of it."""
    check(drawing, paper)


def test_a_word_across_the_edge_of_a_page() -> None:
    """Two tiles of A4 side by side: words over the edge between them stand on one, and not on each other."""
    words = ["L01", "THIS SIDE UP", "cut two", "CUT_LINE: saw here"]
    labels = [
        Label(text=text, at=(190.0, 40.0 + 25.0 * k), height=12.0, align="centre")
        for k, text in enumerate(words)
    ]
    drawing = lettered((380.0, 200.0), labels)
    assert check(drawing, "A4") == len(words)
    boxes = [label_box(label) for label in plan_pages([drawing], paper_of("A4")).shown[0].labels]
    for k, a in enumerate(boxes):
        for b in boxes[:k]:
            assert a[0] >= b[2] or b[0] >= a[2] or a[1] >= b[3] or b[1] >= a[3]


def test_a_word_where_no_page_is_needed() -> None:
    """The middle of a large board has no line and so no page: its name stands on the nearest page."""
    name = Label(text="L01", at=(700.0, 450.0), height=20.0, align="centre")
    assert check(lettered((1400.0, 900.0), [name]), "A4") == 1


def test_long_notes_are_told_in_full() -> None:
    """Forty notes under a part that fills its page are all on the page map, none cut short with dots."""
    notes = [f"note {k}: what to mind at place {k} of this long list of things to mind" for k in range(40)]
    labels = [Label(text=text, at=(0.0, -20.0 - 9.0 * k), height=5.0) for k, text in enumerate(notes)]
    drawing = lettered((194.0, 265.0), labels)
    assert check(drawing, "A4") == 0
