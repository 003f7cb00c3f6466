"""Outlines from SVG: commands, shapes, nested transforms, units, and files that are refused.

Places are worked out by hand from the rules of the standard (SVG 1.1, W3C 2011, from memory); other readers
and writers are asked in tests/reference/test_outlines_from_elsewhere.py.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from plugs.ground.errors import PlugError
from plugs.measure.outlines import Outline, read_outline, read_outlines
from plugs.measure.svg_path import ellipse_points, path_runs

CHORD = 0.005
PAGE = 'width="200mm" height="100mm" viewBox="0 0 200 100"'


def written(tmp_path: Path, body: str, page: str = PAGE, head: str = "") -> Path:
    """Write a drawing and return its path."""
    text = (
        f'{head}<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" {page}>'
        f"{body}</svg>"
    )
    path = tmp_path / "a.svg"
    path.write_text(text, encoding="utf-8")
    return path


def on_page(outline: Outline, height: float = 100.0) -> list[list[float]]:
    """Return the points as they stand in a drawing of mm, y down."""
    return [[round(y, 6) + 0.0, round(height - z, 6) + 0.0] for y, z in outline.points.tolist()]


def test_up_is_up(tmp_path: Path) -> None:
    """The drawing's y runs down from the top of the page; the outline's runs up from its foot."""
    outline = read_outline(written(tmp_path, '<path d="M10 10H60V30"/>'))
    assert outline.points.tolist() == [[10, 90], [60, 90], [60, 70]]


@pytest.mark.parametrize(
    ("d", "points"),
    [
        ("M10,10 20,10 20 30", [[10, 10], [20, 10], [20, 30]]),
        ("m10 10 10 0 0 20", [[10, 10], [20, 10], [20, 30]]),
        ("M10 10L20 10l0 20", [[10, 10], [20, 10], [20, 30]]),
        ("M10 10h5 5v10V30", [[10, 10], [15, 10], [20, 10], [20, 20], [20, 30]]),
        ("M1e1-1e1.5.5", [[10, -10], [0.5, 0.5]]),
        ("M10-5.5.5L3-.5", None),
        ("M.5.5 20.5.5", [[0.5, 0.5], [20.5, 0.5]]),
        ("M1e1+10L2E1,1e+1", [[10, 10], [20, 10]]),
        ("\n M 10 10\tL 20 , 10 \n", [[10, 10], [20, 10]]),
    ],
)
def test_lines(tmp_path: Path, d: str, points: list[list[float]] | None) -> None:
    """All ways to write straight lines; a coordinate too few is an error."""
    if points is None:
        with pytest.raises(PlugError):
            read_outline(written(tmp_path, f'<path d="{d}"/>'))
        return
    assert on_page(read_outline(written(tmp_path, f'<path d="{d}"/>'))) == points


def test_closing_returns_to_the_start(tmp_path: Path) -> None:
    """After z a relative command starts from the closed subpath's first point."""
    first, second = read_outlines(written(tmp_path, '<path d="M10 10h20v20zm50 0h10v10z"/>'))
    assert first.is_closed
    assert second.is_closed
    assert on_page(second)[0] == [60, 10]
    third = path_runs("M10 10h20v20zl5 5", 0.1, "p")[1][0]
    assert third.tolist() == [10 + 10j, 15 + 15j]


