"""Outlines as a table for programs that read no drawings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.drafting.outlines import PLANES, LayerOutlines, rings_of
from plugs.ground.figures import LENGTH, cell
from plugs.tables.rows import csv_text, fixed_rows

Array = NDArray[np.float64]

_IN_LINE: Final = 1e-3
"""A twentieth of the chords that a curve is drawn by, mm: no saw and no printer shows it."""

_BATCH: Final = 64
"""Layers at once, so that what their rows take meanwhile is little."""

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
    parts += [_rows_of(layers[begin : begin + _BATCH]) for begin in range(0, len(layers), _BATCH)]
    return b"".join(parts)


def _rows_of(layers: Sequence[LayerOutlines]) -> bytes:
    """Return the rows of some layers."""
    ends, rings = list[tuple[str, str]](), list[Array]()
    found = iter(rings_of([face for one in layers for face in (one.lower, one.upper, one.rough)]))
    for layer in layers:
        across, up = PLANES[layer.axis]
        for face, along in (("lower", layer.from_mm), ("upper", layer.to_mm), ("rough", layer.from_mm)):
            tail = f",{cell(along, 'along_mm')}\n"
            for number, (kind, ring) in enumerate(next(found), start=1):
                head = csv_text([[layer.name, face, str(number), kind, across, up]]).rstrip("\n")
                ends.append((f"{head},", tail))
                rings.append(ring)
    if not rings:
        return b""
    points, counts = _without_corners_in_line(rings)
    return fixed_rows(points, LENGTH.table, ends, counts)


def _without_corners_in_line(rings: Sequence[Array]) -> tuple[Array, NDArray[np.intp]]:
    """Return the vertices of rings that do not lie in line with others, and how many each has."""
    which = np.repeat(np.arange(len(rings)), [len(ring) for ring in rings])
    whole = shapely.linearrings(np.concatenate(rings), indices=which)
    thin = shapely.simplify(whole, _IN_LINE, preserve_topology=False)
    is_ring = shapely.get_num_coordinates(thin) > 3
    points, which = shapely.get_coordinates(np.where(is_ring, thin, whole), return_index=True)
    is_last = np.diff(which, append=-1) != 0  # the first again
    return points[~is_last], np.bincount(which[~is_last])
