"""Half-lap slots: where they lie, how wide and deep, and what is refused."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
import shapely

from plugs.templates.slots import RUN_OUT, Fit, Slot, Upright, interlock, slotted, sturdy_parts

FIT = Fit(opens="below", clearance=0.2)


def plate(name: str, at: float, region: shapely.Geometry, thickness: float = 6.0) -> Upright:
    """Return a plate centred on a position."""
    parts = [region] if isinstance(region, shapely.Polygon) else list(region.geoms)
    half = 0.5 * thickness
    return Upright(name=name, from_mm=at - half, to_mm=at + half, region=shapely.MultiPolygon(parts))


STATION = plate("S01", 200.0, shapely.box(-150, 0, 150, 100))
KEEL = plate("B01", 0.0, shapely.box(0, 0, 500, 100))


def pair(station: Upright = STATION, keel: Upright = KEEL, fit: Fit = FIT) -> tuple[Slot, Slot]:
    """Return the slots of one crossing: the station template's, the lengthwise one's."""
    lock = interlock([station], [keel], fit)
    assert not lock.refused
    (mine,), (its,) = lock.slots["S01"], lock.slots["B01"]
    return mine, its


def test_half_the_height_each() -> None:
    """100 mm high, 0.2 mm clearance: closed ends at 50.1 and 49.9, widths 6.2, about the other's middle."""
    mine, its = pair()
    assert (mine.opens, its.opens) == ("below", "above")
    assert mine.end == pytest.approx(50.1)
    assert its.end == pytest.approx(49.9)
    assert mine.depth == pytest.approx(50.1)
    assert its.depth == pytest.approx(50.1)
    assert mine.outline.bounds == pytest.approx((-3.1, -RUN_OUT, 3.1, 50.1))
    assert its.outline.bounds == pytest.approx((196.9, 49.9, 203.1, 100.0 + RUN_OUT))
    assert (mine.other, its.other) == ("B01", "S01")
    assert (mine.across, its.across) == (0.0, 200.0)


def test_slots_from_above() -> None:
    """The other way round."""
    mine, its = pair(fit=replace(FIT, opens="above"))
    assert (mine.opens, its.opens) == ("above", "below")
    assert mine.outline.bounds == pytest.approx((-3.1, 49.9, 3.1, 100.0 + RUN_OUT))
    assert its.outline.bounds == pytest.approx((196.9, -RUN_OUT, 203.1, 50.1))


def test_plates_of_unlike_thickness() -> None:
    """A slot is as wide as the other plate."""
    mine, its = pair(keel=plate("B01", 0.0, KEEL.region, thickness=12.0))
    assert mine.width == pytest.approx(12.2)
    assert its.width == pytest.approx(6.2)


@pytest.mark.parametrize("relief", ["dog-bone", "t-bone"])
@pytest.mark.parametrize("bit", [3.0, 6.0])
def test_relief_lets_a_square_corner_in(relief: str, bit: float) -> None:
    """What a round bit can clear of the slot holds the whole plain slot, corners included."""
    plain, _ = pair()
    mine, _ = pair(fit=replace(FIT, bit_diameter=bit, relief=relief))
    radius = 0.5 * bit
    cleared = mine.outline.buffer(-radius * 0.999, quad_segs=64).buffer(radius * 1.002, quad_segs=64)
    inside = shapely.intersection(plain.outline, shapely.box(-10, 10, 10, 60))  # the bit comes in from below
    assert inside.difference(cleared).area < 2e-3 * bit**2
    assert mine.outline.area > plain.outline.area
    if relief == "dog-bone":
        over = radius * (1.0 - math.sqrt(0.5))
        assert mine.outline.bounds[3] == pytest.approx(plain.end + over, abs=0.01)
    else:
        assert mine.outline.bounds[3] == pytest.approx(plain.end)
        assert mine.outline.bounds[0] == pytest.approx(-3.1 - radius)