def test_curves_keep_the_chord() -> None:
    """Curves and their smooth continuations: points on the curve, chords within 0.005."""
    t = np.linspace(0.0, 1.0, 200001)
    cubic = (
        (1 - t) ** 3 * 0 + 3 * (1 - t) ** 2 * t * (10 + 80j) + 3 * (1 - t) * t**2 * (90 + 80j) + t**3 * 100
    )
    ((points, _),) = path_runs("M0 0C10 80 90 80 100 0", CHORD, "p")
    middles = np.concatenate((points, 0.5 * (points[1:] + points[:-1])))
    assert max(np.abs(cubic - p).min() for p in middles) < 1.01 * CHORD
    # the continuation mirrors the last control point: (110, -80)
    ((smooth, _),) = path_runs("M0 0C10 80 90 80 100 0S190 -80 200 0", CHORD, "p")
    ((plain, _),) = path_runs("M0 0C10 80 90 80 100 0C110 -80 190 -80 200 0", CHORD, "p")
    assert smooth == pytest.approx(plain)
    ((smooth, _),) = path_runs("M0 0Q50 80 100 0T200 0t100 0", CHORD, "p")
    ((plain, _),) = path_runs("M0 0Q50 80 100 0Q150 -80 200 0Q250 80 300 0", CHORD, "p")
    assert smooth == pytest.approx(plain)
    # after another command there is nothing to mirror
    ((smooth, _),) = path_runs("M0 0Q50 80 100 0L110 0T200 0", CHORD, "p")
    assert smooth[-1] == 200
    assert np.abs(smooth.imag[np.real(smooth) > 100]).max() == 0.0


