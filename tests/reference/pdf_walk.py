"""Walk through the pages of a PDF with pypdf (BSD), a library that had no part in writing it.

Operators of content streams (q, Q, cm, re, W, m, l, c, h, S, w, d, RG, Do) as in ISO 32000-1, 8.4 and 8.5
(from memory); a unit of user space is 1/72 in (same, 8.3.2.3; secondary).
"""

from __future__ import annotations

import io
from types import SimpleNamespace

import numpy as np
from pypdf import PdfReader
from pypdf.generic import ContentStream

from plugs.ground.paper import paper_of
from plugs.paper.pages import plan_pages
from plugs.paper.pdf import render_pdf

MM = 25.4 / 72.0
NEVER = (-1e9, -1e9, 1e9, 1e9)


def full_size_pdf(drawings, *, paper, title):
    """Return drawings as a PDF at full size, with the room that is usual round them."""
    return render_pdf(drawings, plan_pages(drawings, paper_of(paper, margin=8.0, overlap=12.0)), title=title)


def opened(text):
    """Return the reader of a PDF in memory."""
    return PdfReader(io.BytesIO(text), strict=True)


def strokes(reader, page):
    """Return every stroked path of a page, in mm: form, points, curves, clip, width, dash, colour.

    ``points`` are the ends of the segments, ``pieces`` their control points, 4 of a curve, 2 of a line.
    """
    start = SimpleNamespace(ctm=np.eye(3), clip=NEVER, width=1.0, dash=(), colour=(0.0, 0.0, 0.0))
    found = []
    _walk(reader, page.get_contents(), page["/Resources"], start, "", found)
    return found


def _walk(reader, content, resources, state, form, found):
    """Follow one content stream."""
    stack, path, box = [], [], None
    for operands, operator in ContentStream(content, reader).operations:
        word = operator.decode()
        numbers = [float(v) for v in operands] if word in ("cm", "re", "m", "l", "c", "w", "RG") else []
        if word == "q":
            stack.append(SimpleNamespace(**vars(state)))
        elif word == "Q":
            state = stack.pop()
        elif word == "cm":
            a, b, c, d, e, f = numbers
            state.ctm = np.array([[a, b, 0.0], [c, d, 0.0], [e, f, 1.0]]) @ state.ctm
        elif word == "w":
            state.width = numbers[0] * MM
        elif word == "d":
            state.dash = tuple(float(v) * MM for v in operands[0])
        elif word == "RG":
            state.colour = tuple(numbers)
        elif word == "re":
            x, y, w, h = numbers
            box = [_mapped(state, x, y), _mapped(state, x + w, y + h)]
        elif word in ("W", "W*"):
            low, high = np.min(box, axis=0), np.max(box, axis=0)
            x0, y0, x1, y1 = state.clip
            state.clip = (max(x0, low[0]), max(y0, low[1]), min(x1, high[0]), min(y1, high[1]))
        elif word == "m":
            path.append([[_mapped(state, *numbers)]])
        elif word in ("l", "c"):
            corners = np.reshape(numbers, (-1, 2))
            path[-1].append([path[-1][-1][-1], *(_mapped(state, *corner) for corner in corners)])
        elif word == "h":
            path[-1].append([path[-1][-1][-1], path[-1][0][0]])
        elif word == "S":
            found.extend(_stroke(part, state, form) for part in path)
            path = []
        elif word in ("n", "f", "f*"):
            path, box = [], None
        elif word == "Do":
            inner = resources["/XObject"][operands[0]]
            below = SimpleNamespace(**vars(state))
            below.clip = state.clip
            _walk(reader, inner, inner.get("/Resources"), below, str(operands[0]), found)


def _mapped(state, x, y):
    """Return a point of user space on the page, mm."""
    return (np.array([x, y, 1.0]) @ state.ctm)[:2] * MM


def _stroke(part, state, form):
    """Return one stroked path."""
    ends = np.array([piece[-1] for piece in part])
    return SimpleNamespace(
        form=form, points=ends, pieces=[np.array(piece) for piece in part[1:]], clip=state.clip,
        width=state.width, dash=state.dash, colour=state.colour,
        turn=round(float(np.degrees(np.arctan2(state.ctm[0, 1], state.ctm[0, 0])))),
        scale=float(np.hypot(state.ctm[0, 0], state.ctm[0, 1])),
    )  # fmt: skip


def texts(page):
    """Return the texts of a page with the place of their first letter, mm."""
    rows = []

    def visit(text, ctm, matrix, _font, _size):
        """Keep a text and its place."""
        if text.strip():
            place = np.array([matrix[4], matrix[5], 1.0]) @ np.array(
                [[ctm[0], ctm[1], 0.0], [ctm[2], ctm[3], 0.0], [ctm[4], ctm[5], 1.0]]
            )
            rows.append((text.strip(), place[:2] * MM))

    page.extract_text(visitor_text=visit)
    return rows
