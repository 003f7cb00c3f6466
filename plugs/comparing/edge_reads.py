"""What a fit list says of the edges of mating faces: how far the part runs past a face, or ends short of it.

The nearest surface would not tell: where a part ends short, its edge lies on the panel that it is drawn with.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.body.mating import VIEWS, MatingCut
from plugs.ground.records import record
from plugs.sanding.fit_list import edge_words
from plugs.stages.worked import Worked

Array = NDArray[np.float64]


@record(frozen=True, slots=True, kw_only=True)
class EdgeRead:
    """A place on the edge of a mating face.

    Attributes
    ----------
    number : int
        Of the point.
    place : str
        As the fit list names it.
    off : float, mm
        From the face as it is drawn, square to it in its view: + the part is too long, - too short.
    """

    number: int
    place: str
    off: float


def edge_reads(work: Worked, labels: tuple[str, ...], points: Array) -> tuple[EdgeRead, ...]:
    """Return the points that a fit list has on the edges of faces that follow a contour.

    Parameters
    ----------
    work : Worked
    labels : tuple of str
        Of the points; none when they were not measured by a fit list.
    points : (k, 3) float, mm
        As they are laid on the plug.

    Returns
    -------
    tuple of EdgeRead
    """
    found = []
    for cut in work.cutters.mating:
        if not isinstance(cut, MatingCut):
            continue
        columns = ["xyz".index(name) for name in VIEWS[cut.item.view][1]]
        line = shapely.LineString(cut.curve)
        cut_away = shapely.Polygon(np.concatenate([cut.curve, cut.closing]))
        for i, label in enumerate(labels):
            if label.startswith(edge_words(cut.item.name)):
                at = shapely.Point(points[i, columns])
                off = line.distance(at) * (1.0 if cut_away.contains(at) else -1.0)
                found.append(EdgeRead(number=i, place=label, off=off))
    return tuple(found)
