"""Drawings as DXF: millimetres, joined outlines with true arcs, the same bytes every time."""

from __future__ import annotations

import io
import re
import sys
from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import numpy as np

from plugs.drafting.drawing import Drawing
from plugs.drafting.styles import style_of
from plugs.files.bundle import Bundle, bundle_of, ends
from plugs.ground.figures import BARE, LENGTH, rounded
from plugs.ground.records import record
from plugs.tables.digits import PART, cell, lay_numbers, n_cells, numbers_as_text, parts_of

UNITS_MM: Final = 4
"""$INSUNITS 4 is the millimetre (system-variable page of the format's vendor, confirmed)."""

MEASUREMENT_METRIC: Final = 1
"""$MEASUREMENT 1 is metric (system-variable page of the format's vendor, from memory)."""

_STROKE_AND_GAP: Final = (1.0, -1.0, 1.0, -1.0)
"""A line's pattern has strokes above 0 and gaps below, after its whole length (the library's own pages)."""

_TITLE: Final = "the title of a drawing goes here"
_ROWS: Final = "lines and texts go here"
_GROUP, _KIND, _INDEX = (
    "a group",
    "a kind of line",
    " 62\n253\n",
)  # of the pattern for others; no group has it
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
    vertices, labels, frame = _vertices(bundle), _labels(bundle), known_frame()
    space = f"330\n{frame.owner}\n100\nAcDbEntity\n  8\n"
    counts, found = bundle.n_points.tolist(), []
    for title, groups, (a, b), (c, d) in zip(
        bundle.titles,
        bundle.groups(),
        pairwise(ends(bundle.n_paths)),
        pairwise(ends(bundle.n_labels)),
        strict=True,
    ):
        given, first = _tables(frame, groups)
        lines = zip(bundle.path_groups[a:b], counts[a:b], vertices[a:b], strict=True)
        texts = zip(bundle.label_groups[c:d], labels[c:d], strict=True)
        rows = [
            f"  0\nLWPOLYLINE\n  5\n{number:X}\n{space}{name}\n100\nAcDbPolyline\n 90\n{n}\n 70\n{own}"
            for number, (name, n, own) in enumerate(lines, start=first)
        ]
        rows += [
            f"  0\nTEXT\n  5\n{number:X}\n{space}{name}\n100\nAcDbText\n 10\n{own}"
            for number, (name, own) in enumerate(texts, start=first + len(rows))
        ]
        given |= {f"{_LATE + i:X}": f"{first + len(rows) + i:X}" for i in range(frame.n_late)}
        given |= {_TITLE: " ".join(title.split()), _ROWS: "".join(rows)}
        found.append("".join([given.get(piece, piece) for piece in frame.pieces]))
    return found


@record(frozen=True, slots=True, kw_only=True)
class Frame:
    """What stands in every file round its groups, lines and texts.

    Attributes
    ----------
    pieces : tuple of str
        Pieces of it and marks in turn: for the title, for what differs, for the numbers that are given last.
    kind, group : str
        A kind of line, up to its pattern, and a group, after their numbers; with marks too.
    n_tables : tuple of 2 int, dimensionless
        How many kinds of line and groups there are in every file.
    owner : str
        The number of the space that lines and texts lie in.
    first : int
        The number of the first kind of line or group.
    n_late : int
        How many numbers are given after lines and texts, the one that would be next included.
    """

    pieces: tuple[str, ...]
    kind: str
    group: str
    n_tables: tuple[int, int]
    owner: str
    first: int
    n_late: int


_FRAMES: Final = list[Frame]()


def known_frame() -> Frame:
    """Return how files begin and end, as the library wrote it when it was asked first.

    Returns
    -------
    Frame
        For `take_frame` of another process, which then need not load the library.
    """
    if not _FRAMES:
        _FRAMES.append(_written())
    return _FRAMES[0]


def take_frame(known: Frame) -> None:
    """Take over how files begin and end.

    Parameters
    ----------
    known : Frame
        As `known_frame` of another process gives it.
    """
    _FRAMES[:] = [known]


