"""The net of a cloth tells of every ply as it lies, and of the cells at the edge of its patch too."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely

from plugs.drape.drape import drape
from plugs.work import opened
from tests.patches import bowl, flat, hemisphere, without

RECIPE = '''"""A crowned cover."""
from plugs import Corner, Plug, Ply, Schedule, Skin, Station


def cover():
    def station(x, rise):
        corners = {"foot": Corner(200.0, 0.0), "edge": Corner(190.0, 60.0)}
        return Station(x=x, corners=corners, crowns={"deck": rise})

    plies = (
        Ply(cloth="cloth 200"), Ply(cloth="cloth 280", bias_deg=90.0), Ply(cloth="cloth 200", bias_deg=30.0),
    )
    return Plug(
        name="Cover", panels=("floor", "side", "deck"), bays="faired",
        stations=(station(0.0, 15.0), station(200.0, 60.0), station(400.0, 15.0)),
        schedule=Schedule(plies=plies, resin="epoxy"), patterns="all",
        skin=Skin(thickness=1.5, no_laminate=("floor", "front", "rear", "side")),
    )
'''


@pytest.mark.parametrize(("polar_deg", "shear_deg"), [(45.0, 16.113), (60.0, 26.946), (75.0, 39.270)])
def test_largest_shear_is_that_at_the_edge(polar_deg: float, shear_deg: float) -> None:
    """On a cap of a sphere, laid from its pole, it is greatest at the edge, on the bias.

    The figures are integrated in tests/reference/test_drape_of_a_hemisphere.py (D). A cell of 1/20 of the
    cap's radius tells of its middle, so that 2.5 degrees may lack; none may come from beyond the edge.
    """
    height = 100.0 * np.cos(np.radians(polar_deg))
    cap = without(hemisphere(100.0, 120, 60), lambda middle: middle[:, 2] < height)
    cell = 5.0 * np.sin(np.radians(polar_deg))
    laid = drape(cap, start=(0.0, 0.0, 100.0), warp=(1.0, 0.2, 0.0), cell=cell)
    assert shear_deg - 2.5 < laid.largest_shear_deg < shear_deg + 1.0


def test_bias_turns_the_warp() -> None:
    """Anti-clockwise seen from outside, and laid so it shears as with that warp written out."""
    turned = drape(flat(100.0, 60.0), bias_deg=30.0)
    assert turned.warp == pytest.approx((np.cos(np.radians(30.0)), 0.5, 0.0), abs=1e-9)
    patch = bowl(100.0, 20.0, 45.0)
    one = drape(patch, start=(0, 0, 0), warp=(1, 0, 0), bias_deg=45.0, cell=8.0)
    same = drape(patch, start=(0, 0, 0), warp=(1, 1, 0), cell=8.0)
    assert one.largest_shear_deg == pytest.approx(same.largest_shear_deg, rel=0.02)
    assert one.largest_shear_deg != pytest.approx(drape(patch, start=(0, 0, 0), cell=8.0).largest_shear_deg)


@pytest.mark.parametrize("start", [(50.0, 30.0), (48.0, 30.9), (45.5, 27.3)])
def test_no_more_than_all_of_a_patch_is_reached(start: tuple[float, float]) -> None:
    """Wherever the cells fall on a plate, they reach 98 to 100 % of it."""
    laid = drape(flat(100.0, 60.0), start=(*start, 0.0), warp=(1.0, 0.3, 0.0), cell=7.0)
    assert 0.98 < laid.reached_ratio <= 1.0
    whole = laid.within_ratio == 1.0
    assert whole.any() and (laid.within_ratio[laid.counted & ~whole] < 1.0).all()


def test_every_direction_of_a_weave_has_its_net(tmp_path: Path) -> None:
    """Plies at 0 and 90 degrees shear alike and share a net; that at 30 has its own, laid by hand here.

    Its piece on the roll is turned as far the other way, so that the roll's length is its warp.
    """
    path = tmp_path / "cover.py"
    path.write_text(RECIPE, encoding="utf-8")
    made = opened(path, {})
    assert made.drape is not None and made.cloth is not None
    assert [(net.plies, net.bias_deg) for net in made.drape.laid] == [((1, 2), 0.0), ((3,), 30.0)]
    straight, turned = made.drape.laid
    assert len({straight.name, turned.name}) == 2
    for net, bias in ((straight, 0.0), (turned, 30.0)):
        by_hand = drape(net.surface, bias_deg=bias, cell=straight.drape.cell)
        assert net.drape.largest_shear_deg == pytest.approx(by_hand.largest_shear_deg, abs=1.0)  # cells
    between = np.degrees(np.arccos(np.dot(straight.drape.warp, turned.drape.warp)))
    assert between == pytest.approx(30.0, abs=0.5)
    (one,) = [one for roll in made.cloth.rolls for one in roll.laid if one.pattern.ply == 3]
    warp = np.array([np.cos(np.radians(30.0)), np.sin(np.radians(30.0))])
    begin, finish = np.asarray(one.moved(shapely.LineString([(0.0, 0.0), tuple(warp)])).coords)
    assert abs((finish - begin)[0]) == pytest.approx(1.0, abs=1e-9)
