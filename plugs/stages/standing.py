"""The bays of foam between station templates that stand in the stack."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import Finding
from plugs.recipe.plug import Plug
from plugs.templates.bays import FoamBay, foam_bays
from plugs.templates.words import checked_templates, station_spans

Array = NDArray[np.float64]


def stack_bays(plug: Plug, lower: Array, upper: Array) -> tuple[tuple[FoamBay, ...], tuple[Finding, ...]]:
    """Return the bays of foam between station templates, none where these do not stand in the stack.

    Parameters
    ----------
    lower, upper : (3,) float, mm
        Box round the foam.
    """
    if plug.templates is None or not plug.stack.between_templates:
        return (), ()
    low, high = float(lower[0]), float(upper[0])
    stations = [station.x for station in plug.stations]
    spans, found = station_spans(checked_templates(plug.templates), stations, low, high)
    return foam_bays(spans, plug.stack.thicknesses, low, high), found
