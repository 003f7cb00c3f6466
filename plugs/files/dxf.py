"""Drawings as DXF: millimetres, joined outlines with true arcs, the same bytes every time."""

from __future__ import annotations

import io
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np

from plugs.drafting.drawing import Drawing
from plugs.drafting.styles import LineStyle, line_styles, style_of
from plugs.files.bundle import Bundle, bundle_of, ends
from plugs.ground.figures import BARE, LENGTH, rounded
from plugs.ground.records import record
from plugs.tables.digits import PART, cell, lay_numbers, n_cells, numbers_as_text, parts_of

if TYPE_CHECKING:
    from ezdxf.document import Drawing as Document

UNITS_MM: Final = 4
"""$INSUNITS 4 is the millimetre (system-variable page of the format's vendor, confirmed)."""

MEASUREMENT_METRIC: Final = 1
"""$MEASUREMENT 1 is metric (system-variable page of the format's vendor, from memory)."""

_STROKE_AND_GAP: Final = (1.0, -1.0, 1.0, -1.0)
"""A line's pattern has strokes above 0 and gaps below, after its whole length (the library's own pages)."""

_TITLE: Final = "the title of a drawing goes here"
_LATE: Final = 0xFFFF0000  # more than lines and texts ever have; nothing else in a file looks like it
_WHOLE: Final = b".0"
_PLACE, _BULGE = n_cells(LENGTH.finest), n_cells(BARE.finest)


def load_library() -> None:
    """Load the library now, so that the first drawing need not wait for it."""
    import ezdxf.filemanagement  # noqa: F401 - for its loading


def render_dxf(drawing: Drawing) -> str:
    """Return a drawing as the text of a DXF file, version R2010.

    Parameters
    ----------
    drawing : Drawing
        The drawing, mm.

    Returns
    -------
    str
        Lines end in ``"\\n"``; the same drawing gives the same text.

    Raises
    ------
    AssertionError
        The drawing has no paths, or the finished document fails the library's audit.

    References
    ----------
    $INSUNITS and $MEASUREMENT: system-variable reference of the format's vendor.
    """
    return dxf_texts(bundle_of({drawing.path: drawing}))[0]


def dxf_texts(bundle: Bundle) -> list[str]:
    """Return drawings as the texts of DXF files, each as `render_dxf` does.

    Parameters
    ----------
    bundle : Bundle

    Returns
    -------
    list of str

    Raises
    ------
    AssertionError
        One has no paths.
    """
    bundle.demand_lines()
    vertices, labels = _vertices(bundle), _labels(bundle)
    counts, found = bundle.n_points.tolist(), []
    for title, groups, (a, b), (c, d) in zip(
        bundle.titles,
        bundle.groups(),
        pairwise(ends(bundle.n_paths)),
        pairwise(ends(bundle.n_labels)),
        strict=True,
    ):
        frame = _frame(tuple((name, style_of(name)) for name in groups))
        space = f"330\n{frame.owner}\n100\nAcDbEntity\n  8\n"
        lines = zip(bundle.path_groups[a:b], counts[a:b], vertices[a:b], strict=True)
        texts = zip(bundle.label_groups[c:d], labels[c:d], strict=True)
        rows = [
            f"  0\nLWPOLYLINE\n  5\n{number:X}\n{space}{name}\n100\nAcDbPolyline\n 90\n{n}\n 70\n{own}"
            for number, (name, n, own) in enumerate(lines, start=frame.first)
        ]
        rows += [
            f"  0\nTEXT\n  5\n{number:X}\n{space}{name}\n100\nAcDbText\n 10\n{own}"
            for number, (name, own) in enumerate(texts, start=frame.first + len(rows))
        ]
        tables, after = frame.tables, frame.after
        for i in range(frame.n_late):
            late, given = f"{_LATE + i:X}", f"{frame.first + len(rows) + i:X}"
            tables, after = tables.replace(late, given), after.replace(late, given)
        found.append("".join((tables.replace(_TITLE, " ".join(title.split())), *rows, after)))
    return found


@record(frozen=True, slots=True, kw_only=True)
class _Frame:
    """What stands in a file before and after its lines and texts, the same for all with the same groups.

    Attributes
    ----------
    tables, after : str
        With marks for the title, and for the numbers that the library gives away last.
    owner : str
        The number of the space that lines and texts lie in.
    first : int
        The number of the first of them.
    n_late : int
        How many numbers are given away after them, the one that would be next included.
    """

    tables: str
    after: str
    owner: str
    first: int
    n_late: int


_Styles = tuple[tuple[str, LineStyle], ...]
_FRAMES: Final[dict[_Styles, _Frame]] = {}


def frames() -> dict[_Styles, _Frame]:
    """Return what is known of how files begin and end.

    Returns
    -------
    dict
        For `take_frames` of another process, which then need not load the library.
    """
    return _FRAMES


def take_frames(known: dict[_Styles, _Frame]) -> None:
    """Take over how files begin and end.

    Parameters
    ----------
    known : dict
        As `frames` of another process gives it.
    """
    _FRAMES.update(known)


