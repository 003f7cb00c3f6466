"""Full-size paper: drawings as a PDF, true to scale, in tiles where they are larger than the paper.

Coordinates are turned from mm to units of 1/72 in one by one, and nothing is scaled: a page is as large as
its paper, and its viewer preferences ask the printer not to fit it. Each drawing is written once and shown
through the window of every page that needs it, so that dashes and letters agree from page to page.
"""

from __future__ import annotations

import io
import os
import unicodedata
from collections import defaultdict
from collections.abc import Container, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from plugs.drafting.drawing import Array, Box, Drawing, Label, Path, drawing_bounds, pieces_of
from plugs.drafting.styles import line_styles
from plugs.paper.map import MapSheet, map_sheets
from plugs.paper.marks import page_marks
from plugs.paper.pages import Page, PagePlan

POINT_PER_MM: Final = 72.0 / 25.4
"""Units of PDF's user space in a millimetre: a unit is 1/72 in (ISO 32000-1, 8.3.2.3; secondary)."""

PRINT_WIDTH: Final = 0.35
"""Width of the lines of a drawing, mm: a shop printer does not lose it (common practice, no source)."""

MARK_WIDTH: Final = 0.25
"""Width of all other lines, mm."""

ARC_ERROR: Final = 0.002
"""Farthest that a Bezier curve lies from its arc, mm."""

CAPITAL_RATIO: Final = 0.729
"""Height of a capital over the font size in the face used (its own table of metrics, confirmed)."""

_QUARTER_ERROR: Final = 2.73e-4
"""Largest error of a Bezier curve for a quarter of a circle of radius 1; it falls with the sixth power of
the angle (textbook, from memory; a test measures it)."""

_FACE: Final = "plugs-upright"
_DATE: Final = "SOURCE_DATE_EPOCH"
_BEYOND: Final = 2.0  # mm. The window's cut goes so far over its edge: half a line is not lost there
_LEADING: Final = 1.2  # of the letters' size: the library's own step from line to line
_ESCAPED: Final = {
    code: "\\" + chr(code) if chr(code) in "()\\" else f"\\{code:03o}"
    for code in range(256)
    if chr(code) in "()\\" or not 32 <= code < 127
}
"""What stands for codes that PDF has another use for in texts (ISO 32000-1, 7.3.4.2; secondary)."""

_START: Final = "n %.5f %.5f m"
_LINE: Final = "%.5f %.5f l"
_CURVE: Final = "%.5f %.5f %.5f %.5f %.5f %.5f c"


def load_library() -> None:
    """Load the library now, so that the first page need not wait for it."""
    import reportlab.pdfbase.ttfonts
    import reportlab.pdfgen.canvas  # noqa: F401 - for its loading


def render_pdf(
    drawings: Sequence[Drawing], plan: PagePlan, *, title: str, maps: Sequence[MapSheet] | None = None
) -> bytes:
    """Return planned pages as a PDF, the page map first.

    Parameters
    ----------
    drawings : sequence of Drawing
        Those that were planned.
    plan : PagePlan
        Where everything goes.
    title : str
        What it all is.
    maps : sequence of MapSheet or None
        The page map, if it has been made already.

    Returns
    -------
    bytes

    Raises
    ------
    AssertionError
        There is no page.
    ImportError
        The PDF library is not installed.
    """
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont
    from reportlab.pdfgen.canvas import Canvas

    if not plan.pages and not maps:
        raise AssertionError("a PDF without pages was asked for")
    if _FACE not in pdfmetrics.getRegisteredFontNames():
        pdfmetrics.registerFont(TTFont(_FACE, "Vera.ttf"))
    packed = io.BytesIO()
    with _settled_library():
        canvas = Canvas(packed, invariant=1, pageCompression=1, initialFontName=_FACE)
        sheets = map_sheets(plan, drawings, title=title) if maps is None else maps
        _draw_all(canvas, plan, sheets, title)
    return packed.getvalue()


@contextmanager
def _settled_library() -> Iterator[None]:
    """Let the PDF library write compressed bytes as they are, smaller and quicker, and ask no environment."""
    from reportlab import rl_config

    before, date = rl_config.useA85, os.environ.pop(_DATE, None)
    rl_config.useA85 = 0
    try:
        yield
    finally:
        rl_config.useA85 = before
        if date is not None:
            os.environ[_DATE] = date


