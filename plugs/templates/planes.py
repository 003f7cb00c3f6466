"""Planes square to a plug's curve: bodies and points as they lie to one, and back."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from plugs.mesh import mesh
from plugs.mesh.mesh import Body

Array = NDArray[np.float64]


def frame_of(plane: Array, at_mm: float) -> Array:
    """Return the axes of a plane, and where the curve would begin if it ran straight on from there.

    Parameters
    ----------
    plane : (3, 4) float, dimensionless and mm
        Axes and origin: along the curve, to its right, up.
    at_mm : float
        Length along the curve.

    Returns
    -------
    (3, 4) float, dimensionless and mm
    """
    return np.column_stack([plane[:, :3], plane[:, 3] - at_mm * plane[:, 0]])


def square_to(body: Body, plane: Array, at_mm: float) -> Body:
    """Return a body as it lies to a plane.

    Parameters
    ----------
    body : Body
    plane : (3, 4) float, dimensionless and mm
    at_mm : float
        Length along the curve: where the plane comes to lie along x.

    Returns
    -------
    Body
    """
    turn = plane[:, :3].T
    return mesh.placed(body, np.column_stack([turn, [at_mm, 0.0, 0.0] - turn @ plane[:, 3]]))