def has_frame() -> bool:
    """Return whether no library must be loaded any more.

    Returns
    -------
    bool
    """
    return bool(_FRAMES) or "ezdxf.filemanagement" in sys.modules


def _written() -> Frame:
    """Return a document without lines and texts, as the library writes and audits it."""
    from ezdxf import options  # type: ignore[attr-defined]  # its types do not list it
    from ezdxf.filemanagement import new

    kept = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        document = new("R2010", units=UNITS_MM)
        document.header["$MEASUREMENT"] = MEASUREMENT_METRIC
        document.header.custom_vars.append("Title", _TITLE)
        first = int(str(document.entitydb.handles), 16)
        document.linetypes.add(_KIND, [2.0, *_STROKE_AND_GAP[:2]])
        document.layers.add(_GROUP, color=int(_INDEX.split()[1]), linetype=_KIND)
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
    n_late = int(str(document.entitydb.handles), 16) + 1 - _LATE
    whole, kind, n_kinds = _opened(text.getvalue(), "LTYPE", first)
    whole, group, n_groups = _opened(whole, "LAYER", first + 1)
    whole = whole.replace("  2\nENTITIES\n", f"  2\nENTITIES\n{_ROWS}")
    marks = [
        _TITLE,
        _ROWS,
        *(f"{table} {of}" for table in ("LTYPE", "LAYER") for of in ("count", "rows")),
        *(f"{_LATE + i:X}" for i in range(n_late)),
    ]
    return Frame(
        pieces=tuple(re.split(f"({'|'.join(marks)})", whole)),
        kind=kind.partition(" 73\n")[0],
        group=group,
        n_tables=(n_kinds, n_groups),
        owner=document.modelspace().layout_key,
        first=first,
        n_late=n_late,
    )


def _opened(text: str, table: str, number: int) -> tuple[str, str, int]:
    """Return a document with marks in a table's head and foot, its last row, and how many others it has."""
    before, begin, rest = text.partition(f"TABLE\n  2\n{table}\n")
    own, _, rest = rest.partition(f"  0\n{table}\n  5\n{number:X}\n")
    row, end, after = rest.partition("  0\nENDTAB\n")
    n_others = own.count(f"  0\n{table}\n")
    own = own.replace(f" 70\n{n_others + 1}\n", f" 70\n{table} count\n", 1)
    return f"{before}{begin}{own}{table} rows{end}{after}", row, n_others


def _tables(frame: Frame, groups: Sequence[str]) -> tuple[dict[str, str], int]:
    """Return what stands in the tables of kinds of line and groups, and the number that is next."""
    kinds, rows, number = dict[str, str](), list[str](), frame.first
    for name in groups:
        style, kind = style_of(name), "Continuous"
        if style.dash:
            kind = "DASH_" + "_".join(f"{part:g}" for part in style.dash)
            if kind not in kinds:
                parts = [sign * part for sign, part in zip(_STROKE_AND_GAP, style.dash, strict=False)]
                pattern = "".join(f" 49\n{part}\n 74\n0\n" for part in parts)
                own = f"{frame.kind.replace(_KIND, kind)} 73\n{len(parts)}\n 40\n{sum(style.dash)}\n{pattern}"
                kinds[kind] = f"  0\nLTYPE\n  5\n{number:X}\n{own}"
                number += 1
        own = frame.group.replace(_KIND, kind).replace(_INDEX, f" 62\n{style.index}\n").replace(_GROUP, name)
        rows.append(f"  0\nLAYER\n  5\n{number:X}\n{own}")
        number += 1
    given = dict[str, str]()
    for table, n_others, own_rows in zip(
        ("LTYPE", "LAYER"), frame.n_tables, ([*kinds.values()], rows), strict=True
    ):
        given |= {f"{table} count": str(n_others + len(own_rows)), f"{table} rows": "".join(own_rows)}
    return given, number


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
