"""Several pieces of one sheet in one program: shortest ways between them, what is held, what cannot be.

Lengths and areas are worked out here from rectangles; how far a slot reaches, by shapely's own buffers.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely.affinity import translate

from plugs.ground.errors import PlugError
from plugs.mesh import mesh
from plugs.mesh.mesh import PLANES, Body
from plugs.wire.cuts import Between, Cut, make_cuts
from plugs.wire.lots import Lain, Lot, Lots, one_by_one
from plugs.wire.machine import Block, stand_block
from plugs.wire.planned import Planned, plan_lot
from plugs.wire.program import program_of, rows_of
from plugs.wire.programs import write_programs
from plugs.wire.proof import slot_at
from tests.reference.rs274 import strict
from tests.wire import MACHINE, box_body, even, ran, told

HIGH = 50.0
"""mm. Of the sheets here."""
BLOCK = (0.0, 0.0, 400.0, 300.0)


def named(body: Body, name: str, high: float = HIGH) -> Cut:
    """Return how a wire cuts a body of one island."""
    (cut,) = make_cuts(body, Between(name=name, axis="z", from_mm=0.0, to_mm=high, allowance=3.0))
    return cut


def lot(*lain: Lain, **words: object) -> Lot:
    """Return pieces on a sheet of 400 by 300."""
    return Lot(name="sheet 01", lain=lain, box=BLOCK, sheet=(400.0, 300.0), **words)  # type: ignore[arg-type]


def flaring(by: float, size: float = 60.0) -> Body:
    """Return a block whose upper face is larger by twice a length."""
    ends = np.array([(0.0, 0.0), (size, 0.0), (size + by, HIGH), (-by, HIGH)])
    outline = shapely.MultiPolygon([shapely.Polygon(ends)])
    return mesh.common(*(mesh.extruded(outline, axis, -1e3, 1e3) for axis in ("x", "y")))


def ring_body() -> Body:
    """Return a box of 140 with a hole of 80 through it."""
    hole = mesh.prism(shapely.MultiPolygon([shapely.box(30.0, 30.0, 110.0, 110.0)]), -1.0, HIGH + 1.0)
    return mesh.less(box_body(140.0, 140.0, HIGH), hole)


def way_length(planned: Planned) -> float:
    """Return the length of a journey on the near face, mm."""
    return float(np.hypot(*np.diff(planned.journey.near, axis=0).T).sum())


def test_two_rectangles_are_cut_on_one_way() -> None:
    """In and out 29.5 each, round 70 + 1 by 50 + 1 and 60 + 1 by 80 + 1, and the 19 between them twice.

    The slot of 1 mm takes, of the sheet, 20 - 1 on the way in, 18 from slot to slot, and round each what
    lies between w + 2 by h + 2 and w by h; five of the eight outer corners, where no way comes in, are
    round by half a slot.
    """
    machine = even(1.0)
    one, other = (
        Lain(cut=named(box_body(70.0, 50.0, HIGH), "P1"), at=(20.0, 20.0)),
        Lain(cut=named(box_body(60.0, 80.0, HIGH), "P2"), at=(110.0, 20.0)),
    )
    planned = plan_lot(lot(one, other), machine)
    assert planned.left_out == ()
    assert way_length(planned) == pytest.approx(2 * 29.5 + 2 * (71 + 51) + 2 * (61 + 81) + 2 * 19.0, abs=1e-3)
    done = ran(planned, machine)
    (at_left, at_bottom, _), (wide, high, _) = planned.standing.at, planned.standing.size
    sheet = shapely.box(at_left, at_bottom, at_left + wide, at_bottom + high)
    whole = replace(planned, lot=planned.lot.without([1]))
    slot = slot_at(done, told(whole), 20.0).intersection(sheet)
    rounds = sum((w + 2) * (h + 2) - w * h for w, h in ((70, 50), (60, 80)))
    corners = 5 * 0.5**2 * (1.0 - math.pi / 4.0)
    assert slot.area == pytest.approx(19.0 + 18.0 + rounds - corners, abs=0.05)
    assert planned.journey.freed == (1, 0)


def test_the_first_piece_is_held_until_the_last() -> None:
    """Of four in a row the one that is entered is closed last, nothing is cut after it; all are proved."""
    body = flaring(6.0, 50.0)
    lain = [Lain(cut=named(body, f"P{i}"), at=(20.0 + 80.0 * i, 20.0)) for i in range(4)]
    wired = write_programs(Lots(lots=(lot(*lain),)), MACHINE, "Row", 3.0)
    (program,) = wired.programs
    assert [piece.cut.name for piece in program.pieces] == ["P3", "P2", "P1", "P0"]
    assert program.cut_in_mm < 0.1
    assert program.foam_left_mm < 0.1
    assert not [found.code for found in wired.findings]
    assert "(pieces as they come off: P3, P2, P1, P0)\n" in program.text
    strict(program.text)
    journey = program.planned.journey
    (last,) = (one for one in journey.rounds if one.piece == 0)
    assert last.finish == len(journey.near) - 2


def test_an_island_is_cut_before_the_hole_that_holds_it() -> None:
    """A piece inside another's hole comes off first, by the same slit, and neither is cut into."""
    ring, island = named(ring_body(), "ring"), named(box_body(40.0, 40.0, HIGH), "island")
    lain = Lain(cut=ring, at=(20.0, 20.0)), Lain(cut=island, at=(70.0, 70.0))
    wired = write_programs(Lots(lots=(lot(*lain),)), MACHINE, "Ring", 3.0)
    (program,) = wired.programs
    assert [piece.cut.name for piece in program.pieces] == ["island", "ring"]
    rounds = [(one.piece, one.ring) for one in program.planned.journey.rounds]
    assert rounds == [(1, 0), (0, 1), (0, 0)]
    assert [piece.slits for piece in program.pieces] == [(), ("ring slit 1",)]
    assert program.cut_in_mm < 0.05


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_a_piece_inside_the_foam_of_another_is_refused(order: tuple[int, int]) -> None:
    """Whichever comes first: the error names the piece, the other, and what would do."""
    lain = (
        Lain(cut=named(box_body(140.0, 140.0, HIGH), "large"), at=(20.0, 20.0)),
        Lain(cut=named(box_body(40.0, 40.0, HIGH), "small"), at=(70.0, 70.0)),
    )
    with pytest.raises(PlugError) as fault:
        write_programs(Lots(lots=(lot(*(lain[i] for i in order)),)), MACHINE, "Both", 3.0)
    assert fault.value.param == "wire.how"
    assert fault.value.value == "small"
    assert "small lies wholly inside the foam of large" in fault.value.reason
    assert '"small": "none"' in fault.value.remedy


