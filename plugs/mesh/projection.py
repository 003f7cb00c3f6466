"""The one projection of points of space on a picture: parallel, with what points right and up given."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.records import record

Array = NDArray[np.float64]
Way = tuple[float, float, float]


@record(frozen=True, slots=True, kw_only=True)
class Projection:
    """A direction to look in.

    Attributes
    ----------
    right, up : tuple of 3 float, dimensionless
        What points right and up in the picture; unit vectors square to each other.
    """

    right: Way
    up: Way

    def seen(self, points: Array) -> Array:
        """Return points, or directions, as they lie in the picture.

        Parameters
        ----------
        points : (..., 3) float, mm

        Returns
        -------
        (..., 3) float, mm
            To the right, up, and towards the one who looks.
        """
        toward = np.cross(self.right, self.up)
        turned = points.reshape(-1, 3) @ np.array([self.right, self.up, toward]).T  # one product, not many
        return np.asarray(turned.reshape(points.shape))


FROM_ABOVE: Final = Projection(right=(1.0, 0.0, 0.0), up=(0.0, 1.0, 0.0))
FROM_BELOW: Final = Projection(right=(1.0, 0.0, 0.0), up=(0.0, -1.0, 0.0))
FROM_LEFT: Final = Projection(right=(1.0, 0.0, 0.0), up=(0.0, 0.0, 1.0))
FROM_RIGHT: Final = Projection(right=(-1.0, 0.0, 0.0), up=(0.0, 0.0, 1.0))
FROM_BEHIND: Final = Projection(right=(0.0, 1.0, 0.0), up=(0.0, 0.0, 1.0))
FROM_FRONT: Final = Projection(right=(0.0, -1.0, 0.0), up=(0.0, 0.0, 1.0))
"""A plug square to its axes: x to the rear, y to the right, z up."""
