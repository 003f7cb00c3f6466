"""Triangle meshes as files: binary STL and 3MF, in millimetres, the same bytes every time."""

from __future__ import annotations

import io
import zipfile
from html import escape
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.figures import LENGTH
from plugs.mesh.triangles import normals

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

THREEMF_UNIT: Final = "millimeter"
"""The unit's name in 3MF, core specification 1.4.0 (list of units: confirmed in implementations)."""

_STL_FACET: Final = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
_EARLIEST: Final = (1980, 1, 1, 0, 0, 0)  # the first day that a ZIP can tell: same recipe, same bytes

_CONTENT_TYPES: Final = """<?xml version="1.0" encoding="UTF-8"?>
<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">\
<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>\
<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>\
</Types>
"""
_RELATIONSHIPS: Final = """<?xml version="1.0" encoding="UTF-8"?>
<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">\
<Relationship Target="/3D/3dmodel.model" Id="rel0" \
Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>
"""
_MODEL_START: Final = """<?xml version="1.0" encoding="UTF-8"?>
<model unit="{unit}" xml:lang="en" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">
<metadata name="Title">{title}</metadata>
<resources><object id="1" type="model"><mesh>
<vertices>
"""
_VERTEX: Final = "<vertex " + " ".join(f'{axis}="%.{LENGTH.finest}f"' for axis in "xyz") + "/>\n"
_MODEL_MIDDLE: Final = "</vertices>\n<triangles>\n"
_MODEL_END: Final = """</triangles>
</mesh></object></resources>
<build><item objectid="1"/></build>
</model>
"""


def stl_bytes(vertices: Array, triangles: Indices, name: str) -> bytes:
    """Return a mesh as a binary STL file.

    Parameters
    ----------
    vertices : (n, 3) float, mm
        Corner points.
    triangles : (m, 3) int, dimensionless
        Indices of the corners, counter-clockwise seen from outside.
    name : str
        Put in the header with the unit, which the format itself does not carry.

    Returns
    -------
    bytes
        84 + 50 m bytes, coordinates in single precision.

    Raises
    ------
    AssertionError
        The mesh is empty, not finite, of a wrong shape, or has an index out of range.

    References
    ----------
    Public descriptions of the format; it has no official standard (confirmed, secondary).
    """
    points, corners = _checked(vertices, triangles, name)
    facets = np.zeros(len(corners), dtype=_STL_FACET)
    facets["corners"] = points.take(corners, axis=0)
    facets["normal"] = normals(points.take(corners, axis=0))[0]
    plain = name.encode("ascii", "replace")
    # a header that begins with "solid" would be taken for the text form of the format
    header = (b"binary STL, mm: " + plain)[:80].ljust(80, b" ")
    count = len(facets).to_bytes(4, "little")
    return b"".join((header, count, facets.tobytes()))


def threemf_bytes(vertices: Array, triangles: Indices, *, name: str) -> bytes:
    """Return a mesh as a 3MF file with one object.

    Parameters
    ----------
    vertices : (n, 3) float, mm
        Corner points; written to a millionth of a millimetre.
    triangles : (m, 3) int, dimensionless
        Indices of the corners, counter-clockwise seen from outside.
    name : str
        The title in the file.

    Returns
    -------
    bytes
        A zip archive with the earliest time that the format knows.

    Raises
    ------
    AssertionError
        The mesh is empty, not finite, of a wrong shape, or has an index out of range.

    References
    ----------
    3MF core specification 1.4.0 (title and version confirmed; part names and schemas from memory,
    held by a test that reads the file with another library).
    """
    points, corners = _checked(vertices, triangles, name)
    numbers = (np.round(points, LENGTH.finest) + 0.0).ravel().tolist()
    # one format of the whole list at once: a call for each vertex would take ten times as long
    model = "".join(
        (
            _MODEL_START.format(unit=THREEMF_UNIT, title=escape(name, quote=False)),
            (_VERTEX * len(points)) % tuple(numbers),
            _MODEL_MIDDLE,
            ('<triangle v1="%d" v2="%d" v3="%d"/>\n' * len(corners)) % tuple(corners.ravel().tolist()),
            _MODEL_END,
        )
    )
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        for part, text in (
            ("[Content_Types].xml", _CONTENT_TYPES),
            ("_rels/.rels", _RELATIONSHIPS),
            ("3D/3dmodel.model", model),
        ):
            entry = zipfile.ZipInfo(part, date_time=_EARLIEST)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 0  # else the archive tells on which system it was made
            archive.writestr(entry, text.encode("utf-8"), compresslevel=1)
    return buffer.getvalue()


def _checked(vertices: Array, triangles: Indices, name: str) -> tuple[Array, Indices]:
    """Return the arrays in double precision and whole numbers, or refuse a mesh that is none."""
    points = np.asarray(vertices, dtype=np.float64)
    corners = np.asarray(triangles)
    if points.ndim != 2 or points.shape[1] != 3 or not len(points):
        raise AssertionError(f"solid {name!r}: vertices have the shape {points.shape}, not (n, 3)")
    if corners.ndim != 2 or corners.shape[1] != 3 or not len(corners) or corners.dtype.kind not in "iu":
        raise AssertionError(f"solid {name!r}: triangles are {corners.dtype} {corners.shape}, not (m, 3) int")
    if not np.isfinite(points).all():
        raise AssertionError(f"solid {name!r}: a vertex is not finite")
    lowest, highest = int(corners.min()), int(corners.max())
    if lowest < 0 or highest >= len(points):
        raise AssertionError(f"solid {name!r}: indices {lowest}..{highest}, but {len(points)} vertices")
    return points, corners.astype(np.int64)
