"""Outlines as a table for programs that read no drawings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from plugs.drafting.outlines import PLANES, LayerOutlines, canonical_rings
from plugs.ground.figures import LENGTH, cell
from plugs.tables.rows import csv_text, fixed_rows

COLUMNS: Final = ("layer", "face", "ring", "kind", "h_axis", "v_axis", "h_mm", "v_mm", "along_mm")


def outlines_csv(layers: Sequence[LayerOutlines]) -> bytes:
    """Return every vertex of every outline as comma-separated text in UTF-8, one vertex to a row.

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
            for number, (kind, ring) in enumerate(canonical_rings(outline), start=1):
                start = csv_text([[layer.name, face, str(number), kind, across, up]]).rstrip("\n")
                parts.append(fixed_rows(ring, LENGTH.table, f"{start},", f",{cell(along, 'along_mm')}\n"))
    return b"".join(parts)
