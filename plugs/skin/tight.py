"""Blends that are too tight for what is laid over them."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from plugs.ground.errors import PlugError
from plugs.ground.tolerances import LENGTH
from plugs.lines.plane import of_last
from plugs.lines.rings import panel_tangents
from plugs.lines.stations import Loft
from plugs.skin.skin import Cover


def check_blends(finish: Loft, cover: Cover) -> None:
    """Refuse blends that the skin would turn inside out.

    Parameters
    ----------
    finish : Loft
    cover : Cover

    Raises
    ------
    PlugError
        A radius smaller than what lies over it, along the plug or at an end.
    """
    table = finish.table
    panels = np.abs(cover.panels)
    thick = np.maximum(panels, np.roll(panels, 1))
    way = -1.0 if (cover.panels < 0.0).any() else 1.0
    u = table.x
    corners, radius, rise = finish.unblended(u, finish.lean_at(u))
    start, end = panel_tangents(corners, rise)
    before = of_last(end)
    turn = before[..., 0] * start[..., 1] - before[..., 1] * start[..., 0]
    is_tight = (radius > 0.0) & (way * turn > 0.0) & (radius < thick - LENGTH)
    places = {
        f"stations[{s}].corners[{table.drawn_corners[table.corner_of[c]]!r}].radius": (
            float(radius[s, c]),
            float(thick[c]),
        )
        for s, c in np.argwhere(is_tight)
    }
    _refuse_blends(places)
    for name, finished, depth in (("front", table.front, cover.front), ("rear", table.rear, cover.rear)):
        radii = finished.radii(name).items()
        _refuse_blends({word: (r, depth) for word, r in radii if 0.0 < r < depth - LENGTH})


def _refuse_blends(places: Mapping[str, tuple[float, float]]) -> None:
    """Refuse blends tighter than their skin, if there are any: by parameter its radius and skin."""
    if not places:
        return
    param, (radius, depth) = next(iter(places.items()))
    most = max(skin for _, skin in places.values())
    others = f" here and at {len(places) - 1} more corners" if len(places) > 1 else ""
    raise PlugError(
        param=param,
        value=radius,
        reason=f"{depth:g} mm of skin over this blend leave it no radius in the foam",
        remedy=f"use 0 for a sharp edge{others}, or {np.ceil(10.0 * most + 5.0) / 10.0:g} or more where the "
        "panels have room for it",
        would_do=[(name, 0.0) for name in places],
    )
