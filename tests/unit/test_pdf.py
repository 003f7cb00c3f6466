"""Full-size PDF: arcs as curves, letters, the same bytes, looks shared with SVG."""

from __future__ import annotations

import hashlib
import subprocess
import sys
from pathlib import Path as FilePath
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reportlab.pdfbase import pdfmetrics

from plugs.drafting.drawing import Drawing, Label, Path
from plugs.drafting.styles import line_styles
from plugs.files.svg import render_svg
from plugs.ground.errors import PlugError
from plugs.ground.paper import paper_of
from plugs.paper import pdf
from plugs.paper.marks import fitted
from plugs.paper.pages import plan_pages
from plugs.paper.pdf import bezier_arcs, render_pdf
from tests.reference.pdf_walk import full_size_pdf, opened, strokes, texts

MAKE = """
import hashlib, sys
from plugs.ground.paper import paper_of
from plugs.paper.pages import plan_pages
from plugs.paper.pdf import render_pdf
from plugs.drafting.drawing import Drawing, Label, Path
path = Path(points=[[0, 0], [700, 0], [700, 500]], bulges=[0.3, 0, 0.2], is_closed=True, dxf_layer="SAW_LINE")
label = Label(text="Zo\\u00eb \\u0416", at=(20.0, 20.0), height=6.0)
drawings = [Drawing(path="a", title="b", paths=(path,), labels=(label,))]
text = render_pdf(drawings, plan_pages(drawings, paper_of("A4", margin=8.0, overlap=12.0)), title="t")
sys.stdout.write(hashlib.sha256(text).hexdigest())
"""


def part(**changes):
    """Return a path of two lines and an arc."""
    fields = {
        "points": [[0.0, 0.0], [120.0, 0.0], [120.0, 90.0]],
        "bulges": [0.0, 0.4, 0.0],
        "is_closed": True,
        "dxf_layer": "SAW_LINE",
    }
    return Path(**(fields | changes))


def drawn(*paths, labels=(), name="part"):
    """Return a drawing."""
    return Drawing(path=name, title=name, paths=tuple(paths), labels=tuple(labels))


@given(
    st.floats(-8.0, 8.0).filter(lambda b: abs(b) > 1e-4),
    st.floats(0.5, 4000.0),
    st.floats(0.0, 2.0 * np.pi),
)
def test_arcs_become_curves_within_a_hundredth(bulge, chord, turn):
    """Points of the cubics, by Bernstein's polynomials, lie on the arc's circle within 0.01 mm."""
    begin, finish = np.zeros(2), chord * np.array((np.cos(turn), np.sin(turn)))
    curves, _ = bezier_arcs(begin[None], finish[None], np.array([bulge]), pdf.ARC_ERROR)
    across = np.array((-finish[1], finish[0]))
    centre = finish / 2.0 + across * (1.0 - bulge**2) / (4.0 * bulge)
    radius = chord * (1.0 + bulge**2) / (4.0 * abs(bulge))
    t = np.linspace(0.0, 1.0, 41)[:, None]
    start, swept = begin, 0.0
    for curve in curves:
        a, b, end = curve.reshape(3, 2)
        points = (1 - t) ** 3 * start + 3 * (1 - t) ** 2 * t * a + 3 * (1 - t) * t**2 * b + t**3 * end
        assert np.abs(np.hypot(*(points - centre).T) - radius).max() < 0.01
        angle = np.unwrap(np.arctan2(*(points - centre).T[::-1]))
        swept += angle[-1] - angle[0]
        start = end
    assert np.allclose(start, finish, atol=1e-9 * chord)
    assert swept == pytest.approx(4.0 * np.arctan(bulge), abs=1e-6)


def test_same_bytes_in_two_processes_and_twice_in_one():
    """No clock, no chance, no trace of what was written before."""
    root = FilePath(__file__).resolve().parents[2]
    seen = {
        subprocess.run(
            [sys.executable, "-c", MAKE], cwd=root, capture_output=True, text=True, check=True, timeout=600
        ).stdout
        for _ in range(2)
    }
    drawing = drawn(part(), labels=[Label(text="Ωß", at=(5.0, 5.0), height=4.0)])
    full_size_pdf([drawn(part(), name="other")], paper="A3", title="other")
    twice = {hashlib.sha256(full_size_pdf([drawing], paper="A4", title="t")).hexdigest() for _ in range(2)}
    assert len(seen) == len(twice) == 1


