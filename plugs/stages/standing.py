"""The bays of foam between station templates that stand in the stack."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from plugs.recipe.plug import Plug
from plugs.templates.bays import FoamBay, foam_bays
from plugs.templates.words import Templates, station_spans

Array = NDArray[np.float64]


def stack_bays(plug: Plug, in_stack: Templates | None, lower: Array, upper: Array) -> tuple[FoamBay, ...]:
    """Return the bays of foam between station templates, none where these do not stand in the stack.

    Parameters
    ----------
    in_stack : Templates or None
        That stand in the stack.
    lower, upper : (3,) float, mm
        Box round the foam.
    """
    if in_stack is None:
        return ()
    low, high = float(lower[0]), float(upper[0])
    spans, _ = station_spans(in_stack, [station.x for station in plug.stations], low, high)
    return foam_bays(spans, plug.stack.thicknesses, low, high)