def _draw_all(canvas: Any, plan: PagePlan, sheets: Sequence[MapSheet], title: str) -> None:
    """Write every drawing once, the page map, and the pages."""
    pen = _Pen(canvas)
    canvas.setTitle(title)
    canvas.setSubject("at full size")
    canvas.setAuthor("")
    canvas.setCreator("plugs")
    canvas.setViewerPreference("PrintScaling", "None")
    shifts = []
    for i, drawing in enumerate(plan.shown):
        x0, y0, x1, y1 = drawing_bounds(drawing)
        shift = (-(x0 + x1) / 2.0, -(y0 + y1) / 2.0)
        shifts.append(shift)
        half = ((x1 - x0) / 2.0 + _BEYOND, (y1 - y0) / 2.0 + _BEYOND)
        canvas.beginForm(f"drawing{i}", *(v * POINT_PER_MM for v in (-half[0], -half[1], *half)))
        pen.draw(drawing, shift, PRINT_WIDTH)
        canvas.endForm()
    for sheet in sheets:
        canvas.setPageSize(tuple(side * POINT_PER_MM for side in sheet.size))
        pen.draw(sheet.drawing, (0.0, 0.0), MARK_WIDTH)
        canvas.showPage()
    n_pages = len(sheets) + len(plan.pages)
    for number, page in enumerate(plan.pages, start=len(sheets) + 1):
        marks = page_marks(page, plan.shown, unit=plan.unit, number=number, n_pages=n_pages, title=title)
        _draw_page(canvas, page, shifts, marks, pen)
    canvas.save()


def _draw_page(canvas: Any, page: Page, shifts: list[tuple[float, float]], marks: Drawing, pen: _Pen) -> None:
    """Write a page: each drawing through its window, and the marks over them."""
    canvas.setPageSize(tuple(side * POINT_PER_MM for side in page.size))
    for spot in page.spots:
        canvas.saveState()
        _clip(canvas, spot.clip)
        x, y = (-v for v in shifts[spot.drawing])
        if spot.turned:
            x, y = -y, x
        turn = (0.0, 1.0, -1.0, 0.0) if spot.turned else (1.0, 0.0, 0.0, 1.0)
        canvas.transform(*turn, (x + spot.move[0]) * POINT_PER_MM, (y + spot.move[1]) * POINT_PER_MM)
        canvas.doForm(f"drawing{spot.drawing}")
        canvas.restoreState()
    pen.draw(marks, (0.0, 0.0), MARK_WIDTH)
    canvas.showPage()


def _clip(canvas: Any, box: Box) -> None:
    """Let nothing be seen beyond a box."""
    x0, y0, x1, y1 = (v * POINT_PER_MM for v in box)
    window = canvas.beginPath()
    window.rect(x0, y0, x1 - x0, y1 - y0)
    canvas.clipPath(window, stroke=0, fill=0)


class _Pen:
    """What writes lines and texts into a document: what the library would, without an object for each.

    Parameters
    ----------
    canvas : Canvas
        Of the library.
    """

    def __init__(self, canvas: Any) -> None:
        """Take up the face."""
        from reportlab.pdfbase import pdfmetrics

        self._canvas, self._face = canvas, pdfmetrics.getFont(_FACE)
        self._letters = _Letters(self._face.face.charToGlyph)
        self._sizes = dict[float, str]()

    def draw(self, drawing: Drawing, shift: tuple[float, float], width: float) -> None:
        """Write the lines and texts of a drawing, group by group."""
        canvas = self._canvas
        canvas.setLineJoin(1)
        canvas.setLineWidth(width * POINT_PER_MM)
        strokes = defaultdict[str, list[str]](list)
        for path, stroke in zip(drawing.paths, _strokes(drawing.paths, shift), strict=True):
            strokes[path.dxf_layer] += (stroke, "S")
        for name, style in line_styles(drawing).items():
            red, green, blue = (int(style.colour[k : k + 2], 16) / 255.0 for k in (1, 3, 5))
            canvas.setStrokeColorRGB(red, green, blue)
            canvas.setFillColorRGB(red, green, blue)
            canvas.setDash([part * POINT_PER_MM for part in style.dash])
            for row in strokes[name]:
                canvas.addLiteral(row)
            for label in drawing.labels:
                if label.dxf_layer == name:
                    canvas.addLiteral(self._written(label, shift))

    def _written(self, label: Label, shift: tuple[float, float]) -> str:
        """Return one line of text, of letters that the face has."""
        from reportlab.lib.rl_accel import fp_str

        face, text = self._face, label.text.translate(self._letters)
        size, document = label.height / CAPITAL_RATIO * POINT_PER_MM, self._canvas._doc
        x, y = (label.at[0] + shift[0]) * POINT_PER_MM, label.at[1] + shift[1]
        if label.align == "centre":
            x, y = x - 0.5 * face.stringWidth(text, size), y - label.height / 2.0
        if size not in self._sizes:
            self._sizes[size] = f"{fp_str(size)} Tf {fp_str(_LEADING * size)} TL"
        rows = [f"BT 1 0 0 1 {fp_str(x, y * POINT_PER_MM)} Tm"]
        for part, codes in face.splitString(text, document):
            name = face.getSubsetInternalName(part, document)
            rows.append(f"{name} {self._sizes[size]} ({codes.decode('latin-1').translate(_ESCAPED)}) Tj")
        return " ".join((*rows, "T* ET"))