@pytest.mark.parametrize(("large", "sweep", "centre"), [(0, 1, 30j), (1, 1, -30j), (0, 0, -30j), (1, 0, 30j)])
def test_arcs_take_the_side_that_the_flags_say(large: int, sweep: int, centre: complex) -> None:
    """Radius 50 through (-40, 0) and (40, 0): centres at (0, 30), (0, -30); sweep 1 clockwise."""
    points = np.array([-40, *ellipse_points(-40 + 0j, 40 + 0j, [50, 50, 0, large, sweep], CHORD)])
    assert np.abs(points - centre) == pytest.approx(50.0)
    middle = points[len(points) // 2]
    assert np.sign(middle.imag) == (-1.0 if sweep else 1.0)
    length = np.abs(np.diff(points)).sum()
    angle = 2.0 * math.asin(0.8)
    assert length == pytest.approx(50.0 * (2.0 * math.pi - angle if large else angle), abs=0.05)


def test_arcs_out_of_range() -> None:
    """Radii too small are scaled up, nought is a straight line, flags may stand without spaces."""
    points = np.array(ellipse_points(0j, 100 + 0j, [1, 1, 0, 0, 1], CHORD))
    assert np.abs(points - 50) == pytest.approx(50.0)
    assert ellipse_points(0j, 100 + 0j, [0, 5, 0, 0, 1], CHORD) == [100]
    ((packed, _),) = path_runs("M0 0a25 25 0 01.5.5", CHORD, "p")
    assert packed[-1] == 0.5 + 0.5j


@pytest.mark.parametrize(
    "d",
    [
        "L10 10", "M10", "M10 10L", "M10 10 X 3 3", "M10 10 L 20 foo", "M nan 0 L 1 1", "M0 0L1e999 3",
        "10 10",
        "M0 0A5 5 0 2 1 3 3", "M0 0z 5 5", "M0 0L1 1;", "M0 0C1 1 2 2 3",
    ],
)  # fmt: skip
def test_broken_paths_are_told(tmp_path: Path, d: str) -> None:
    """A path that is broken off is not read in part: the place is named."""
    with pytest.raises(PlugError) as caught:
        read_outline(written(tmp_path, f'<path id="p7" d="{d}"/>'))
    assert caught.value.param == "d of p7"
    assert "character" in caught.value.reason


@pytest.mark.parametrize(
    ("body", "points"),
    [
        ('<line x1="10" y1="20" x2="30" y2="40"/>', [[10, 20], [30, 40]]),
        ('<polyline points="10,20 30,40 50 40"/>', [[10, 20], [30, 40], [50, 40]]),
        ('<polygon points="10,20 30,40 50 20"/>', [[10, 20], [30, 40], [50, 20]]),
        ('<rect x="10" y="20" width="30" height="40"/>', [[10, 20], [40, 20], [40, 60], [10, 60]]),
        ('<g transform="translate(10 20)"><path d="M0 0h5"/></g>', [[10, 20], [15, 20]]),
        ('<g transform="translate(10)"><path transform="scale(2,3)" d="M1 1h5"/></g>', [[12, 3], [22, 3]]),
        ('<path transform="rotate(90)" d="M10 -20h5"/>', [[20, 10], [20, 15]]),
        ('<path transform="rotate(90 10 10)" d="M10 10h5"/>', [[10, 10], [10, 15]]),
        ('<path transform="skewX(45)" d="M10 10v5"/>', [[20, 10], [25, 15]]),
        ('<path transform="skewY(45)" d="M10 10h5"/>', [[10, 20], [15, 25]]),
        ('<path transform="matrix(1 2 3 4 5 6)" d="M1 1h1"/>', [[9, 12], [10, 14]]),
        ('<path transform="translate(10,0),scale(2)" d="M1 1h5"/>', [[12, 2], [22, 2]]),
        ('<defs><path id="k" d="M0 0h5"/></defs><use xlink:href="#k" x="3" y="4"/>', [[3, 4], [8, 4]]),
        ('<defs><g id="k" transform="scale(2)"><path d="M0 0h5"/></g></defs><use href="#k" x="3"/>',
         [[3, 0], [13, 0]]),
        ('<svg x="10" y="20" width="50" height="50" viewBox="0 0 10 10"><path d="M0 0h5"/></svg>',
         [[10, 20], [35, 20]]),
        (
            '<symbol id="k" viewBox="0 0 10 20"><path d="M0 0h5"/></symbol>'
            '<use href="#k" width="40" height="40"/>',
            [[10, 0], [20, 0]],
        ),
        ('<a><switch><path d="M0 9h5"/></switch></a>', [[0, 9], [5, 9]]),
        ('<path d="M0 9h5"/><g display="none"><path d="M0 0h5"/></g>', [[0, 9], [5, 9]]),
        ('<path d="M0 9h5"/><path style="fill:red; display : none" d="M0 0h5"/>', [[0, 9], [5, 9]]),
        ('<g visibility="hidden"><path d="M0 0h5"/><path visibility="visible" d="M0 9h5"/></g>',
         [[0, 9], [5, 9]]),
        ('<clipPath id="c"><path d="M0 0h5"/></clipPath><marker><path d="M0 0"/></marker><path d="M0 9h5"/>',
         [[0, 9], [5, 9]]),
    ],
)  # fmt: skip
def test_shapes_transforms_and_copies(tmp_path: Path, body: str, points: list[list[float]]) -> None:
    """Each shape stands where the rules of the standard put it."""
    assert on_page(read_outline(written(tmp_path, body))) == points


def test_round_shapes(tmp_path: Path) -> None:
    """A circle stretched and skewed lies on its image; a rounded rectangle has its area."""
    path = written(tmp_path, '<circle transform="skewX(30) scale(2,1)" cx="30" cy="40" r="20"/>')
    page = np.array(on_page(read_outline(path)))
    t = np.tan(np.radians(30.0))
    back = np.column_stack(((page[:, 0] - t * page[:, 1]) / 2.0, page[:, 1]))
    assert np.linalg.norm(back - (30, 40), axis=1) == pytest.approx(20.0, abs=1e-5)
    round_one = read_outline(written(tmp_path, '<rect x="9" y="9" width="60" height="40" rx="10"/>'))
    x, y = round_one.points.T
    area = abs(0.5 * (x * np.roll(y, -1) - y * np.roll(x, -1)).sum())
    # closed form: the corners lose (4 - pi) r^2
    assert area == pytest.approx(60 * 40 - (4 - math.pi) * 100, abs=0.4)
    ellipse = read_outline(written(tmp_path, '<ellipse cx="90" cy="50" rx="80" ry="30"/>'))
    assert np.ptp(ellipse.points, axis=0) == pytest.approx((160, 60), abs=2 * CHORD)


@pytest.mark.parametrize(
    ("page", "scale"),
    [
        ('width="8in" height="4in" viewBox="0 0 8 4"', 25.4),
        ('width="20cm" height="10cm" viewBox="0 0 100 50"', 2.0),
        ('width="72pt" height="72pt" viewBox="0 0 72 72"', 25.4 / 72.0),
        ('width="6pc" height="6pc" viewBox="0 0 72 72"', 25.4 / 72.0),
        ('width="100mm" height="100mm"', 25.4 / 96.0),
        ('width="200mm" viewBox="0 0 100 50"', 2.0),
        ('width="200MM" height="100mm" viewBox="0,0,100,50"', 2.0),
    ],
)
def test_real_units(tmp_path: Path, page: str, scale: float) -> None:
    """Width and height with a real unit give the scale; without a viewBox 96 units make an inch (CSS)."""
    outline = read_outline(written(tmp_path, '<path d="M0 0h10v20"/>', page))
    assert np.ptp(outline.points, axis=0) == pytest.approx((10 * scale, 20 * scale), rel=1e-12)


@pytest.mark.parametrize(
    ("aspect", "corner", "scale"),
    [("", (50, 0), (1, 1)), ("none", (0, 0), (2, 1)), ("xMinYMin meet", (0, 0), (1, 1)),
     ("xMaxYMax", (100, 0), (1, 1)), ("xMidYMax slice", (0, -100), (2, 2))],
)  # fmt: skip
def test_aspect_of_the_page(
    tmp_path: Path, aspect: str, corner: tuple[int, int], scale: tuple[int, int]
) -> None:
    """A viewBox of another shape than the page is placed as preserveAspectRatio says."""
    page = f'width="200mm" height="100mm" viewBox="0 0 100 100" preserveAspectRatio="{aspect}"'
    points = on_page(read_outline(written(tmp_path, '<path d="M0 0l10 10"/>', page)))
    assert points[0] == list(corner)
    assert np.subtract(points[1], points[0]).tolist() == [10 * scale[0], 10 * scale[1]]


@pytest.mark.parametrize(
    "page",
    ["", 'width="200" height="100"', 'width="200px" height="100px" viewBox="0 0 200 100"',
     'viewBox="0 0 200 100"', 'width="100%" height="100%" viewBox="0 0 200 100"', 'width="0mm" height="10mm"',
     'width="abc" height="3mm"'],
)  # fmt: skip
def test_no_real_unit(tmp_path: Path, page: str) -> None:
    """Without a real unit the error shows width and height as found; unit= says what a user unit is."""
    path = written(tmp_path, '<path d="M0 0h10"/>', page)
    with pytest.raises(PlugError) as caught:
        read_outline(path)
    assert caught.value.param == "unit"
    assert "width=" in str(caught.value.value)
    if "mm" not in page:
        outline = read_outline(path, unit="in")
        assert np.ptp(outline.points[:, 0]) == pytest.approx(254.0)


def test_unit_against_the_drawing(tmp_path: Path) -> None:
    """A unit that contradicts the page is an error; one that agrees is none."""
    path = written(tmp_path, '<path d="M0 0h10"/>')
    assert read_outline(path, unit="mm").points[1].tolist() == [10, 100]
    with pytest.raises(PlugError) as caught:
        read_outline(path, unit="in")
    assert "200 mm" in caught.value.reason


def test_by_id_and_label(tmp_path: Path) -> None:
    """A path, a group or a label can be asked for; what else is shown and is no curve is noted."""
    body = (
        '<g id="body"><path id="p" d="M0 0h50"/><text>A</text></g>'
        '<g xmlns:i="http://x.invalid/" i:label="hole"><path d="M0 9h20"/></g>'
    )
    path = written(tmp_path, body)
    assert on_page(read_outline(path, name="body"))[1] == [50, 0]
    assert on_page(read_outline(path, name="p"))[1] == [50, 0]
    hole = read_outline(path, name="hole")
    assert on_page(hole)[1] == [20, 9]
    assert hole.notes == ("left out: 1 <text>",)
    with pytest.raises(PlugError) as caught:
        read_outline(path, name="hola")
    assert caught.value.remedy.startswith("ask for one of: hole")
    with pytest.raises(PlugError) as caught:
        read_outline(path)
    assert caught.value.reason == "one outline is asked for here"


ENTITY = '<!DOCTYPE svg [<!ENTITY a SYSTEM "file:///etc/passwd">]>'
LAUGHS = '<!DOCTYPE svg [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;">]>'
PARAMETER = '<!DOCTYPE svg [<!ENTITY % a SYSTEM "http://x.invalid/a.dtd"> %a;]>'


ATTRIBUTE = "<!DOCTYPE svg [<!ATTLIST path d CDATA 'M0 0h5'>]>"


@pytest.mark.parametrize("head", [ENTITY, LAUGHS, PARAMETER, ATTRIBUTE])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_entities_are_never_resolved(tmp_path: Path, head: str, encoding: str) -> None:
    """A file that declares anything of its own is refused, in any encoding."""
    path = written(tmp_path, '<path d="M0 0h10"/><text>&a;</text>', head=head)
    path.write_bytes(path.read_text(encoding="utf-8").encode(encoding))
    with pytest.raises(PlugError) as caught:
        read_outline(path)
    assert "entities" in caught.value.reason


def test_plain_doctype_is_harmless(tmp_path: Path) -> None:
    """The common DOCTYPE declares nothing and is never fetched."""
    head = (
        '<?xml version="1.0"?><!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" '
        '"http://www.w3.org/Graphics/SVG/1.1/DTD/svg11.dtd">'
    )
    assert len(read_outline(written(tmp_path, '<path d="M0 0h10"/>', head=head)).points) == 2


@pytest.mark.parametrize(
    "body",
    [
        '<g id="a"><path d="M0 0h9"/><use href="#a"/></g>',
        '<use href="#gone"/>',
        '<use href="other.svg#a"/>',
        '<use href="file:///etc/passwd"/>',
        '<path transform="bogus(3)" d="M0 0h9"/>',
        '<path transform="rotate(30deg)" d="M0 0h9"/>',
        '<path transform="scale(1 2 3)" d="M0 0h9"/>',
        '<path transform="scale(1e999)" d="M0 0h9"/>',
        '<rect width="10%" height="5"/>',
        '<rect width="1em" height="5"/>',
        '<svg viewBox="0 0 0 0"><path d="M0 0h9"/></svg>',
        '<polyline points="0,0 1"/>',
        "<text>A</text>",
        "",
        '<circle r="-3"/>',
        '<path transform="scale(0)" d="M0 0h9"/>',
        '<path d="M0 0h9000000v9z"/>',
        '<path d="M0 0h.01v.01z"/>',
        '<path d="M0 0L50 50V0L0 50z"/>',
        "<g>" * 200 + '<path d="M0 0h9"/>' + "</g>" * 200,
    ],
)
def test_bad_drawings(tmp_path: Path, body: str) -> None:
    """What cannot be placed surely, is empty or absurd is an input error."""
    with pytest.raises(PlugError) as caught:
        read_outline(written(tmp_path, body))
    assert caught.value.remedy


@pytest.mark.parametrize(
    "raw",
    [b"", b"hello", b"<svg", b"<html></html>", b"\x89PNG\r\n\x1a\n\x00", bytes(range(256)),
     b"<svg>\xff\xfe</svg>",
     b'<?xml version="1.0" encoding="klingon"?><svg/>', b"\x1f\x8b\x08\x00"],
)  # fmt: skip
def test_garbage_is_an_input_error(tmp_path: Path, raw: bytes) -> None:
    """Whatever the bytes are, the answer is an input error."""
    (tmp_path / "a.svg").write_bytes(raw)
    with pytest.raises(PlugError):
        read_outline(tmp_path / "a.svg", unit="mm")
