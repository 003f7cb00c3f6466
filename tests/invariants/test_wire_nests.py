"""Random nests of leaning pieces cut by one program: no slot comes into a piece, and every piece comes off.

What a piece is, where it lies and what the wire takes is worked out here, by shapely's own turning, moving
and buffers, from the program as it is read back; of the records only where the sheet stands is taken.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, replace

import numpy as np
import pytest
import shapely
from shapely.affinity import rotate, translate

from plugs.foam.stock import Blank, Cutting, Stock
from plugs.mesh import mesh
from plugs.nesting.nesting import Placement, nest
from plugs.wire.cuts import Between, make_cuts
from plugs.wire.lots import Lain, Lot
from plugs.wire.planned import plan_lot
from tests.shapes import Array
from tests.wire import MACHINE, even, ran

CASES = min(int(os.environ.get("PLUGS_CASES", "4")), 400)
HIGH = 40.0
SLOT = 1.0
TOLD = 0.05
"""mm. A program holds thousandths, and slots at corners are mitred."""
SLIT_MM2 = 45.0 * SLOT
"""Of a slit to a hole, at most: holes here lie no farther in than that."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """A block with four sides that lean, perhaps a hole straight through, perhaps thinner than its sheet."""

    name: str
    high: float
    lower: Array
    upper: Array
    hole: shapely.Polygon

    def section(self, share: float) -> shapely.Polygon:
        """Return its section between its faces."""
        sides = (1.0 - share) * self.lower + share * self.upper
        return shapely.box(*sides.tolist()).difference(self.hole)

    @property
    def shadow(self) -> shapely.Polygon:
        """What it covers."""
        return shapely.union(self.section(0.0), self.section(1.0))


def block(rng: np.random.Generator, name: str) -> Block:
    """Return a block at random."""
    wide, deep = rng.uniform(40.0, 120.0, 2)
    lower = np.array([0.0, 0.0, wide, deep])
    upper = lower + rng.uniform(-8.0, 8.0, 4)
    hole = shapely.Polygon()
    if min(wide, deep) > 75.0:
        hole = shapely.box(22.0, 22.0, 30.0 + rng.uniform(10.0, 20.0), 50.0)
    high = float(rng.choice([HIGH, HIGH, 0.75 * HIGH]))
    return Block(name=name, high=high, lower=lower, upper=upper, hole=hole)


def body_of(one: Block) -> mesh.Body:
    """Return the block in the mesh engine."""
    sides = []
    for axis, low, high in (("x", 1, 3), ("y", 0, 2)):
        ring = [
            (one.lower[low], 0.0),
            (one.lower[high], 0.0),
            (one.upper[high], one.high),
            (one.upper[low], one.high),
        ]
        sides.append(mesh.extruded(shapely.MultiPolygon([shapely.Polygon(ring)]), axis, -1e3, 1e3))
    whole = mesh.common(*sides)
    if one.hole.is_empty:
        return whole
    return mesh.less(whole, mesh.prism(shapely.MultiPolygon([one.hole]), -1.0, one.high + 1.0))


def lies(shape: shapely.Geometry, where: Placement, corner: tuple[float, float]) -> shapely.Geometry:
    """Return a shape of a piece where it lies in the machine."""
    turned = rotate(shape, where.turn_deg, origin=(0.0, 0.0))
    return translate(turned, where.dx + corner[0], where.dy + corner[1])


@pytest.mark.parametrize("seed", range(CASES))
def test_no_slot_comes_into_a_piece_and_all_come_off(seed: int) -> None:
    """At both faces and half-way; and the sheet falls into the pieces and one part more for each hole."""
    rng = np.random.default_rng(seed)
    blocks = [block(rng, f"P{i}") for i in range(int(rng.integers(2, 7)))]
    blanks = [
        Blank(name=one.name, layer="L", outline=one.shadow, thickness=HIGH, turns="any") for one in blocks
    ]
    stock = [Stock(width=700.0, height=450.0, thickness=HIGH)]
    cutting = Cutting(kerf=2.0, spacing=float(rng.uniform(0.0, 12.0)), edge_margin=12.0)
    sheet = nest(blanks, stock, cutting, effort=0.0).sheets[0]
    by_name = {one.name: one for one in blocks}
    lain = []
    for where in sheet.placements:
        one = by_name[where.piece.name]
        words = Between(name=one.name, axis="z", from_mm=0.0, to_mm=one.high, allowance=0.0)
        (cut,) = make_cuts(body_of(one), words)
        thicker = HIGH if one.high < HIGH else None
        at = where.dx, where.dy
        lain.append(Lain(cut=cut, turn_deg=where.turn_deg, at=at, outline=where.outline, thickness=thicker))
    axes = {
        end: tuple(replace(axis, least=-200.0, most=1200.0) for axis in getattr(MACHINE, end))
        for end in ("near", "far")
    }
    machine = replace(even(SLOT), **axes)
    whole = Lot(name="sheet 01", lain=tuple(lain), box=(0.0, 0.0, 700.0, 450.0), sheet=(700.0, 450.0))
    planned = plan_lot(whole, machine)
    cut_here = {one.cut.name for one in planned.lot.lain}
    assert len(cut_here) + len(planned.left_out) == len(sheet.placements)
    assert cut_here
    done = ran(planned, machine)
    standing = planned.standing
    corner = standing.at[:2]
    foam = shapely.box(corner[0], corner[1], corner[0] + 700.0, corner[1] + 450.0)
    for share in (0.0, 0.5, 1.0):
        place = (standing.at[2] + share * HIGH) / standing.span
        way = shapely.LineString(done.ends[:, :2] + place * (done.ends[:, 2:] - done.ends[:, :2]))
        parts = shapely.get_parts(foam.difference(way.buffer(0.5 * SLOT)))
        slot = way.buffer(0.5 * SLOT - TOLD)
        for where in sheet.placements:
            one = by_name[where.piece.name]
            if one.name not in cut_here or share * HIGH > one.high:
                continue
            piece = lies(one.section(share * HIGH / one.high), where, corner)
            count = sum(one.name.startswith(f"{where.piece.name} slit") for one in planned.journey.slits)
            assert slot.intersection(piece).area < 1e-6 + count * SLIT_MM2
            own = max(parts, key=lambda part, piece=piece: part.intersection(piece).area)
            assert own.difference(piece.buffer(2.0 * TOLD, join_style="mitre")).area < 1.0
