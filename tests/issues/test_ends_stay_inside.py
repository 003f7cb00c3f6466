"""An end's blend takes foam away: nowhere does it stand out of the section that it is drawn from."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from plugs.ground.errors import PlugError
from plugs.lines.checks import checked_loft
from plugs.lines.ring_shapes import drawn_in
from plugs.lines.rings import solve_rings
from plugs.lines.stations import Loft
from tests.invariants.made_plugs import random_plug

LEAST = 0.1
"""mm. Twice what the house tells of, and as much again between the places that it looks at."""


def _farthest_out(loft: Loft) -> float:
    """Return how far sections stand out of those without blends at the ends, mm, by shapely (BSD)."""
    t = np.union1d(loft.breaks, np.linspace(loft.breaks[0], loft.breaks[-1], 100))
    at = loft.sections(t)
    corners, radius, rise = loft.unblended(at.u, at.k)
    n = at.rings.points.shape[1]
    where = np.repeat(np.arange(n), 32), np.tile(np.arange(32) / 32.0, n)
    off = []
    for rounded in (radius, np.zeros_like(radius)):
        whole = shapely.polygons(solve_rings(corners, rounded, rise).at(*where))
        is_whole = shapely.is_valid(whole)
        shapely.prepare(whole)
        points = shapely.points(at.rings.at(*where))
        is_near = shapely.dwithin(points, whole[:, None], LEAST)
        far = np.zeros(points.shape)
        row, place = np.nonzero(~is_near)
        far[row, place] = shapely.distance(points[row, place], whole[row])
        off.append(np.where(is_whole[:, None], far, 0.0))
    return float(np.minimum(*off).max())


@pytest.mark.parametrize(("seed", "stood_out"), [(4740, 23.2), (98, 1.9)])
def test_crowns_nearly_in_line_are_not_drawn_out(seed: int, stood_out: float) -> None:
    """So many mm stood out where two crowns met far away; what is told instead does, and takes foam away."""
    plan = random_plug(seed).plan()
    with pytest.raises(PlugError, match=f"stand {stood_out} mm out of the section") as caught:
        checked_loft(plan)
    ((param, radius),) = caught.value.would_do
    end = param.partition(".")[0]
    told = checked_loft(replace(plan, **{end: replace(getattr(plan, end), radius=radius)}))
    assert _farthest_out(told) < 2.0 * LEAST


@pytest.mark.parametrize("seed", [36, 133, 13, 128, 90, 70, 14])
def test_crowns_that_hardly_meet_stay_inside(seed: int) -> None:
    """A corner between crowns that part was let 0.4 to 1.2 mm out of one of them."""
    assert _farthest_out(checked_loft(random_plug(seed).plan())) < 0.5 * LEAST


@pytest.mark.parametrize("turn_deg", [60.0, 110.0, 160.0])
@pytest.mark.parametrize("crown", [0.0, 0.001, 0.1])
def test_a_hair_of_crown_moves_no_edge(turn_deg: float, crown: float) -> None:
    """Lines at a distance d meet d / cos(turn / 2) from where they met; over 100 degrees a crown undid that.

    Foam under a sharp edge of 20 degrees stood 3.9 mm out of its skin at the end of the plug.
    """
    half = np.radians(0.5 * (180.0 - turn_deg))
    length, deep = 300.0, 15.0
    back = length * np.array([-np.cos(half), np.sin(half)])
    corners = np.array([[[0.0, 0.0], back, back * (1.0, -1.0)]])
    moves = np.array([[deep, 0.0, deep]])
    rise = np.array([[crown, 0.0, crown]])
    moved, _, _ = drawn_in(corners, np.zeros((1, 3)), rise, moves, moves)
    assert moved[0, 0] == pytest.approx([-deep / np.sin(half), 0.0], abs=1e-9 + 2.0 * deep * crown)