def has_frame(drawing: Drawing) -> bool:
    """Return whether the library is not needed for a drawing.

    Parameters
    ----------
    drawing : Drawing

    Returns
    -------
    bool
    """
    return _styles(drawing) in _FRAMES


def _styles(drawing: Drawing) -> _Styles:
    """Return the groups of a drawing with how each looks."""
    return tuple(line_styles(drawing).items())


def _frame(styles: _Styles) -> _Frame:
    """Return a document without lines and texts, known or made."""
    if styles not in _FRAMES:
        _FRAMES[styles] = _written(styles)
    return _FRAMES[styles]


def _written(styles: _Styles) -> _Frame:
    """Return a document without lines and texts, as the library writes and audits it."""
    from ezdxf import options  # type: ignore[attr-defined]  # its types do not list it
    from ezdxf.filemanagement import new

    kept = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        document = new("R2010", units=UNITS_MM)
        document.header["$MEASUREMENT"] = MEASUREMENT_METRIC
        document.header.custom_vars.append("Title", _TITLE)
        _add_dxf_layers(document, styles)
        first = int(str(document.entitydb.handles), 16)
        document.entitydb.handles.reset(f"{_LATE:X}")
        errors = document.audit().errors
        if errors:
            raise AssertionError(f"no document: {'; '.join(str(e.message) for e in errors)}")
        # the library would list the classes in the order of a set, which changes from run to run
        for kind in sorted(document.entitydb.dxf_types_in_use()):
            document.classes.add_class(kind)
        text = io.StringIO()
        document.write(text)
    finally:
        options.write_fixed_meta_data_for_testing = kept
    tables, middle, after = text.getvalue().partition("  2\nENTITIES\n")
    return _Frame(
        tables=tables + middle,
        after=after,
        owner=document.modelspace().layout_key,
        first=first,
        n_late=int(str(document.entitydb.handles), 16) + 1 - _LATE,
    )


def _add_dxf_layers(document: Document, styles: tuple[tuple[str, LineStyle], ...]) -> None:
    """Give every group of lines and texts its own colour and kind of line."""
    for name, style in styles:
        kind = "Continuous"
        if style.dash:
            kind = "DASH_" + "_".join(f"{part:g}" for part in style.dash)
            if kind not in document.linetypes:
                pattern = [sign * part for sign, part in zip(_STROKE_AND_GAP, style.dash, strict=False)]
                document.linetypes.add(kind, [sum(style.dash), *pattern])
        document.layers.add(name, color=style.index, linetype=kind)


def _vertices(bundle: Bundle) -> list[str]:
    """Return whether each path is closed, and its vertices, with the bulge after those that have one."""
    # a millionth of a millimetre, so that the last bit of a sum never shows; + 0.0 turns -0 to 0
    points = np.round(bundle.points, LENGTH.finest) + 0.0
    bulges = np.round(bundle.bulges, BARE.finest) + 0.0
    bent = np.flatnonzero(bulges)
    last = np.cumsum(bundle.n_points) - 1
    cells = np.zeros((len(points), 2 * _PLACE + _BULGE + 5), np.uint32)
    cells[last - bundle.n_points + 1, 0] = np.where(bundle.is_closed, cell(b"1\n"), cell(b"0\n"))
    cells[:, 1], cells[:, 2 + _PLACE] = cell(b" 10\n"), cell(b"\n 20")
    lay_numbers(cells[:, 2 : 2 + _PLACE], points[:, 0], LENGTH.finest, whole=_WHOLE)
    lay_numbers(cells[:, 3 + _PLACE : 3 + 2 * _PLACE], points[:, 1], LENGTH.finest, b"\n", _WHOLE)
    bows = np.full((len(bent), 1 + _BULGE), cell(b"\n 42"))
    lay_numbers(bows[:, 1:], bulges[bent], BARE.finest, b"\n", _WHOLE)
    cells[bent, 3 + 2 * _PLACE : -1] = bows
    cells[:, -1] = cell(b"\n")
    cells[last, -1] = cell(f"\n{PART}".encode())
    return parts_of(cells)


def _labels(bundle: Bundle) -> list[str]:
    """Return lines of text, from their places on."""
    at = numbers_as_text(rounded(bundle.at, LENGTH.finest).ravel(), LENGTH.finest, _WHOLE)
    sides = ("", ""), (" 72\n1\n", " 73\n2\n")
    found = []
    for x, y, height, is_centred, text in zip(
        at[0::2], at[1::2], bundle.heights.tolist(), bundle.is_centred.tolist(), bundle.texts, strict=True
    ):
        across, up = sides[is_centred]
        # a caret at the end would take the next row in
        words = text.replace("\n", "").replace("\r", "").rstrip("^")
        found.append(
            f"{x}\n 20\n{y}\n 30\n0.0\n 40\n{height}\n  1\n{words}\n{across}"
            f" 11\n{x}\n 21\n{y}\n 31\n0.0\n100\nAcDbText\n{up}"
        )
    return found
