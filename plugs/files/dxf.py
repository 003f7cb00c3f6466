"""Drawings as DXF: millimetres, joined outlines with true arcs, the same bytes every time."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from plugs.drafting.drawing import Drawing, Label, Path
from plugs.drafting.styles import LineStyle, line_styles
from plugs.ground.figures import BARE, DECIMAL, LENGTH, rounded
from plugs.ground.records import record

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
_VERTICES: Final = tuple(
    f" 10\n{x}\n 20\n{y}\n{bulge}"
    for bulge in (f" 42\n{DECIMAL}\n", " 42\n%d.0\n", "")
    for y in (DECIMAL, "%d.0")
    for x in (DECIMAL, "%d.0")
)
"""A vertex by which of its numbers are whole, which end in ``.0``, and whether it has a bulge."""


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
    if not drawing.paths:
        raise AssertionError(f"drawing {drawing.name!r} has no lines")
    frame = _frame(_styles(drawing))
    number = frame.first + len(drawing.paths) + len(drawing.labels)
    rows = _polylines(drawing.paths, frame) + _texts(drawing.labels, frame, frame.first + len(drawing.paths))
    tables, after = frame.tables, frame.after
    for i in range(frame.n_late):
        late, found = f"{_LATE + i:X}", f"{number + i:X}"
        tables, after = tables.replace(late, found), after.replace(late, found)
    return "".join((tables.replace(_TITLE, " ".join(drawing.title.split())), rows, after))


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


def _polylines(paths: Sequence[Path], frame: _Frame) -> str:
    """Return joined polylines: of each its vertices, with the bulge after those that have one."""
    # a millionth of a millimetre, so that the last bit of a sum never shows; + 0.0 turns -0 to 0
    points = np.round(np.concatenate([path.points for path in paths]), LENGTH.finest) + 0.0
    bulges = np.round(np.concatenate([path.bulges for path in paths]), BARE.finest) + 0.0
    numbers = np.column_stack((points, bulges))
    kinds = (np.rint(numbers) == numbers) @ (1, 2, 4) + np.where(bulges == 0.0, 4, 0)
    values = numbers[np.column_stack((np.full((len(bulges), 2), True), bulges != 0.0))].tolist()
    forms, rows, begin = [_VERTICES[kind] for kind in kinds.tolist()], list[str](), 0
    for number, path in enumerate(paths, start=frame.first):
        n = len(path.points)
        head = _entity("LWPOLYLINE", number, frame.owner, path.dxf_layer, "AcDbPolyline").replace("%", "%%")
        rows += (f"{head} 90\n{n}\n 70\n{int(path.is_closed)}\n", *forms[begin : begin + n])
        begin += n
    return "".join(rows) % tuple(values)


def _texts(labels: Sequence[Label], frame: _Frame, first: int) -> str:
    """Return lines of text."""
    at = rounded(np.array([label.at for label in labels]).reshape(-1, 2), LENGTH.finest)
    rows = []
    for number, (label, (x, y)) in enumerate(zip(labels, at.tolist(), strict=True), start=first):
        # a caret at the end would take the next row in
        text = label.text.replace("\n", "").replace("\r", "").rstrip("^")
        across, up = (" 72\n1\n", " 73\n2\n") if label.align == "centre" else ("", "")
        left, low = str(x), str(y)
        rows.append(
            f"{_entity('TEXT', number, frame.owner, label.dxf_layer, 'AcDbText')}"
            f" 10\n{left}\n 20\n{low}\n 30\n0.0\n 40\n{float(label.height)}\n  1\n{text}\n{across}"
            f" 11\n{left}\n 21\n{low}\n 31\n0.0\n100\nAcDbText\n{up}"
        )
    return "".join(rows)


def _entity(kind: str, number: int, owner: str, dxf_layer: str, part: str) -> str:
    """Return how a line or a text begins."""
    return f"  0\n{kind}\n  5\n{number:X}\n330\n{owner}\n100\nAcDbEntity\n  8\n{dxf_layer}\n100\n{part}\n"
