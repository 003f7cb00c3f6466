"""Outlines as a table for programs that read no drawings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.drafting.outlines import PLANES, LayerOutlines, canonical_rings
from plugs.ground.figures import LENGTH, cell
from plugs.tables.rows import csv_text, fixed_rows

Array = NDArray[np.float64]

_IN_LINE: Final = 1e-3
"""A twentieth of the chords that a curve is drawn by, mm: no saw and no printer shows it."""

COLUMNS: Final = ("layer", "face", "ring", "kind", "h_axis", "v_axis", "h_mm", "v_mm", "along_mm")


def outlines_csv(layers: Sequence[LayerOutlines]) -> bytes:
    """Return the vertices of every outline as comma-separated text in UTF-8, one vertex to a row.

    What lies in line with others to a thousandth of a millimetre is left out.

    Parameters
    ----------
    layers : sequence of LayerOutlines
        The layers in the order of the stack, mm.

    Returns
    -------
    bytes
        A header and the rows. ``ring`` counts from 1 within a face; ``kind`` is ``outer`` or
        ``hole``; ``face`` is ``lower``, ``upper`` or ``rough``; ``along_mm`` is the position on the
        stack's axis, for the rough outline that of the lower face. Lines end in ``"\\n"``.
    """
    parts = [f"{','.join(COLUMNS)}\n".encode()]
    for layer in layers:
        across, up = PLANES[layer.axis]
        for face, outline, along in (
            ("lower", layer.lower, layer.from_mm),
            ("upper", layer.upper, layer.to_mm),
            ("rough", layer.rough, layer.from_mm),
        ):
            for number, (kind, whole) in enumerate(canonical_rings(outline), start=1):
                ring = _without_corners_in_line(whole)
                start = csv_text([[layer.name, face, str(number), kind, across, up]]).rstrip("\n")
                parts.append(fixed_rows(ring, LENGTH.table, f"{start},", f",{cell(along, 'along_mm')}\n"))
    return b"".join(parts)


def _without_corners_in_line(ring: Array) -> Array:
    """Return a ring without vertices that lie in line with those that are left."""
    thin = shapely.simplify(shapely.linearrings(ring), _IN_LINE, preserve_topology=False)
    points = shapely.get_coordinates(thin)[:-1]
    return points if len(points) > 2 else ring
