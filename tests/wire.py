"""What tests of cutting by wire share: machines, cuts of simple bodies, programs run."""

from __future__ import annotations

from dataclasses import replace

import shapely

from plugs.mesh import mesh
from plugs.mesh.mesh import Body
from plugs.wire.cuts import Between, Cut, make_cuts
from plugs.wire.planned import Planned, plan_cut
from plugs.wire.program import program_of
from plugs.wire.proof import Told
from plugs.wire.reading import Dialect, Ran, run
from plugs.wire.words import WireAxis, WireCutter, axes_of

MACHINE = WireCutter(
    span=700.0,
    near=(WireAxis(letter="X", most=900.0), WireAxis(letter="Y", most=600.0)),
    far=(WireAxis(letter="U", most=900.0), WireAxis(letter="V", most=600.0)),
    room_along=(30.0, 880.0),
    room_up=(20.0, 580.0),
    room_across=(50.0, 650.0),
    most_feed=(3000.0, 3000.0),
    kerf=((120.0, 1.4), (240.0, 1.0), (480.0, 0.8)),
)
"""A machine of our own invention, with a slot that narrows as the feed rises."""


def even(kerf: float, **words: object) -> WireCutter:
    """Return the machine with a slot as wide at any feed."""
    return replace(MACHINE, kerf=((10.0, kerf), (5000.0, kerf)), **words)  # type: ignore[arg-type]


def box_body(wide: float, deep: float, high: float) -> Body:
    """Return a box, turned with its height across."""
    return mesh.prism(shapely.MultiPolygon([shapely.box(0.0, 0.0, wide, deep)]), 0.0, high)


def cut_of(body: Body, high: float, *, how: str = "finish", allowance: float = 3.0) -> Cut:
    """Return how a wire cuts a body of one island."""
    words = Between(name="L01", axis="z", from_mm=0.0, to_mm=high, allowance=allowance, how=how)
    (cut,) = make_cuts(body, words)
    return cut


def dialect(machine: WireCutter) -> Dialect:
    """Return what a machine makes of a program."""
    near, up, far, far_up = (axis.letter for axis in axes_of(machine))
    return Dialect(
        letters=(near, up, far, far_up),
        inverse_time=machine.inverse_time,
        feed_along=machine.feed_along,
        wire_on=machine.wire_on,
        wire_off=machine.wire_off,
    )


def ran(planned: Planned, machine: WireCutter) -> Ran:
    """Return what the program of a piece does."""
    return run(program_of(planned, machine, "test"), dialect(machine))


def told(planned: Planned) -> Told:
    """Return what is told beside a program."""
    (lain,) = planned.lot.lain
    cut = lain.cut
    return Told(
        standing=planned.standing,
        kerf=planned.kerf,
        solid=cut.solid,
        faces=(cut.from_mm, cut.to_mm),
        slits=[ways for _, ways in planned.slits(cut.name)],
    )


def planned_box(machine: WireCutter, size: float = 100.0, high: float = 50.0) -> Planned:
    """Return a cube or a slab as it is cut at finish size."""
    return plan_cut(cut_of(box_body(size, size, high), high), machine)