@pytest.mark.parametrize(
    ("text", "written"),
    [("Zoë", "Zoë"), ("Größe 1/2", "Größe 1/2"), ("Žitný ǆ", "Žitný dz"), ("Жук", "???"), ("ﬁn ﾡ", "ﬁn ?")],
)
def test_letters_the_face_lacks_are_seen(text, written):
    """A letter is written itself, in plain letters, or as a question mark: none is dropped unseen."""
    full_size_pdf([drawn(part())], paper="A4", title="t")
    known = pdfmetrics.getFont("plugs-upright").face.charToGlyph
    assert text.translate(pdf._Letters(known)) == written


def test_every_letter_that_the_face_has_can_be_read_back():
    """They are more than the library has codes for in one subset of the face."""
    full_size_pdf([drawn(part())], paper="A4", title="t")
    known = sorted(code for code in pdfmetrics.getFont("plugs-upright").face.charToGlyph if code > 0xA0)
    rows = ["".join(map(chr, known[k : k + 40])) for k in range(0, len(known), 40)]
    assert len(known) > 160
    labels = [Label(text=row, at=(5.0, 8.0 * k), height=2.0) for k, row in enumerate(rows)]
    reader = opened(full_size_pdf([drawn(part(), labels=labels)], paper="A4", title="t"))
    read = "".join(text for text, _ in texts(reader.pages[0]))
    assert set("".join(rows)) <= set(read)


def test_labels_can_be_read_back():
    """Text stays text, captions and page numbers too."""
    drawing = drawn(part(), labels=[Label(text="STATION Ø 3", at=(5.0, 5.0), height=4.0)])
    reader = opened(full_size_pdf([drawing], paper="A4", title="Tail"))
    words = [text for text, _ in texts(reader.pages[0])]
    assert "STATION Ø 3" in words
    assert "Page 1 of 1" in words
    assert "part: Tail" in words
    assert "100 mm" in words
    assert "SAW_LINE" in words, "the legend"


def test_looks_are_those_of_the_svg():
    """Colour and dashes of a group are the same on paper and on screen; lines are at least 0.25 mm wide."""
    names = ("SAW_LINE", "FINISH_TOP_FACE", "KEEL", "HOLES")
    drawing = drawn(*(part(dxf_layer=name) for name in names))
    root = ElementTree.fromstring(render_svg(drawing).encode())
    groups = root.findall("{http://www.w3.org/2000/svg}g")
    reader = opened(full_size_pdf([drawing], paper="A4", title="t"))
    found = strokes(reader, reader.pages[0])
    assert min(stroke.width for stroke in found) >= 0.25 - 1e-4
    inside = [stroke for stroke in found if stroke.form]
    assert len(inside) == len(groups) == 4
    for group, stroke in zip(groups, inside, strict=True):
        hexes = "#" + "".join(f"{round(255 * part):02x}" for part in stroke.colour)
        assert group.get("stroke") == hexes
        dashes = [float(part) for part in (group.get("stroke-dasharray") or "").split()]
        assert np.allclose(dashes, stroke.dash, atol=1e-4)
    assert list(line_styles(drawing)) == list(names)


def test_long_names_are_cut_to_the_foot():
    """What is cut ends in dots and fits."""
    assert fitted("short", 80.0) == "short"
    assert fitted("x" * 300, 80.0).endswith("...")
    assert len(fitted("x" * 300, 80.0)) * 0.95 * 2.5 <= 80.0


def test_faults_of_the_input_are_told():
    """Unknown paper is the user's; no drawing at all is ours."""
    with pytest.raises(PlugError, match="A4"):
        full_size_pdf([drawn(part())], paper="quarto", title="t")
    with pytest.raises(AssertionError, match="without pages"):
        render_pdf([], plan_pages([], paper_of("A4")), title="t")
