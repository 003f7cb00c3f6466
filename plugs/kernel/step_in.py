"""What the kernel is asked about a STEP file, and what it answers: records that travel between processes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from plugs.ground.records import record

Array = NDArray[np.float64]
Indices = NDArray[np.int64]


@record(frozen=True, slots=True, kw_only=True, eq=False)
class StepRequest:
    """A STEP file to read, place and turn to triangles.

    Attributes
    ----------
    content : bytes
        The file.
    bare_unit_mm : float
        What a number of the file is worth if the file names no unit of length; 0 if nobody has said.
    frame : (3, 4) float
        Rotation (dimensionless) and position (mm): columns are the images of the axes, and of 0.
    tolerance : float, mm
        Largest distance between a surface and its triangles.
    """

    content: bytes
    bare_unit_mm: float
    frame: Array
    tolerance: float


@record(frozen=True, slots=True, kw_only=True, eq=False)
class StepBody:
    """What a STEP file holds.

    Attributes
    ----------
    fault : str
        Why it cannot be read; empty if it can.
    units : tuple of str
        The units of length that the file names, by the kernel's words.
    sizes : tuple of tuple of float, mm
        Length of the box round each solid along x, y and z, in the file's own axes.
    vertices : (n, 3) float, mm
        Of the only solid, placed; of none if there are more or fewer.
    triangles : (m, 3) int
        Facing outward; vertices on common edges are not shared.
    brep : bytes
        The only solid as the kernel's BREP text, placed.
    """

    fault: str = ""
    units: tuple[str, ...] = ()
    sizes: tuple[tuple[float, float, float], ...] = ()
    vertices: Array
    triangles: Indices
    brep: bytes = b""
