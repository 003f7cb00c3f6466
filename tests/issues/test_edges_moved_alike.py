"""Plies over one patch move its edge alike by turns: what moves alike is made once."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from plugs.cloth.edges import MovedEdges, PatchEdge


def test_what_moves_alike_is_made_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """A square of 200 mm in four runs: its outline again asks the library nothing, with one run moved little.

    Closed forms: sides that move out by d and e make a rectangle of 200 + d + e.
    """
    corners = np.array([[0, 0], [200, 0], [200, 200], [0, 200], [0, 0]], dtype=float)
    runs = tuple((k, np.array([k, (k + 1) % 4]), False) for k in range(4))
    lines = tuple(shapely.LineString(corners[k : k + 2]) for k in range(4))
    edge = PatchEdge(zone_outline=shapely.Polygon(corners), runs=runs, lines=lines, spots=(), centrelines=())
    asked, buffer = [0], shapely.buffer

    def counted(*words: object, **more: object) -> object:
        asked[0] += 1
        return buffer(*words, **more)

    monkeypatch.setattr(shapely, "buffer", counted)
    moved = MovedEdges(edge)
    whole = moved.outline([30.0, 20.0, 30.0, 20.0])
    assert whole.bounds == pytest.approx((-20.0, -30.0, 220.0, 230.0), abs=1e-6)
    assert whole.area == pytest.approx(240.0 * 260.0, rel=1e-9)
    first, asked[0] = asked[0], 0
    assert moved.outline([30.0, 20.0, 30.0, 20.0]) is whole
    assert not asked[0]
    trimmed = moved.outline([30.0, 20.0, 30.0, 0.0])
    assert trimmed.bounds == pytest.approx((0.0, -30.0, 220.0, 230.0), abs=1e-6)
    assert asked[0] < first / 3
    assert trimmed.equals_exact(MovedEdges(edge).outline([30.0, 20.0, 30.0, 0.0]), 0.0)
