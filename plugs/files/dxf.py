"""Drawings as DXF: millimetres, joined outlines with true arcs, the same bytes every time."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Final

import numpy as np

from plugs.drafting.picture import Drawing, Label, Path
from plugs.drafting.styles import line_styles

if TYPE_CHECKING:
    from ezdxf.document import Drawing as Document
    from ezdxf.layouts.layout import Modelspace

UNITS_MM: Final = 4
"""$INSUNITS 4 is the millimetre (system-variable page of the format's vendor, confirmed)."""

MEASUREMENT_METRIC: Final = 1
"""$MEASUREMENT 1 is metric (system-variable page of the format's vendor, from memory)."""

_STROKE_AND_GAP: Final = (1.0, -1.0, 1.0, -1.0)
"""A line's pattern has strokes above 0 and gaps below, after its whole length (the library's own pages)."""


def load_library() -> None:
    """Load the library now, so that the first drawing need not wait for it."""
    import ezdxf.filemanagement  # noqa: F401 - for its loading


def render_dxf(drawing: Drawing) -> str:
    """Return a drawing as the text of a DXF file, version R2010.

    Parameters
    ----------
    drawing : Drawing
        The picture, mm.

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
    from ezdxf import options  # type: ignore[attr-defined]  # its types do not list it
    from ezdxf.filemanagement import new

    if not drawing.paths:
        raise AssertionError(f"drawing {drawing.name!r} has no lines")
    kept = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        document = new("R2010", units=UNITS_MM)
        document.header["$MEASUREMENT"] = MEASUREMENT_METRIC
        document.header.custom_vars.append("Title", " ".join(drawing.title.split()))
        _add_dxf_layers(document, drawing)
        space = document.modelspace()
        for path in drawing.paths:
            _add_path(space, path)
        for label in drawing.labels:
            _add_label(space, label)
        errors = document.audit().errors
        if errors:
            raise AssertionError(f"drawing {drawing.name!r}: {'; '.join(str(e.message) for e in errors)}")
        # the library would list the classes in the order of a set, which changes from run to run
        for kind in sorted(document.entitydb.dxf_types_in_use()):
            document.classes.add_class(kind)
        text = io.StringIO()
        document.write(text)
    finally:
        options.write_fixed_meta_data_for_testing = kept
    return text.getvalue()


def _add_dxf_layers(document: Document, drawing: Drawing) -> None:
    """Give every group of lines and texts its own colour and kind of line."""
    for name, style in line_styles(drawing).items():
        kind = "Continuous"
        if style.dash:
            kind = "DASH_" + "_".join(f"{part:g}" for part in style.dash)
            if kind not in document.linetypes:
                pattern = [sign * part for sign, part in zip(_STROKE_AND_GAP, style.dash, strict=False)]
                document.linetypes.add(kind, [sum(style.dash), *pattern])
        document.layers.add(name, color=style.index, linetype=kind)


def _add_path(space: Modelspace, path: Path) -> None:
    """Add one joined polyline with its bulges."""
    # a millionth of a millimetre, so that the last bit of a sum never shows; + 0.0 turns -0 to 0
    points = np.round(path.points, 6) + 0.0
    bulges = np.round(path.bulges, 12) + 0.0
    vertices = np.column_stack((points, bulges)).tolist()
    space.add_lwpolyline(vertices, format="xyb", close=path.is_closed, dxfattribs={"layer": path.dxf_layer})


def _add_label(space: Modelspace, label: Label) -> None:
    """Add one line of text."""
    from ezdxf.enums import TextEntityAlignment

    align = TextEntityAlignment.MIDDLE_CENTER if label.align == "centre" else TextEntityAlignment.LEFT
    at = (round(label.at[0], 6) + 0.0, round(label.at[1], 6) + 0.0)
    text = space.add_text(label.text, height=label.height, dxfattribs={"layer": label.dxf_layer})
    text.set_placement(at, align=align)
