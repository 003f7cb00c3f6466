"""Triangles from an STL file, binary or text. The format has no unit: the numbers come as they stand."""

from __future__ import annotations

import re
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import PlugError

Array = NDArray[np.float64]

_HEAD: Final = 84  # bytes of a binary STL before the first triangle: 80 of text, 4 of count (from memory)
_FACET: Final = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
_VERTEX: Final = re.compile(rb"\bvertex\s+(\S+)\s+(\S+)\s+(\S+)", re.IGNORECASE)
_LARGEST_NUMBER: Final = 1e12  # farther out is damage in any unit
MOST_FACETS: Final = 400_000
"""A body of 2 m within 0.05 mm of its surface has a tenth of it."""


def read_stl(content: bytes, param: str, name: str, *, most: int = MOST_FACETS) -> Array:
    """Return the triangles of an STL file.

    Parameters
    ----------
    content : bytes
        The file.
    param : str
        Where the recipe gives it.
    name : str
        The file's name.
    most : int
        Facets that are read.

    Returns
    -------
    (m, 3, 3) float, in the file's own unit
        Triangles, their corners, x, y and z.

    Raises
    ------
    PlugError
        Not an STL file, cut short, of too many facets, or with a coordinate that is no number.

    References
    ----------
    Binary STL: 80 bytes of heading, a count of 4 bytes, 50 bytes a facet, little-endian; text STL begins
    with "solid" (public descriptions of the format, secondary; there is no official standard).
    """
    count = int.from_bytes(content[80:_HEAD], "little") if len(content) >= _HEAD else 0
    promised = _HEAD + count * _FACET.itemsize
    if count and promised <= len(content):
        _check_count(count, param, name, most)
        facets = np.frombuffer(content, dtype=_FACET, count=count, offset=_HEAD)
        with np.errstate(invalid="ignore"):
            corners = facets["corners"].astype(np.float64)
        return _checked(corners, param, name)
    if content[:512].lstrip().lower().startswith(b"solid") and b"facet" in content[:4096].lower():
        return _checked(_text_corners(content, param, name, most), param, name)
    inside = max(len(content) - _HEAD, 0) // _FACET.itemsize
    raise PlugError(
        param=param,
        value=name,
        reason=f"this is no STEP or STL file: of {len(content)} bytes there is room for {inside} "
        f"facets, and its head would speak of {count}",
        remedy="export it again, as STEP or as binary STL; a file that was cut short has to be copied again",
    )


def _check_count(count: int, param: str, name: str, most: int) -> None:
    """Refuse more facets than a body to fit against needs."""
    if count > most:
        raise PlugError(
            param=param,
            value=name,
            reason=f"it has {count} facets; at most {most} are read",
            remedy=f"export it with a coarser tolerance, {most / count:.2g} of its facets, "
            "or only the part that the plug meets",
        )


def _text_corners(content: bytes, param: str, name: str, most: int) -> Array:
    """Return the corners in a text file."""
    facets = len(re.findall(rb"\bendfacet\b", content, re.IGNORECASE))
    _check_count(facets, param, name, most)
    found = list(_VERTEX.finditer(content))
    if not found or len(found) != 3 * facets:
        raise PlugError(
            param=param,
            value=name,
            reason=f"it has {len(found)} corners for {facets} facets, where each facet has 3",
            remedy="export it again; a file that was cut short has to be copied again",
        )
    try:
        corners = np.array([match.groups() for match in found]).astype(np.float64)
    except ValueError:
        match = next(m for m in found if not all(map(_is_number, m.groups())))
        row = content.count(b"\n", 0, match.start()) + 1
        raise PlugError(
            param=param,
            value=match[0].decode("ascii", "replace"),
            reason="a coordinate is not a number",
            remedy="write 3 numbers after each vertex, such as: vertex 0.0 12.5 3.0",
            where=f"{name}, line {row}",
        ) from None
    return corners.reshape(-1, 3, 3)


def _is_number(text: bytes) -> bool:
    """Return whether a word is a number."""
    try:
        float(text)
    except ValueError:
        return False
    return True


def _checked(corners: Array, param: str, name: str) -> Array:
    """Return triangles, or refuse coordinates that are no lengths in any unit."""
    wrong = ~(np.abs(corners) < _LARGEST_NUMBER).all(axis=(1, 2))
    if wrong.any():
        first = int(np.flatnonzero(wrong)[0])
        raise PlugError(
            param=param,
            value=name,
            reason=f"{int(wrong.sum())} of its {len(corners)} facets have coordinates that are no lengths, "
            f"the first of them facet {first + 1}",
            remedy="export it again, as STEP or as binary STL",
        )
    return corners
