"""Full-size paper: drawings as a PDF, true to scale, in tiles where they are larger than the paper.

Coordinates are turned from mm to units of 1/72 in one by one, and nothing is scaled: a page is as large as
its paper, and its viewer preferences ask the printer not to fit it. Each drawing is written once and shown
through the window of every page that needs it, so that dashes and letters agree from page to page.
"""

from __future__ import annotations

import io
import os
import unicodedata
from collections.abc import Container, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, Final

import numpy as np

from plugs.drafting.drawing import Array, Box, Drawing, Label, Path, drawing_bounds
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
    letters = _Letters(pdfmetrics.getFont(_FACE).face.charToGlyph)
    packed = io.BytesIO()
    with _settled_library():
        canvas = Canvas(packed, invariant=1, pageCompression=1, initialFontName=_FACE)
        sheets = map_sheets(plan, drawings, title=title) if maps is None else maps
        _draw_all(canvas, drawings, plan, sheets, title, letters)
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


def _draw_all(
    canvas: Any,
    drawings: Sequence[Drawing],
    plan: PagePlan,
    sheets: Sequence[MapSheet],
    title: str,
    letters: _Letters,
) -> None:
    """Write every drawing once, the page map, and the pages."""
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
        _draw(canvas, drawing, shift, PRINT_WIDTH, letters)
        canvas.endForm()
    for sheet in sheets:
        canvas.setPageSize(tuple(side * POINT_PER_MM for side in sheet.size))
        _draw(canvas, sheet.drawing, (0.0, 0.0), MARK_WIDTH, letters)
        canvas.showPage()
    n_pages = len(sheets) + len(plan.pages)
    for number, page in enumerate(plan.pages, start=len(sheets) + 1):
        marks = page_marks(page, plan.shown, unit=plan.unit, number=number, n_pages=n_pages, title=title)
        _draw_page(canvas, page, shifts, marks, letters)
    canvas.save()


def _draw_page(
    canvas: Any, page: Page, shifts: list[tuple[float, float]], marks: Drawing, letters: _Letters
) -> None:
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
    _draw(canvas, marks, (0.0, 0.0), MARK_WIDTH, letters)
    canvas.showPage()


def _clip(canvas: Any, box: Box) -> None:
    """Let nothing be seen beyond a box."""
    x0, y0, x1, y1 = (v * POINT_PER_MM for v in box)
    window = canvas.beginPath()
    window.rect(x0, y0, x1 - x0, y1 - y0)
    canvas.clipPath(window, stroke=0, fill=0)


def _draw(canvas: Any, drawing: Drawing, shift: tuple[float, float], width: float, letters: _Letters) -> None:
    """Write the lines and texts of a drawing, group by group."""
    canvas.setLineJoin(1)
    canvas.setLineWidth(width * POINT_PER_MM)
    for name, style in line_styles(drawing).items():
        red, green, blue = (int(style.colour[k : k + 2], 16) / 255.0 for k in (1, 3, 5))
        canvas.setStrokeColorRGB(red, green, blue)
        canvas.setFillColorRGB(red, green, blue)
        canvas.setDash([part * POINT_PER_MM for part in style.dash])
        for path in drawing.paths:
            if path.dxf_layer == name:
                _stroke(canvas, path, shift)
        for label in drawing.labels:
            if label.dxf_layer == name:
                _write(canvas, label, shift, letters)


def _write(canvas: Any, label: Label, shift: tuple[float, float], letters: _Letters) -> None:
    """Write one line of text; a letter that the face lacks becomes its plain form, or a question mark."""
    text = label.text.translate(letters)
    x, y = label.at[0] + shift[0], label.at[1] + shift[1]
    canvas.setFont(_FACE, label.height / CAPITAL_RATIO * POINT_PER_MM)
    if label.align == "centre":
        canvas.drawCentredString(x * POINT_PER_MM, (y - label.height / 2.0) * POINT_PER_MM, text)
        return
    line = canvas.beginText(x * POINT_PER_MM, y * POINT_PER_MM)
    line.textLine(text)  # as drawString does, which would measure it first
    canvas.drawText(line)


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


def _stroke(canvas: Any, path: Path, shift: tuple[float, float]) -> None:
    """Draw a path: lines as they are, arcs as Bezier curves."""
    from reportlab.pdfgen.pathobject import PDFPathObject

    points = ((path.points + np.array(shift)) * POINT_PER_MM).tolist()
    codes = [_START % tuple(points[0])]
    ends = [*points[1:], points[0]] if path.is_closed else points[1:]
    for here, there, bulge in zip(points, ends, path.bulges.tolist(), strict=False):
        if bulge and there != here:
            for curve in bezier_arc(here, there, bulge, POINT_PER_MM * ARC_ERROR).tolist():
                codes.append(_CURVE % tuple(curve))
        elif there is not points[0]:
            codes.append(_LINE % tuple(there))
    if path.is_closed:
        codes.append("h")
    canvas.drawPath(PDFPathObject(codes), stroke=1, fill=0)


def bezier_arc(begin: Sequence[float], finish: Sequence[float], bulge: float, error: float) -> Array:
    """Return an arc as Bezier curves of the third degree.

    Parameters
    ----------
    begin, finish : (2,) float, any one unit
        Its ends, not the same point.
    bulge : float, dimensionless
        tan(angle / 4), + counter-clockwise, not 0.
    error : float, same unit
        Farthest that a curve may lie from the arc.

    Returns
    -------
    (n, 6) float, same unit
        Of each curve the two inner control points and the end.

    References
    ----------
    Control points at 4/3 tan(angle / 4) of the radius along the tangents: textbook, from memory.
    """
    z0, z1 = complex(*begin), complex(*finish)
    span = z1 - z0
    centre = z0 + span / 2.0 + 1j * span * (1.0 - bulge**2) / (4.0 * bulge)
    angle, radius = 4.0 * np.arctan(bulge), abs(z0 - centre)
    n = max(1, int(np.ceil(abs(angle) / (np.pi / 2.0) * (_QUARTER_ERROR * radius / error) ** (1.0 / 6.0))))
    n = max(n, int(np.ceil(abs(angle) / (np.pi / 2.0) - 1e-9)))
    knots = centre + (z0 - centre) * np.exp(1j * angle * np.arange(n + 1) / n)
    knots[0], knots[-1] = z0, z1
    reach = 4.0 / 3.0 * np.tan(angle / n / 4.0) * 1j * (knots - centre)
    first, second, end = knots[:-1] + reach[:-1], knots[1:] - reach[1:], knots[1:]
    return np.column_stack((first.real, first.imag, second.real, second.imag, end.real, end.imag))
