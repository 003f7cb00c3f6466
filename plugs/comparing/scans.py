"""Points of a scan: STL, PLY, OBJ and plain rows of numbers, in whatever unit they are."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.comparing.surface import neighbours_first
from plugs.ground.errors import PlugError
from plugs.mesh.stl_in import read_stl

Array = NDArray[np.float64]

MOST_POINTS: Final = 2_000_000
"""A point every 1.2 mm on 3 m2: more says nothing that a builder can sand to."""

LARGEST_FILE: Final = 300_000_000
"""Bytes: an STL of four million facets has 200 MB."""

_PLY_KINDS: Final = MappingProxyType(
    {"char": "i1", "int8": "i1", "uchar": "u1", "uint8": "u1", "short": "i2", "int16": "i2"}
    | {"ushort": "u2", "uint16": "u2", "int": "i4", "int32": "i4", "uint": "u4", "uint32": "u4"}
    | {"float": "f4", "float32": "f4", "double": "f8", "float64": "f8"}
)
_PLY_ORDERS: Final = MappingProxyType({"binary_little_endian": "<", "binary_big_endian": ">"})
_FACETS: Final = 2 * MOST_POINTS  # a closed mesh has two to a corner
_HEAD_ROWS: Final = 20  # before the first point, at most
_SEPARATORS: Final = bytes.maketrans(b",;\t", b"   ")


def is_scan(path: Path) -> bool:
    """Return whether a file is one of the scans that are read, by the ending of its name."""
    return path.suffix.lower() in READERS


def scan_points(path: Path) -> Array:
    """Return the points of a scan; normals, colours and faces are passed over.

    Parameters
    ----------
    path : Path
        A file whose name ends in .stl, .ply, .obj, .xyz, .asc or .pts.

    Returns
    -------
    (n, 3) float, in the file's own unit
        Neighbours soon after each other, whatever their order in the file.

    Raises
    ------
    PlugError
        The file cannot be read, is too large or no such file, or holds too few or too many points.
    """
    content = _content(path)
    points = READERS[path.suffix.lower()](content, path.name)
    wrong = ~np.isfinite(points).all(axis=1)
    if wrong.any():
        raise _fault(
            path.name,
            f"{int(wrong.sum())} of its {len(points)} points are no numbers, the first of them "
            f"point {int(np.argmax(wrong)) + 1}",
            "export it again without points that were not measured, or take them out",
        )
    if len(points) > MOST_POINTS:
        every = -(-len(points) // MOST_POINTS)
        raise _fault(
            path.name,
            f"it has {len(points)} points, and at most {MOST_POINTS} are read",
            f"export it with 1 point in {every}: a point every 1 mm is enough",
        )
    return points[neighbours_first(points)]


def _content(path: Path) -> bytes:
    """Return what is in a file."""
    try:
        size = path.stat().st_size
        if size > LARGEST_FILE:
            raise _fault(
                path.name,
                f"it has {size / 1e6:.0f} MB, and at most {LARGEST_FILE / 1e6:.0f} MB are read",
                f"export it coarser, {LARGEST_FILE / size:.2g} of its points, or only what is compared",
            )
        return path.read_bytes()
    except OSError as error:
        reason = f"it cannot be read: {error.strerror or error}"
        raise _fault(str(path), reason, "check the name and the rights of the file") from error


def _fault(name: str, reason: str, remedy: str) -> PlugError:
    """Return an error about a scan as a whole."""
    return PlugError(param="measured", value=name, reason=reason, remedy=remedy)


def _stl(content: bytes, name: str) -> Array:
    """Return the corners of an STL file, each once."""
    corners = read_stl(content, "measured", name, most=_FACETS).reshape(-1, 3)
    bits = np.ascontiguousarray(corners.astype(np.float32) + 0.0).view(np.uint32).astype(np.uint64)
    # corners of one place have one number; that two places should have the same is next to impossible
    key = (
        bits * np.array([0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9], dtype=np.uint64)
    ).sum(axis=1)
    return np.asarray(corners[np.sort(np.unique(key, return_index=True)[1])])


def _ply(content: bytes, name: str) -> Array:
    """Return the vertices of a PLY file (public descriptions of the format, from memory)."""
    head, end, _ = content[:65536].partition(b"end_header")
    rows = [row.split() for row in head.decode("ascii", "replace").splitlines()]
    if not end or not rows or rows[0][:1] != ["ply"]:
        raise _fault(name, "its head is not that of a PLY file", "export it again as PLY, or as XYZ")
    begin = content.index(b"\n", len(head)) + 1
    coding = next((row[1] for row in rows if row[:1] == ["format"] and len(row) > 1), "")
    elements = [i for i, row in enumerate(rows) if row[:1] == ["element"]]
    first = elements[0] if elements else 0
    last = elements[1] if len(elements) > 1 else len(rows)
    kinds = [row for row in rows[first + 1 : last] if row[:1] == ["property"]]
    names = [row[-1] for row in kinds]
    is_told = bool(elements) and rows[first][1:2] == ["vertex"] and {"x", "y", "z"} <= set(names)
    if not is_told or any(row[1] not in _PLY_KINDS for row in kinds) or not rows[first][2].isdigit():
        raise _fault(
            name, "its head does not begin with vertices of x, y and z", "export it again as PLY or as XYZ"
        )
    count = int(rows[first][2])
    columns = [names.index(axis) for axis in "xyz"]
    if coding == "ascii":
        lines = content[begin:].split(b"\n", count)[:count]
        return _rows(b"\n".join(lines), name, columns)
    if coding not in _PLY_ORDERS:
        raise _fault(name, f"its coding {coding!r} is not known", "export it as binary or as text")
    kind = np.dtype([(str(i), _PLY_ORDERS[coding] + _PLY_KINDS[row[1]]) for i, row in enumerate(kinds)])
    if len(content) - begin < count * kind.itemsize:
        raise _fault(name, f"it is cut short: its head tells of {count} points", "copy it again")
    held = np.frombuffer(content, dtype=kind, count=count, offset=begin)
    return np.column_stack([held[str(i)].astype(np.float64) for i in columns])


def _obj(content: bytes, name: str) -> Array:
    """Return the vertices of an OBJ file: its rows that begin with v."""
    return _rows(b"\n".join(row[2:] for row in content.splitlines() if row.startswith((b"v ", b"v\t"))), name)


def _xyz(content: bytes, name: str) -> Array:
    """Return the first three columns of rows of numbers; a head, and rows of one number, are passed over."""
    rows = content.translate(_SEPARATORS).splitlines()
    first = next((i for i, row in enumerate(rows[:_HEAD_ROWS]) if _is_row(row)), len(rows[:_HEAD_ROWS]))
    return _rows(b"\n".join(rows[first:]), name)


def _is_row(row: bytes) -> bool:
    """Return whether a row holds three numbers or more."""
    words = row.split()
    try:
        return len([float(word) for word in words[:3]]) == 3
    except ValueError:
        return False


def _rows(text: bytes, name: str, columns: list[int] | None = None) -> Array:
    """Return three columns of rows of numbers."""
    if not text.strip():
        return np.empty((0, 3))
    try:
        found = np.loadtxt(
            text.decode("ascii", "replace").splitlines(), usecols=columns or [0, 1, 2], ndmin=2
        )
    except ValueError as error:
        raise _fault(
            name, f"a row of it does not hold three numbers: {error}", "export it again, x y z in each row"
        ) from error
    return np.asarray(found, dtype=np.float64)


READERS: Final[Mapping[str, Callable[[bytes, str], Array]]] = MappingProxyType(
    {".stl": _stl, ".ply": _ply, ".obj": _obj, ".xyz": _xyz, ".asc": _xyz, ".pts": _xyz}
)
"""What reads a scan, by the ending of its name."""
