"""Find room for words inside a part, clear of its lines and of each other."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np
import shapely

from plugs.drafting.picture import Box, Label, label_box

_SEEN: Final = 0.1
_TRIED: Final = 3


class Room:
    """The room inside a part that no line crosses, less what has been taken.

    Parameters
    ----------
    region : shapely polygons, mm
        The part, holes left out.
    lines : sequence of shapely geometry, mm
        Lines drawn across it.
    clear : float, mm
        Left free beside every line and edge.
    """

    def __init__(self, region: shapely.Geometry, lines: Sequence[shapely.Geometry], clear: float) -> None:
        """Take the lines out of the part."""
        free = shapely.buffer(shapely.simplify(region, _SEEN), -clear - _SEEN, quad_segs=2)
        if len(lines):
            free = free.difference(shapely.union_all(shapely.buffer(lines, clear, cap_style="flat")))
        self.free = free
        shapely.prepare(self.free)
        self._taken: list[Box] = []

    def take(self, box: Box) -> bool:
        """Take a box if it is free.

        Parameters
        ----------
        box : tuple of 4 float, mm
            Smallest x, smallest y, largest x, largest y.

        Returns
        -------
        bool
            Whether it was.
        """
        x0, y0, x1, y1 = box
        if any(x0 < b[2] and b[0] < x1 and y0 < b[3] and b[1] < y1 for b in self._taken):
            return False
        if not shapely.contains_properly(self.free, shapely.box(*box)):
            return False
        self._taken.append(box)
        return True

    def first(self, labels: Iterable[Label]) -> list[Label]:
        """Return the first of several labels that has room, and take it; none where none has.

        Parameters
        ----------
        labels : iterable of Label

        Returns
        -------
        list of Label
            One, or none.
        """
        for label in labels:
            if self.take(label_box(label)):
                return [label]
        return []

    def widest(self, shape: float, within: shapely.Geometry) -> tuple[float, float, float]:
        """Return the largest free box of a shape, as near as an ellipse in it tells.

        Parameters
        ----------
        shape : float, dimensionless
            Width over height.
        within : shapely polygon, mm
            The part of the region where it should lie.

        Returns
        -------
        tuple of 3 float, mm
            Its middle, x and y, and its height; 0 where nothing is free.
        """
        parts = shapely.get_parts(shapely.intersection(self.free, within))
        parts = parts[shapely.area(parts) > 0.0]
        if not len(parts):
            return 0.0, 0.0, 0.0
        squeezed = shapely.transform(parts, lambda points: points / np.array([shape, 1.0]))
        # no circle inside has a larger radius than twice the area over the length of edge
        bound = 2.0 * shapely.area(squeezed) / shapely.length(squeezed)
        best = (0.0, 0.0, 0.0)
        for i in np.argsort(-bound, kind="stable")[:_TRIED]:
            circle = shapely.maximum_inscribed_circle(squeezed[i], tolerance=0.03 * float(bound[i]))
            height = float(circle.length) * float(np.sqrt(2.0))
            if height > best[2]:
                x, y = circle.coords[0]
                best = (float(x) * shape, float(y), height)
        return best