def test_pieces_that_lean_into_each_other_are_parted() -> None:
    """Upper faces 2 mm apart: slots would meet, and the second has its own program; 2 mm more would do."""
    body = flaring(10.0)
    for gap, count in ((2.0, 2), (4.0, 1)):
        outline = shapely.box(-10.0, -10.0, 70.0, 70.0)
        lain = [
            Lain(cut=named(body, name), at=(x, 30.0), outline=translate(outline, x, 30.0))
            for name, x in (("P1", 30.0), ("P2", 110.0 + gap))
        ]
        wired = write_programs(Lots(lots=(lot(*lain, kerf=2.0),)), even(1.5), "Flaring", 3.0)
        assert [program.name for program in wired.programs] == ["sheet 01", "P2"][:count]
        assert max(program.cut_in_mm for program in wired.programs) < 0.05
        told_apart = [found for found in wired.findings if found.code == "wire-by-itself"]
        assert len(told_apart) == count - 1
        for found in told_apart:
            assert found.where == "P2"
            spacing = float(found.remedy.partition("spacing=")[2].rstrip(")"))
            assert 1.0 <= spacing + 2.0 <= 4.0


def test_what_is_kept_on_a_sheet_is_gone_round() -> None:
    """A piece that is sawn lies in the straight way between two others: no slot comes into it."""
    body = box_body(40.0, 40.0, HIGH)
    kept = shapely.box(150.0, 10.0, 220.0, 120.0)
    lain = [Lain(cut=named(body, f"P{i}"), at=at) for i, at in enumerate(((20, 20), (300, 20), (170, 200)))]
    planned = plan_lot(lot(*lain, kept=kept), MACHINE)
    assert [one.cut.name for one in planned.lot.lain] == ["P0", "P1", "P2"]
    placed = shapely.transform(kept, planned.standing.placed)
    for face in (planned.journey.near, planned.journey.far):
        assert shapely.distance(shapely.LineString(face), placed) > 0.7
    walled = plan_lot(lot(*lain, kept=shapely.box(250.0, -50.0, 260.0, 350.0)), MACHINE)
    assert [one.cut.name for one in walled.left_out] == ["P1"]


def test_sheets_that_are_alike_have_one_program() -> None:
    """Both are told by it, each with its own pieces, and each piece is proved; one that differs is not."""
    body = flaring(4.0)
    sheets = [
        replace(lot(Lain(cut=named(body, f"P{i}"), at=(30.0, 30.0))), name=f"sheet {i:02d}") for i in (1, 2)
    ]
    other = replace(lot(Lain(cut=named(flaring(4.5), "P3"), at=(30.0, 30.0))), name="sheet 03")
    wired = write_programs(Lots(lots=(*sheets, other)), MACHINE, "Alike", 3.0)
    assert [(one.name, one.sheets) for one in wired.programs] == [("sheet 01", 2), ("sheet 03", 1)]
    assert [(piece.cut.name, piece.sheet) for piece in wired.programs[0].pieces] == [("P1", 1), ("P2", 2)]
    assert "(cut 2 sheets by this program)\n" in wired.programs[0].text


