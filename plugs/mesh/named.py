"""Triangle meshes with a name and a colour, as viewers and pictures show them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from plugs.ground.records import record

Array = NDArray[np.float64]
Indices = NDArray[np.int64]


@record(frozen=True, slots=True, kw_only=True, eq=False)
class NamedMesh:
    """A closed mesh in the axes of the plug.

    Attributes
    ----------
    name : str
        As a viewer lists it.
    vertices : (n, 3) float, mm
        Corner points; copied and read-only.
    triangles : (m, 3) int
        Indices of the corners, counter-clockwise seen from outside; copied and read-only.
    colour : str
        ``"#rrggbb"``.
    normals : (n, 3) float or None, dimensionless
        Of the true surface at each corner point; None where triangles are all that is known.
    """

    name: str
    vertices: Array
    triangles: Indices
    colour: str
    normals: Array | None = None

    def __post_init__(self) -> None:
        """Copy the arrays, refuse a mesh that is none, and lock them.

        Raises
        ------
        AssertionError
            The mesh is empty, not finite, of a wrong shape, or has an index out of range.
        """
        points = np.array(self.vertices, dtype=np.float64)
        corners = np.array(self.triangles)
        if points.ndim != 2 or points.shape[1] != 3 or not len(points) or not np.isfinite(points).all():
            raise AssertionError(f"mesh {self.name!r}: vertices {points.shape} are not finite (n, 3)")
        if corners.ndim != 2 or corners.shape[1] != 3 or not len(corners) or corners.dtype.kind not in "iu":
            raise AssertionError(f"mesh {self.name!r}: triangles are {corners.dtype} {corners.shape}")
        if int(corners.min()) < 0 or int(corners.max()) >= len(points):
            raise AssertionError(f"mesh {self.name!r}: an index is out of range")
        corners = corners.astype(np.int64)
        points.setflags(write=False)
        corners.setflags(write=False)
        object.__setattr__(self, "vertices", points)
        object.__setattr__(self, "triangles", corners)


def colour_of(text: str) -> tuple[float, float, float]:
    """Return a colour as parts of red, green and blue.

    Parameters
    ----------
    text : str
        ``"#rrggbb"``.

    Returns
    -------
    tuple of 3 float, dimensionless
        0 to 1, as encoded for a screen (sRGB).

    Raises
    ------
    AssertionError
        It is not written so.
    """
    digits = text.removeprefix("#")
    if len(digits) != 6 or len(text) != 7:
        raise AssertionError(f"colour {text!r} is not written #rrggbb")
    red, green, blue = (int(digits[i : i + 2], 16) / 255.0 for i in (0, 2, 4))
    return red, green, blue
