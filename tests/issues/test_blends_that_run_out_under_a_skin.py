"""Fixed: a blend that ran out in a rounded end, under a skin, ended in a step of 0.004 mm: no STEP file.

What its radius gained there, to lie as deep as asked, was kept to the last: 0.009 mm of radius, then none.
"""

from __future__ import annotations

import numpy as np
import pytest

from plugs.kernel.spline_strips import fit_strips
from plugs.lines.section import Corner, End, Station
from plugs.recipe.plug import Plug
from plugs.skin.skin import Skin
from plugs.work import Work, work_out


def lid(floor: float, rake_deg: float, places: tuple[tuple[float, float], ...]) -> Work:
    """Return a tapered lid with rounded sills, its ends blended to the floor by a radius of its own."""
    stations = []
    for x, share in places:
        half = 280.0 * share
        corners = {"sill": Corner(half, 0.0, 8.0), "edge": Corner(half - 25.0, 110.0, 20.0)}
        stations.append(Station(x=x, corners=corners))
    front, rear = (End(radius=r, by_panel={"floor": floor}, rake_deg=rake_deg) for r in (0.0, 30.0))
    plug = Plug(
        name="Lid", panels=("floor", "side", "deck"), stations=stations, front=front, rear=rear,
        skin=Skin(thickness=0.64),
    )  # fmt: skip
    return work_out(plug)


@pytest.mark.parametrize(
    ("floor", "rake_deg", "places"),
    [
        (8.0, 0.0, ((0.0, 0.95), (350.0, 1.0), (700.0, 0.9))),
        (8.0, -6.0, ((0.0, 1.0), (700.0, 0.9))),
        (0.0, -6.0, ((0.0, 0.95), (350.0, 1.0), (700.0, 0.9))),
    ],
)
def test_a_blend_that_runs_out_ends_without_a_step(
    floor: float, rake_deg: float, places: tuple[tuple[float, float], ...]
) -> None:
    """Its sections join where it ends, and strips follow them."""
    foam = lid(floor, rake_deg, places).lines.foam
    for near in foam.breaks[1:-1]:
        at = foam.sections(near + np.array([-1e-6, 1e-6]))
        assert np.abs(np.diff(at.rings.points, axis=0)).max() < 1e-4
    assert fit_strips(foam).spans