def test_a_copy_is_proved_by_its_own_body() -> None:
    """Were another body taken for alike, its proof would tell: 3 mm larger, it is cut into by as much."""
    first = lot(Lain(cut=named(box_body(60.0, 60.0, HIGH), "P1"), at=(30.0, 30.0)))
    wrong = lot(Lain(cut=named(box_body(63.0, 60.0, HIGH), "P2"), at=(30.0, 30.0)))
    with pytest.raises(PlugError) as fault:
        write_programs(Lots(lots=(replace(first, copies=(wrong,)),)), MACHINE, "Wrong", 1.0)
    assert "P2" in fault.value.reason
    assert "nothing is written" in fault.value.reason


def test_a_turned_piece_is_cut_as_it_lies() -> None:
    """Turned by 30 degrees and moved, with a machine that only takes the sheet on its side: all the same."""
    body = flaring(6.0)
    axes = {
        end: tuple(replace(axis, least=-200.0) for axis in getattr(MACHINE, end)) for end in ("near", "far")
    }
    machine = replace(MACHINE, room_up=(20.0, 450.0), room_along=(30.0, 340.0), **axes)
    lain = [Lain(cut=named(body, f"P{i}"), turn_deg=30.0 * i, at=(50.0 + 125.0 * i, 60.0)) for i in range(3)]
    wired = write_programs(Lots(lots=(lot(*lain),)), machine, "Turned", 3.0)
    (program,) = wired.programs
    assert program.planned.standing.is_turned
    assert program.cut_in_mm < 0.1
    assert program.foam_left_mm < 0.1
    places = np.array([(0.0, 0.0), (60.0, 0.0), (12.0, 47.0)])
    for piece in program.pieces:
        assert piece.standing.unplaced(piece.standing.placed(places)) == pytest.approx(places)


def test_a_sheet_too_large_is_cut_piece_by_piece() -> None:
    """With the room that would do; each has its own block."""
    small = replace(MACHINE, room_along=(30.0, 300.0), room_up=(20.0, 200.0))
    lain = [Lain(cut=named(box_body(60.0, 60.0, HIGH), f"P{i}"), at=(30.0 + 90.0 * i, 30.0)) for i in (0, 1)]
    wired = write_programs(Lots(lots=(lot(*lain),)), small, "Large", 3.0)
    assert [program.name for program in wired.programs] == ["P0", "P1"]
    (found,) = (found for found in wired.findings if found.code == "wire-by-itself")
    assert found.where == "P0, P1"
    assert "430.0" in found.remedy


def test_moves_read_back_are_those_planned() -> None:
    """Each place of a plan is that of the move that it is said to be reached by, to the digits written."""
    planned = plan_lot(one_by_one([named(ring_body(), "ring")]).lots[0], MACHINE)
    done = ran(planned, MACHINE)
    assert done.ends[rows_of(planned, MACHINE)] == pytest.approx(planned.ends, abs=0.6e-3)
    assert program_of(planned, MACHINE, "ring").count("G1 ") == rows_of(planned, MACHINE)[-1]


@pytest.mark.parametrize("runs", ["left", "right"])
@pytest.mark.parametrize("axis", ["x", "y", "z"])
@pytest.mark.parametrize("turned", [False, True])
def test_nothing_is_cut_as_in_a_mirror(axis: str, runs: str, turned: bool) -> None:
    """What runs along, up and across in the machine is a right-handed frame of the plug, or its mirror image.

    Whoever stands at the near end, looks to the far one and sees along count to the left has along, up and
    across as x, y and z of a right-handed frame; to the right, they are left-handed, as the piece's then.
    """
    machine = replace(MACHINE, along_runs=runs)
    if turned:
        machine = replace(machine, room_up=(20.0, 430.0), room_along=(30.0, 130.0))
    standing = stand_block("L01", Block(box=(0.0, 0.0, 400.0, 90.0), axis=axis, width=50.0), machine)
    assert standing.is_turned == turned
    plane = standing.placed(np.array([(0.0, 0.0), (1.0, 0.0), (0.0, 1.0)]))
    assert standing.unplaced(plane) == pytest.approx(np.array([(0.0, 0.0), (1.0, 0.0), (0.0, 1.0)]))
    frame = np.zeros((3, 3))
    frame[:2, ["xyz".index(one) for one in PLANES[axis]]] = (plane[1:] - plane[0]).T
    frame[2, "xyz".index(axis)] = 1.0
    assert np.linalg.det(frame) == pytest.approx(1.0 if runs == "left" else -1.0)
    said = standing.axes(*PLANES[axis])
    for row, name in zip(frame, said, strict=False):
        sign = -1.0 if name.startswith("-") else 1.0
        assert row["xyz".index(name[-1])] == pytest.approx(sign)