def test_without_relief_a_bit_leaves_the_corners() -> None:
    """The check above itself: it finds the corners that are left in a plain slot."""
    plain, _ = pair()
    cleared = plain.outline.buffer(-2.997, quad_segs=64).buffer(3.006, quad_segs=64)
    inside = shapely.intersection(plain.outline, shapely.box(-10, 10, 10, 60))
    assert inside.difference(cleared).area == pytest.approx(2.0 * 9.0 * (1.0 - math.pi / 4.0), rel=0.05)


def test_crossing_where_there_is_nothing() -> None:
    """A lengthwise template beyond the station's breadth needs no slot."""
    lock = interlock([STATION], [plate("B01", 200.0, KEEL.region)], FIT)
    assert lock.slots == {"S01": (), "B01": ()}


def test_heights_are_shared_not_added() -> None:
    """The keel template is lower than the station: half of what both have, 60 mm."""
    low = plate("B01", 0.0, shapely.box(0, 0, 500, 60))
    mine, its = pair(keel=low)
    assert mine.end == pytest.approx(30.1)
    assert its.end == pytest.approx(29.9)


def test_recess_over_the_slot() -> None:
    """A notch in the station from above: half of the bridge under it is left standing."""
    notched = STATION.region.difference(shapely.box(-40, 40, 40, 120))
    mine, _ = pair(station=plate("S01", 200.0, notched))
    assert mine.end == pytest.approx(20.1)
    left = slotted(shapely.MultiPolygon([notched]), [mine])
    assert len(left.geoms) == 1


def test_another_height_where_half_would_cut_in_two() -> None:
    """A window in the station just over the middle: the slot stays below the half."""
    window = STATION.region.difference(shapely.box(-145, 30, 145, 99.9))
    mine, _ = pair(station=plate("S01", 200.0, window))
    assert 0.0 < mine.end < 30.0
    assert len(slotted(shapely.MultiPolygon([window]), [mine]).geoms) == 1


def test_slot_that_cuts_in_two_is_refused() -> None:
    """The keel hangs over the station's crossing by a bridge lower than the slot must be."""
    keel = plate("B01", 0.0, shapely.union_all([
        shapely.box(0, 0, 190, 100), shapely.box(210, 0, 500, 100), shapely.box(0, 95, 500, 100),
    ]))  # fmt: skip
    low = plate("S01", 200.0, shapely.box(-150, 90, 150, 97.5))
    lock = interlock([low], [keel], Fit(opens="below", clearance=2.6))
    assert lock.refused == (("S01", "B01"),)
    assert lock.slots == {"S01": (), "B01": ()}


def test_crumbs_fall_off() -> None:
    """A sliver 1 mm broad beside a slot at the edge is no part; a lone small part is kept."""
    edge = plate("S01", 200.0, shapely.box(-150, 0, 4.1, 100))
    mine, _ = pair(station=edge)
    left = slotted(edge.region, [mine])
    assert len(left.geoms) == 1
    assert left.bounds[2] == pytest.approx(4.1)
    both = shapely.MultiPolygon([shapely.box(0, 0, 100, 100), shapely.box(200, 0, 202, 100)])
    assert len(sturdy_parts(both)) == 1


def test_many_crossings_are_in_order() -> None:
    """Each plate's slots come in the order of the plates that they take, and all fit together."""
    stations = [plate(f"S{i:02d}", 50.0 + 100.0 * i, shapely.box(-150, 0, 150, 100)) for i in range(4)]
    keels = [plate(f"B{i:02d}", y, KEEL.region) for i, y in enumerate((-100.0, 0.0, 90.0))]
    lock = interlock(stations, keels, FIT)
    assert [slot.other for slot in lock.slots["S02"]] == ["B00", "B01", "B02"]
    assert [slot.other for slot in lock.slots["B01"]] == ["S00", "S01", "S02", "S03"]
    for item in (*stations, *keels):
        assert len(slotted(item.region, lock.slots[item.name]).geoms) == 1