class _Letters(dict[int, str]):
    """What the face writes for a letter, by its number: that, its plain form, or a question mark."""

    def __init__(self, known: Container[int]) -> None:
        """Know of no letter yet."""
        super().__init__()
        self.known = known

    def __missing__(self, number: int) -> str:
        """Return what is written for a letter that comes for the first time."""
        letter, known = chr(number), self.known
        if number not in known:
            parts = unicodedata.normalize("NFKD", letter)
            letter = "".join(part for part in parts if not unicodedata.combining(part))
            letter = letter if letter and all(ord(part) in known for part in letter) else "?"
        return self.setdefault(number, letter)


def _strokes(paths: Sequence[Path], shift: tuple[float, float]) -> Iterator[str]:
    """Yield what draws each path: lines as they are, arcs as Bezier curves."""
    if not paths:
        return
    points, after, bulges, _ = pieces_of(paths)
    points = (points + np.array(shift)) * POINT_PER_MM
    arcs = np.flatnonzero((bulges != 0.0) & (points != points[after]).any(axis=1))
    curves, owner = bezier_arcs(points[arcs], points[after[arcs]], bulges[arcs], POINT_PER_MM * ARC_ERROR)
    bowed = defaultdict[int, list[str]](list)
    for arc, curve in zip(arcs[owner].tolist(), curves.tolist(), strict=True):
        bowed[arc].append(_CURVE % tuple(curve))
    flat, first = points.ravel().tolist(), 0
    for path in paths:
        stop = first + len(path.points)
        codes = [_START % (flat[2 * first], flat[2 * first + 1])]
        for at in range(first, stop):
            if at in bowed:
                codes += bowed[at]
            elif at + 1 < stop:
                codes.append(_LINE % (flat[2 * at + 2], flat[2 * at + 3]))
        if path.is_closed:
            codes.append("h")
        first = stop
        yield " ".join(codes)


def bezier_arcs(begin: Array, finish: Array, bulge: Array, error: float) -> tuple[Array, NDArray[np.intp]]:
    """Return arcs as Bezier curves of the third degree.

    Parameters
    ----------
    begin, finish : (k, 2) float, any one unit
        Their ends, not the same point.
    bulge : (k,) float, dimensionless
        tan(angle / 4), + counter-clockwise, not 0.
    error : float, same unit
        Farthest that a curve may lie from its arc.

    Returns
    -------
    curves : (n, 6) float, same unit
        Of each curve the two inner control points and the end.
    arcs : (n,) int
        Which arc each belongs to, in their order.

    References
    ----------
    Control points at 4/3 tan(angle / 4) of the radius along the tangents: textbook, from memory.
    """
    z0, z1 = (ends[:, 0] + 1j * ends[:, 1] for ends in (begin, finish))
    span = z1 - z0
    centre = z0 + span / 2.0 + 1j * span * ((1.0 - bulge**2) / (4.0 * bulge))
    angle, radius = 4.0 * np.arctan(bulge), np.abs(z0 - centre)
    quarters = np.abs(angle) / (np.pi / 2.0)
    n = np.ceil(np.maximum(quarters * (_QUARTER_ERROR * radius / error) ** (1.0 / 6.0), quarters - 1e-9))
    n = np.maximum(n, 1.0).astype(np.intp)
    arcs = np.repeat(np.arange(len(n)), n)
    part = np.arange(len(arcs)) - np.repeat(np.cumsum(n) - n, n)
    turn = 1j * angle[arcs]
    first, last = (centre[arcs] + (z0 - centre)[arcs] * np.exp(turn * k / n[arcs]) for k in (part, part + 1))
    first, last = np.where(part == 0, z0[arcs], first), np.where(part + 1 == n[arcs], z1[arcs], last)
    reach = (4.0 / 3.0 * np.tan(angle / n / 4.0) * 1j)[arcs]
    leaving, reaching = first + reach * (first - centre[arcs]), last - reach * (last - centre[arcs])
    return np.column_stack([axis for z in (leaving, reaching, last) for axis in (z.real, z.imag)]), arcs
